"""``brewwater waters``: a batch of analyses, judged row by row."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from brewwater.cli.words import number_between
from brewwater.files import plain_file, writing


@click.command()
@click.argument("source", metavar="IN.csv", type=click.Path(path_type=Path))
@click.option("--temperature", "temperatures", multiple=True, help="Judge each water heated to this temperature, °C.")
@click.option("--out", type=click.Path(path_type=Path), help="File to write; standard output where not given.")
def waters(source: Path, temperatures: Sequence[str], out: Path | None) -> None:
    """Judge a batch of analyses, streamed.

    IN.csv has the columns id, temperature_C, pH, calcium_mg_L, magnesium_mg_L, sodium_mg_L, potassium_mg_L,
    chloride_mg_L, sulfate_mg_L, nitrate_mg_L (as NO3) and alkalinity_mg_L_as_CaCO3, or everyday names of them
    (Ca, HCO3, "Calcium (mg/L)", NO3-N); comma, semicolon or tab between, decimal points or commas. A row that
    cannot be solved keeps its place and says why in the column problem, and so does a bad charge balance.
    """
    needed = "a temperature from 0 to 130 °C is needed"
    values = [number_between("--temperature", text, 0, 130, needed, "Correct it.") for text in temperatures]
    from brewwater.reports import batch

    plain_file(source, "IN.csv")
    with writing(out, "--out"):
        remarks = batch.run_waters(source, values, out)
    for remark in remarks:
        click.echo(remark, err=True)
