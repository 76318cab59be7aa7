"""``brewwater plan``: a plan from a document, a report or three numbers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from brewwater.cli.words import number_between, parse_quantity, read_text
from brewwater.errors import InputError

if TYPE_CHECKING:
    from brewwater.planning.document import PlanDocument


def document_from(
    plan_file: Path | None,
    report: Path | None,
    supply: str | None,
    numbers: dict[str, str | None],
    drinks: str | None,
) -> PlanDocument:
    """The document that the options describe; the demo document where none is given.

    Raises
    ------
    InputError : a file, a supply or a number that cannot be used
    """
    from brewwater.planning.document import demo_document, load_document, mobile_template, with_overrides

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
        from brewwater.reports import read_report

        scenario = read_report(report).supply(supply)
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
        needed = "a number of drinks per service day from 0 to 20000 is needed"
        per_day = number_between("--drinks", drinks, 0, 20000, needed, "Give a number such as 150.")
    return with_overrides(document, supply=scenario, analysis=analysis, drinks_per_service_day=per_day)


@click.command()
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
    from brewwater.output.result import plan_result, summary
    from brewwater.plan import make_plan

    numbers = {"hardness": hardness, "alkalinity": alkalinity, "tds": tds}
    made = make_plan(document_from(plan_file, report, supply, numbers, drinks))
    if out is not None:
        from brewwater.output.sheet.files import write_all

        for path in write_all(made, out):
            click.echo(str(path), err=True)
    click.echo(plan_result(made).model_dump_json(indent=2) if as_json else summary(made))
