"""``brewwater report``: what was understood of a water report."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from brewwater.errors import InputError
from brewwater.files import plain_file
from brewwater.units import plain


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--supply", help="Which supply of the report.")
@click.option("--json", "as_json", is_flag=True, help="Print the whole result as JSON.")
def report(file: Path, supply: str | None, as_json: bool) -> None:
    """Read a water report and print what was understood."""
    from brewwater.output.report_result import report_result
    from brewwater.reports import read_report
    from brewwater.reports.bounded import Watch

    plain_file(file, "file")

    def far(said: dict[str, int]) -> None:
        """How far the reading of a picture is, for a person who waits."""
        end = "\n" if said["page"] == said["of"] and said["done"] == said["all"] else ""
        share = 100 * said["done"] // max(said["all"], 1)
        click.echo(f"\rreading the picture: page {said['page']} of {said['of']}, {share} %{end}", err=True, nl=False)

    watch = Watch(progress=far) if sys.stderr.isatty() else None
    result = report_result(read_report(file, watch), supply)
    if as_json:
        click.echo(result.model_dump_json(indent=2))
        return
    if not any(x is not None for row in result.rows for x in (row.low, row.high)):
        picture = next((p.message for p in result.problems if p.code == "no_text"), None)
        raise InputError(
            "file",
            str(file),
            picture or "no figure of a water was found in it",
            "Choose another file, or give the figures as options of plan.",
        )
    for row in result.rows:
        span = "-".join(f"{plain(x, 6)}" for x in (row.low, row.high) if x is not None) or "not found"
        mean = f" (typical {plain(row.typical, 6)})" if row.typical is not None else ""
        click.echo(f"{row.supply or 'all'}: {row.analyte} {span}{mean} {row.unit}".rstrip())
    for problem in result.problems:
        click.echo(f"problem {problem.code}: {problem.message}")
    for line in result.unread:
        page = f"page {line.page}: " if line.page else ""
        click.echo(f"not read: {page}{line.text} ({line.why})")
    if result.missing:
        click.echo("not in the report: " + ", ".join(result.missing))
    if len(result.supplies) > 1:
        click.echo("supplies: " + "; ".join(result.supplies))
