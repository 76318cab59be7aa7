"""``brewwater people``: who signs in, and shutting somebody out. For the keeper of a server's store."""

from __future__ import annotations

import click

from brewwater.cli.words import open_store


@click.group()
def people() -> None:
    """Who may come in where people sign in."""


@people.command("list")
def show() -> None:
    """Everyone whom the store knows: their units, and whether they are shut out."""
    with open_store() as place:
        for one in place.people():
            state = f"shut out since {one.out_since[:16]}Z" if one.out_since else "may sign in"
            click.echo(f"{one.person}  {one.units} units  {state}")


@people.command("out")
@click.argument("person")
def shut_out(person: str) -> None:
    """Shut a person out, at their next action on every server. What is theirs stays."""
    with open_store() as place:
        click.echo(f"{place.shut_out(person)}: shut out")


@people.command("in")
@click.argument("person")
def let_in(person: str) -> None:
    """Let a person sign in again. Sessions from before stay ended."""
    with open_store() as place:
        click.echo(f"{place.let_in(person)}: may sign in again")
