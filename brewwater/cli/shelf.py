"""``brewwater shelf``: the cartridges that can be bought, entered from their data sheets."""

from __future__ import annotations

from pathlib import Path

import click

from brewwater.cli.words import open_store


@click.group()
def shelf() -> None:
    """The shelf of data sheets that plans are bought from."""


@shelf.command("add")
@click.argument("file", type=click.Path(path_type=Path))
def add(file: Path) -> None:
    """Add the lines of a CSV file; a line of the same name is replaced."""
    from brewwater.store import bundle, shelf_csv

    new = shelf_csv.read(bundle.read_file(file))
    with open_store() as place:
        all_of_it = place.add_to_shelf(new)
    click.echo(f"{len(new.items)} read, {len(all_of_it.items)} on the shelf")


@shelf.command("list")
@click.option("--json", "as_json", is_flag=True)
def list_(as_json: bool) -> None:
    """Print the shelf as CSV, as 'add' reads it, or as JSON."""
    import json

    from brewwater.store import shelf_csv

    with open_store() as place:
        found = place.shelf()
    if as_json:
        click.echo(json.dumps(found.model_dump(mode="json")["items"], indent=2))
    else:
        click.echo(shelf_csv.write(found).replace("\r\n", "\n"), nl=False)
