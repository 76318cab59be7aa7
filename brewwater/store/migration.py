"""Old documents made new, one step per version, so that what was saved first can always be opened."""

from __future__ import annotations

import copy
from collections.abc import Callable
from typing import Any

from brewwater.errors import InputError

Document = dict[str, Any]
Step = Callable[[Document], Document]


class Migrations:
    """The chain of steps from format 1 to the newest.

    A step for version ``n`` takes a document of version ``n`` and returns one of version ``n + 1``; it may
    change what it is given, which is a copy. The newest version is one more than the last step.
    """

    def __init__(self) -> None:
        self._steps: dict[int, Step] = {}

    @property
    def newest(self) -> int:
        """The version that ``migrate`` returns."""
        return len(self._steps) + 1

    def step(self, version: int) -> Callable[[Step], Step]:
        """Register the step from ``version`` to the next; steps come in order, without a gap."""

        def register(function: Step) -> Step:
            if version != self.newest:
                raise ValueError(f"the next step starts at version {self.newest}, not {version}")
            self._steps[version] = function
            return function

        return register

    def __call__(self, document: Document) -> Document:
        """The document in the newest version. One that states no version is of the first format.

        Raises
        ------
        InputError : ``schema_version`` is no whole number from 1, or newer than this program
        """
        if "schema_version" not in document:
            document = {"schema_version": 1, **document}
        version = document["schema_version"]
        if isinstance(version, bool) or not isinstance(version, int) or version < 1:
            raise InputError(
                "schema_version",
                version,
                "a whole number from 1 is needed",
                "Give a plan document that brewwater wrote.",
            )
        if version > self.newest:
            raise InputError(
                "schema_version",
                version,
                f"this brewwater reads documents up to {self.newest}",
                "Update brewwater to open it.",
            )
        if version < self.newest:
            document = copy.deepcopy(document)
        while version < self.newest:
            document = self._steps[version](document)
            version += 1
            document["schema_version"] = version
        return document


# The plan document's own chain; a change of its format adds a step here and a saved sample to the tests.
migrate = Migrations()
