"""What is worked out once for all who ask."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import TypeVar, cast

T = TypeVar("T")


class Once:
    """Results of one scenario by what they follow from: candidates that share a stage, a load or the bare pipes share
    what was worked out for them.

    A key names all that its result depends on, and whoever asks for it makes it the same way; two threads that ask at
    the same time may both work it out, and get equal results.
    """

    def __init__(self) -> None:
        self._found: dict[Hashable, object] = {}

    def __call__(self, key: Hashable, make: Callable[[], T]) -> T:
        """The result of that key, made by ``make`` where nobody asked before."""
        if key not in self._found:
            self._found[key] = make()
        return cast(T, self._found[key])
