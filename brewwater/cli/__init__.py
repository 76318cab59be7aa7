"""The command line: words only. Exit status 0; 2 for bad input, with one clear line on standard error.

A module for each command, loaded when that command is asked for, and each loads its libraries when it runs: what
only prints help must not pay for the chemistry.
"""

from __future__ import annotations

import gc
import os
import sys
import traceback
from collections.abc import Callable, Sequence
from contextlib import suppress
from importlib import import_module
from typing import Any

import click

from brewwater.errors import BrewwaterError

UNEXPECTED = "this should not happen"
# the command, and its module in this folder
COMMANDS = {
    "app": "app",
    "check": "keep",
    "erase": "keep",
    "export": "keep",
    "fact": "fact",
    "log": "log",
    "pack": "pack",
    "people": "people",
    "plan": "plan",
    "quote": "quote",
    "report": "report",
    "restore": "keep",
    "round": "round",
    "schema": "schema",
    "shelf": "shelf",
    "waters": "waters",
}


class _Late(click.Group):
    """A group whose commands are imported when they are named."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        found: click.Command = getattr(import_module(f"brewwater.cli.{COMMANDS[cmd_name]}"), cmd_name)
        return found


@click.group(cls=_Late)
def cli() -> None:
    """Water quality and filtration planner for people who serve coffee."""


def _say(message: str) -> int:
    click.echo("brewwater: " + " ".join(message.split()), err=True)
    return 2


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line; returns the exit status."""
    run: Callable[..., Any] = cli.main
    if arguments is None:  # a process of its own, of a second or two: a million new objects, hardly any garbage
        gc.set_threshold(50_000, 20, 50)
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
    except BrokenPipeError:  # the reader has gone, as ``head`` does: nobody wants the rest
        return _silenced(0)
    except OSError as error:
        return _silenced(_say(f"{error.filename or 'standard output'}: {error.strerror or type(error).__name__}"))
    except Exception as error:
        return _say(_unexpected(error))
    try:
        sys.stdout.flush()
    except BrokenPipeError:
        return _silenced(0)
    except OSError as error:
        return _silenced(_say(f"standard output: {error.strerror or type(error).__name__}"))
    return 0


def _silenced(status: int) -> int:
    """What is still unwritten goes nowhere, so that Python says nothing about it at its end."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return status


def _unexpected(error: Exception) -> str:
    """One line on a defect of ours: its kind and place, for whoever mends it."""
    at = traceback.extract_tb(error.__traceback__)[-1]
    return (
        f"{UNEXPECTED} ({type(error).__name__} at {os.path.basename(at.filename)}:{at.lineno}). "
        "Nothing that was saved is touched. Please report this line with what you typed."
    )
