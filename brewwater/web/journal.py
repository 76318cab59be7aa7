"""The journal of the front end: one line an event, for the keeper of a fleet.

Events and figures only: no name, no note, no address of a person, and of a fault its kind and its place in the code but
not its words, which may hold what somebody typed. To the error stream, or to the file that ``BREWWATER_LOG`` names.
"""

from __future__ import annotations

import logging
import os
import sys
import traceback
from logging.handlers import RotatingFileHandler
from pathlib import Path

NAME = "brewwater.journal"
FILE_BYTES, FILES = 1_000_000, 5
_LINE = "%(asctime)s %(levelname)s %(message)s"


def note(event: str, **facts: str | int | float) -> None:
    """Write down an event: ``start``, ``sign-in``, ``refused``, ``saved``, ``restored``, ``search``."""
    told = "".join(
        f" {key}={value:.3g}" if isinstance(value, float) else f" {key}={value}" for key, value in facts.items()
    )
    logging.getLogger(NAME).info("%s%s", event, told)


def fault(where: str, error: BaseException) -> None:
    """Write down an error that nobody expected: its kind and the frames that led to it, on one line."""
    frames = traceback.extract_tb(error.__traceback__)
    trail = " < ".join(f"{Path(f.filename).name}:{f.lineno} {f.name}" for f in reversed(frames)) or "no frames"
    logging.getLogger(NAME).error("fault in %s: %s at %s", where, type(error).__name__, trail)


def open_journal() -> None:
    """Begin to write, once for a process."""
    journal = logging.getLogger(NAME)
    if journal.handlers:
        return
    named = os.environ.get("BREWWATER_LOG")
    handler: logging.Handler = logging.StreamHandler(sys.stderr)
    if named:
        try:
            handler = RotatingFileHandler(named, maxBytes=FILE_BYTES, backupCount=FILES, encoding="utf-8", delay=False)
        except OSError as error:
            print(f"brewwater: BREWWATER_LOG cannot be written ({error.strerror}); to standard error", file=sys.stderr)
    formatter = logging.Formatter(_LINE, "%Y-%m-%dT%H:%M:%S%z")
    handler.setFormatter(formatter)
    journal.addHandler(handler)
    journal.setLevel(logging.INFO)
    journal.propagate = False
