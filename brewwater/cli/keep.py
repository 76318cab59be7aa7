"""``brewwater export`` and ``brewwater restore``: everything of a unit in one file, and back."""

from __future__ import annotations

from pathlib import Path

import click

from brewwater.cli.words import open_store


@click.command()
@click.argument("unit_id", metavar="UNIT")
@click.argument("file", type=click.Path(path_type=Path))
def export(unit_id: str, file: Path) -> None:
    """Write everything of a unit to one file."""
    with open_store() as place:
        place.export_file(unit_id, file)
    click.echo(str(file))


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
def restore(file: Path) -> None:
    """Restore a unit from an exported file and print its name."""
    with open_store() as place:
        click.echo(place.restore_file(file))
