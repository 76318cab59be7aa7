"""The command line: words only. Exit status 0; 2 for bad input, with one clear line on standard error."""

from __future__ import annotations

import json
import math
import os
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable, Mapping, Sequence
from importlib import resources
from pathlib import Path
from typing import Any

import click

from brewwater import reports as intake
from brewwater import store
from brewwater.errors import BrewwaterError, InputError
from brewwater.output.result import plan_result, report_result, summary
from brewwater.output.result_schema import PlanResult, ReportResult
from brewwater.plan import make_plan
from brewwater.planning.document import PlanDocument, demo_document, load_document, mobile_template, with_overrides
from brewwater.reports import batch
from brewwater.reports.analysis import Measurement
from brewwater.store import access

_NUMBER = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*$")


def parse_quantity(field: str, text: str, analyte: str) -> Measurement:
    """A number with an optional unit of the closed list, such as ``290`` or ``17 gpg``.

    Raises
    ------
    InputError : not a number, not finite, negative, or a unit outside the list
    """
    match = _NUMBER.match(text)
    if match is None or not math.isfinite(float(match.group(1))):
        raise InputError(
            field,
            text,
            "a number of 0 or more is needed, in mg/L or with its unit",
            "Give a number such as 290, or 17 gpg.",
        )
    value = float(match.group(1))
    if value < 0:
        raise InputError(field, text, "it cannot be less than 0", "Check the sign.")
    entry = Measurement.model_validate({"value": value, "unit": match.group(2) or "mg/L", "method": "typed"})
    entry.in_plan_units(analyte)  # refuses a unit outside the closed list
    return entry


@click.group()
def cli() -> None:
    """Water quality and filtration planner for people who serve coffee."""


@cli.command()
@click.option("--address", default="127.0.0.1", help="Address to listen on; this machine only unless told otherwise.")
@click.option("--port", default="8501", help="Port to listen on.")
def app(address: str, port: str) -> None:
    """Open the front end."""
    if not port.isdigit() or not 1 <= int(port) <= 65535:
        raise InputError("--port", port, "a whole number from 1 to 65535 is needed", "Choose another port.")
    access.check_address(address)
    script, config = _front_end()
    flags = [
        *_as_flags(tomllib.loads(config.read_text(encoding="utf-8"))),
        f"--server.address={address}",
        f"--server.port={port}",
    ]
    raise SystemExit(subprocess.call([sys.executable, "-m", "streamlit", "run", str(script), *flags]))


def _front_end() -> tuple[Path, Path]:
    """The script and its settings: inside an installed wheel, or at the top of a checkout."""
    packaged = Path(str(resources.files("brewwater.web")))
    if (packaged / "app.py").is_file():
        return packaged / "app.py", packaged / "config.toml"
    top = Path(str(resources.files("brewwater"))).parent
    return top / "app.py", top / ".streamlit" / "config.toml"


def _as_flags(settings: Mapping[str, Any], under: str = "") -> list[str]:
    """Streamlit's settings file as flags, so that the theme and the limits hold wherever the command is run."""
    found = []
    for key, value in settings.items():
        if isinstance(value, Mapping):
            found += _as_flags(value, f"{under}{key}.")
        else:
            found.append(f"--{under}{key}={str(value).lower() if isinstance(value, bool) else value}")
    return found


def _document(
    plan_file: Path | None,
    report: Path | None,
    supply: str | None,
    numbers: dict[str, str | None],
    drinks: str | None,
) -> PlanDocument:
    analysis = {
        analyte: parse_quantity(option, text, analyte)
        for (option, analyte), text in zip(
            (("--hardness", "total_hardness"), ("--alkalinity", "alkalinity"), ("--tds", "total_dissolved_solids")),
            numbers.values(),
            strict=True,
        )
        if text is not None
    }
    scenario = None
    if report is not None:
        found = intake.read_report(report)
        scenario = found.supply(supply)
    elif supply is not None:
        raise InputError("--supply", supply, "it names a supply of a report", "Give the report with --report.")
    if plan_file is not None:
        document = load_document(read_text(plan_file, "PLAN.json"))
    elif scenario is not None or analysis:
        document = mobile_template()
    else:
        document = demo_document()
    per_day = None
    if drinks is not None:
        match = _NUMBER.match(drinks)
        if match is None or match.group(2) or not 0 <= float(match.group(1)) <= 20000:
            raise InputError(
                "--drinks",
                drinks,
                "a number of drinks per service day from 0 to 20000 is needed",
                "Give a number such as 150.",
            )
        per_day = float(match.group(1))
    return with_overrides(document, supply=scenario, analysis=analysis, drinks_per_service_day=per_day)


def read_text(path: Path, field: str) -> str:
    """The text of a file, or one clear line."""
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise InputError(field, str(path), "the file is not there", "Check the path.") from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            field, str(path), f"the file cannot be read ({type(error).__name__})", "Give a readable text file."
        ) from None


@cli.command()
@click.argument("plan_file", required=False, type=click.Path(path_type=Path))
@click.option("--report", type=click.Path(path_type=Path), help="A water report (pdf, csv, xlsx, html, txt, md).")
@click.option("--supply", help="Which supply of the report.")
@click.option("--hardness", help="Total hardness, mg/L (ppm) as CaCO3, or with a unit: '17 gpg'.")
@click.option("--alkalinity", help="Alkalinity, mg/L (ppm) as CaCO3.")
@click.option("--tds", help="Total dissolved solids, mg/L (ppm).")
@click.option("--drinks", help="Drinks per service day.")
@click.option("--json", "as_json", is_flag=True, help="Print the whole result as JSON.")
@click.option("--out", type=click.Path(path_type=Path), help="Folder for the sheet, the calendar and the tables.")
def plan(
    plan_file: Path | None,
    report: Path | None,
    supply: str | None,
    hardness: str | None,
    alkalinity: str | None,
    tds: str | None,
    drinks: str | None,
    as_json: bool,
    out: Path | None,
) -> None:
    """Make a plan from a document, a report or three numbers; the demo plan where none is given."""
    numbers = {"hardness": hardness, "alkalinity": alkalinity, "tds": tds}
    made = make_plan(_document(plan_file, report, supply, numbers, drinks))
    if out is not None:
        from brewwater.output.sheet.files import write_all

        for path in write_all(made, out):
            click.echo(str(path), err=True)
    click.echo(plan_result(made).model_dump_json(indent=2) if as_json else summary(made))


@cli.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--supply", help="Which supply of the report.")
@click.option("--json", "as_json", is_flag=True, help="Print the whole result as JSON.")
def report(file: Path, supply: str | None, as_json: bool) -> None:
    """Read a water report and print what was understood."""
    result = report_result(intake.read_report(file), supply)
    if as_json:
        click.echo(result.model_dump_json(indent=2))
        return
    if not any(x is not None for row in result.rows for x in (row.low, row.high)):
        raise InputError(
            "file",
            str(file),
            "no figure of a water was found in it",
            "Choose another file, or give the figures as options of plan.",
        )
    for row in result.rows:
        span = "-".join(f"{x:g}" for x in (row.low, row.high) if x is not None) or "not found"
        mean = f" (typical {row.typical:g})" if row.typical is not None else ""
        click.echo(f"{row.supply or 'all'}: {row.analyte} {span}{mean} {row.unit}".rstrip())
    for problem in result.problems:
        click.echo(f"problem {problem.code}: {problem.message}")
    if result.missing:
        click.echo("not in the report: " + ", ".join(result.missing))
    if len(result.supplies) > 1:
        click.echo("supplies: " + "; ".join(result.supplies))


@cli.command()
@click.argument("source", metavar="IN.csv", type=click.Path(path_type=Path))
@click.option("--temperature", "temperatures", multiple=True, help="Judge each water heated to this temperature, °C.")
@click.option("--out", type=click.Path(path_type=Path), help="File to write; standard output where not given.")
def waters(source: Path, temperatures: Sequence[str], out: Path | None) -> None:
    """Judge a batch of analyses, streamed.

    IN.csv needs the columns id, temperature_C, pH, calcium_mg_L, magnesium_mg_L, sodium_mg_L, potassium_mg_L,
    chloride_mg_L, sulfate_mg_L, nitrate_mg_L (as NO3) and alkalinity_mg_L_as_CaCO3. A row that cannot be solved
    keeps its place and says why in the column problem.
    """
    values = []
    for text in temperatures:
        match = _NUMBER.match(text)
        if match is None or match.group(2) or not 0 <= float(match.group(1)) <= 130:
            raise InputError("--temperature", text, "a temperature from 0 to 130 °C is needed", "Correct it.")
        values.append(float(match.group(1)))
    batch.run_waters(source, values, out)


@cli.group()
def log() -> None:
    """The log of readings."""


def open_store() -> store.Store:
    """The user's store; ``BREWWATER_DATA`` names the folder."""
    return store.Store.open_default(validate=lambda document: load_document(document).model_dump(mode="json"))


@log.command("add")
@click.argument("unit_id", metavar="UNIT")
@click.option("--date", required=True)
@click.option("--kind", required=True)
@click.option("--value", required=True)
@click.option("--unit", "unit_text", required=True)
@click.option("--note", default="")
@click.option("--new", is_flag=True, help="Make the unit where there is none of that name.")
def log_add(unit_id: str, date: str, kind: str, value: str, unit_text: str, note: str, new: bool) -> None:
    """Add one reading. The first unit of an empty store is made; after that a new one needs --new."""
    with open_store() as place:
        there = place.units()
        if there and not new and unit_id not in {unit.ref for unit in there}:
            names = [unit.ref for unit in there]
            shown = ", ".join(names[:10]) + (f" and {len(names) - 10} more" if len(names) > 10 else "")
            raise InputError(
                "UNIT", unit_id, f"there is no such unit, there are: {shown}", "Give one of these, or --new to make it."
            )
        click.echo(place.add_reading_text(unit_id, date=date, kind=kind, value=value, unit=unit_text, note=note))


@log.command("list")
@click.argument("unit_id", metavar="UNIT")
@click.option("--json", "as_json", is_flag=True)
def log_list(unit_id: str, as_json: bool) -> None:
    """List the readings of a unit."""
    with open_store() as place:
        rows = place.readings_as_rows(unit_id)
    if as_json:
        click.echo(json.dumps(rows, indent=2))
    else:
        for row in rows:
            click.echo("  ".join(str(row[k]) for k in ("id", "date", "kind", "value", "unit")))


@cli.command()
@click.argument("unit_id", metavar="UNIT")
@click.argument("file", type=click.Path(path_type=Path))
def export(unit_id: str, file: Path) -> None:
    """Write everything of a unit to one file."""
    with open_store() as place:
        place.export_file(unit_id, file)
    click.echo(str(file))


@cli.command()
@click.argument("file", type=click.Path(path_type=Path))
def restore(file: Path) -> None:
    """Restore a unit from an exported file and print its name."""
    with open_store() as place:
        click.echo(place.restore_file(file))


@cli.command()
def schema() -> None:
    """Print the JSON Schema of the plan document and of the JSON results."""
    click.echo(
        json.dumps(
            {
                "plan_document": PlanDocument.model_json_schema(),
                "plan": PlanResult.model_json_schema(mode="serialization"),
                "report": ReportResult.model_json_schema(mode="serialization"),
            },
            indent=2,
        )
    )


def _say(message: str) -> int:
    click.echo("brewwater: " + " ".join(message.split()), err=True)
    return 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit status."""
    run: Callable[..., Any] = cli.main
    try:
        run(args=list(sys.argv[1:] if arguments is None else arguments), prog_name="brewwater", standalone_mode=False)
    except click.exceptions.NoArgsIsHelpError as shown:
        click.echo(shown.format_message())
        return 2
    except click.ClickException as error:
        return _say(error.format_message())
    except BrewwaterError as error:
        return _say(str(error))
    except click.Abort:
        return 130
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
