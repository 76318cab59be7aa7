"""The error tree. Every error a user can cause is one line: field, value, limit, remedy.

BrewwaterError
├── InputError        a value the user gave cannot be used
│   ├── UnitError     the unit is not in the closed list
│   └── ReportError   a water report cannot be read
├── ReferenceTableError  a table in ``reference/`` is broken (a defect, not the user's doing)
└── StoreError        the store could not keep or give back what it holds
"""

from __future__ import annotations


class BrewwaterError(Exception):
    """Root of every error that brewwater raises on purpose."""


class InputError(BrewwaterError):
    """A value that cannot be used.

    Parameters
    ----------
    field : name of the field, as the user knows it
    value : what was given
    limit : what would be accepted
    remedy : what to do about it
    """

    def __init__(self, field: str, value: object, limit: str, remedy: str) -> None:
        self.field, self.value, self.limit, self.remedy = field, value, limit, remedy
        shown = repr(value) if isinstance(value, str) else str(value)
        if len(shown) > 80:
            shown = shown[:77] + "..."
        line = f"{field}: {shown} is not usable; {limit}. {remedy}"
        super().__init__(" ".join(line.split()))


class UnitError(InputError):
    """A unit outside the closed list of report units."""


class ReportError(InputError):
    """A water report that cannot be read."""


class ReferenceTableError(BrewwaterError):
    """A table in ``reference/`` is missing, or a row of it has no source."""


class StoreError(BrewwaterError):
    """The store could not keep, or give back, what was asked of it."""
