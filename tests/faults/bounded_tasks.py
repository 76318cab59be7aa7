"""Tasks that misbehave, for the tests of the bounded process."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from typing import Any


def sleeps(tell: Callable[[Any], None]) -> Any:
    """Never comes back."""
    time.sleep(60)


def spins(tell: Callable[[Any], None]) -> Any:
    """Is busy in one call that no other thread can interrupt."""
    import re

    return bool(re.match(r"(a+)+$", "a" * 40 + "b"))


def eats(tell: Callable[[Any], None]) -> Any:
    """Takes memory without end."""
    kept = []
    while True:
        kept.append(bytearray(os.urandom(1 << 16) * 64))


def dies(tell: Callable[[Any], None]) -> Any:
    """Ends as a library does that breaks."""
    os.abort()


def fails(tell: Callable[[Any], None]) -> Any:
    """Raises what nobody foresaw."""
    return {}["nothing"]


def counts(to: int, tell: Callable[[Any], None]) -> Any:
    """Works for a while, and says how far it is."""
    for i in range(to):
        time.sleep(0.15)
        tell([i + 1, to])
    return {"counted": to}
