"""``brewwater export`` and ``brewwater restore``: everything of a unit in one file, and back."""

from __future__ import annotations

from pathlib import Path

import click

from brewwater.cli.words import open_store
from brewwater.errors import InputError


@click.command()
@click.argument("unit_id", metavar="UNIT")
@click.argument("file", type=click.Path(path_type=Path))
def export(unit_id: str, file: Path) -> None:
    """Write everything of a unit to one file."""
    if not file.name:
        raise InputError("FILE", str(file), "the name of a file is needed", "Such as unit.json.")
    with open_store() as place:
        place.export_file(unit_id, file)
    click.echo(str(file))


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
def restore(file: Path) -> None:
    """Restore a unit from an exported file and print its name."""
    with open_store() as place:
        click.echo(place.restore_file(file))


@click.command()
@click.option("--copy", is_flag=True, help="Write a dated copy of the store, where all of it is whole.")
def check(copy: bool) -> None:
    """Read all that is kept and tell its state, one line a unit; exit status 2 where anything is damaged."""
    with open_store() as place:
        found = place.check()
        for one in found:
            state = f"DAMAGED: {one.problem}" if one.problem else "whole"
            click.echo(f"{one.unit}  {one.plans} versions  {one.lines} log lines  {state}")
        if any(one.problem for one in found):
            raise place.damaged(f"{sum(bool(one.problem) for one in found)} of {len(found)} entries are damaged")
        copies = [place.back_up()] if copy else place.dated_copies()
        click.echo(
            f"{len(found)} units, all whole. " + (f"Last dated copy: {copies[-1]}" if copies else "No dated copy.")
        )
