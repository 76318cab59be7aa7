"""The search in a process of its own, at low priority: ``python -m brewwater.web.search_service.search_child``.

``searching`` starts it: in the server's own process its many small array steps would hold the interpreter that all
pages share.

It reads an ``Order`` (as a tuple) from its standard input and answers on its standard output with pairs of a word and a
value: ``share`` and ``first`` on the way, then one of ``plan``, ``stopped``, ``refused`` and ``failed``. Anything that
comes in while it works means stop; the end of its input, that the server is gone. All goes as parcels (``parcel``),
through the folder that is its one argument, which it takes away when the server is gone.
"""

from __future__ import annotations

import os
import queue
import sys
import threading
import traceback
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from brewwater import cores
from brewwater.errors import InputError
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import PlanDocument
from brewwater.treatment import Stage
from brewwater.web.search_service.parcel import clear, receive, send

# The first look, where nothing was recommended before: few draws, so that something stands there soon.
COARSE_DRAWS = 128
NICENESS = 19


@dataclass(frozen=True)
class Order:
    """A search to make: the document, the train followed so far, and how many cores it may use."""

    typed: PlanDocument
    train: tuple[Stage, ...]
    cores: int = 1


class _Stopped(Exception):
    """Nobody waits for this search any more."""


def _inbox(source: IO[bytes], folder: Path) -> queue.SimpleQueue[Order | None]:
    """What comes in, read by a thread; the process ends with its input."""
    came: queue.SimpleQueue[Order | None] = queue.SimpleQueue()

    def read() -> None:
        while True:
            try:
                order = receive(source, folder)
                came.put(order if order is None else Order(*order))
            except (EOFError, OSError):
                clear(folder)
                os._exit(0)
            except Exception:  # cut off, or written by another version: nothing after it can be read
                os._exit(1)

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    cores.rests(reader)  # it waits for the server's next word
    return came


def _look(order: Order, came: queue.SimpleQueue[Order | None], say: Callable[[str, object], None]) -> Plan:
    def progress(share: float) -> None:
        if not came.empty():
            raise _Stopped
        say("share", share)

    def plan(document: PlanDocument) -> Plan:
        return make_plan(
            document, search=True, train=order.train, progress=progress, cancelled=lambda: not came.empty()
        )

    typed = order.typed
    cores.use_at_most(order.cores)
    if typed.train is None and not order.train and typed.settings.draws > COARSE_DRAWS:
        coarse = typed.settings.model_copy(update={"draws": COARSE_DRAWS})
        say("first", plan(typed.model_copy(update={"settings": coarse})).candidate.stages)
    found = plan(typed)
    if not came.empty():
        raise _Stopped
    return found


def _give_way() -> None:
    """Let the pages go first."""
    if hasattr(os, "SCHED_IDLE"):  # Linux: a page that wakes up takes this core at once
        os.sched_setscheduler(0, os.SCHED_IDLE, os.sched_param(0))
    elif hasattr(os, "nice"):
        os.nice(NICENESS)


def main() -> None:
    """Answer orders until the input ends."""
    _give_way()
    folder = Path(sys.argv[1])
    came = _inbox(sys.stdin.buffer, folder)
    with os.fdopen(os.dup(1), "wb") as sink:
        os.dup2(2, 1)  # whatever a library prints does not get between the answers

        def say(word: str, value: object) -> None:
            send((word, value), sink, folder)

        say("share", 0.0)  # ready
        while True:
            order = came.get()
            if order is None:  # a stop that came after the answer
                continue
            try:
                say("plan", _look(order, came, say))
            except _Stopped:
                say("stopped", None)
            except InputError as error:
                say("refused", (error.field, error.value, error.limit, error.remedy))
            except Exception:  # a defect: the parent raises it with this trace, and the next order is answered
                say("failed", traceback.format_exc())


if __name__ == "__main__":
    main()
