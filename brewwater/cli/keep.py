"""``brewwater export``, ``restore``, ``erase`` and ``check``: everything of a unit in one file, back, and gone."""

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
@click.argument("unit_id", metavar="UNIT")
@click.option("--yes", is_flag=True, help="Do it; without this only what would be erased is told.")
def erase(unit_id: str, yes: bool) -> None:
    """Erase a unit for good: its plans, its log, its shares. Export it first to keep a copy."""
    with open_store() as place:
        if not yes:
            unit, plans, lines = place.unit(unit_id), place.history(unit_id), place.readings(unit_id)
            kept = f"{unit.name}: {len(plans)} versions, {len(lines)} log lines"
            raise InputError("--yes", "not given", f"{kept} would be erased for good", "Add --yes to erase them.")
        gone = place.erase_unit(unit_id)
    click.echo(f"Erased {gone.name}: {gone.plans} versions, {gone.lines} log lines.")
    for line in gone.remains:
        click.echo(line)


@click.command()
@click.option("--copy", is_flag=True, help="Write a dated copy of the store, where all of it is whole.")
def check(copy: bool) -> None:
    """Read all that is kept and tell its state, one line a unit; exit status 2 where anything is damaged."""
    with open_store() as place:
        found = place.check()
        for one in found:
            whole = f"erased on {one.erased}" if one.erased else "whole"
            state = f"DAMAGED: {one.problem}" if one.problem else whole
            click.echo(f"{one.unit}  {one.plans} versions  {one.lines} log lines  {state}")
        if any(one.problem for one in found):
            raise place.damaged(f"{sum(bool(one.problem) for one in found)} of {len(found)} entries are damaged")
        copies = [place.back_up()] if copy else place.dated_copies()
        there = sum(not one.erased for one in found)
        click.echo(f"{there} units, all whole. " + (f"Last dated copy: {copies[-1]}" if copies else "No dated copy."))
