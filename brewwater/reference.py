"""The only reader of ``reference/``: cited tables, one file per published table.

Every row carries a ``source`` key that stands in ``reference/sources.csv``; a row without one is refused.
In a checkout the folder stands beside the package; in an installed wheel it is inside it.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from brewwater.errors import ReferenceTableError

Row = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class SourceRow:
    """One entry of ``reference/sources.csv``.

    ``standing`` says how sure the figure is: ``published`` (the text was read), ``second_hand`` (read in a
    reprint), ``common_practice`` (a fact of the trade without a source), ``memory`` (recalled, not read),
    ``definition`` (stoichiometry, an exact conversion) or ``placeholder`` (no source, replace it).
    """

    key: str
    title: str
    where: str
    standing: str

    @property
    def text(self) -> str:
        """The citation as a reader sees it."""
        note = {
            "common_practice": "common practice, no source",
            "memory": "from memory, not verified",
            "second_hand": "seen in a reprint",
            "placeholder": "placeholder, no source",
        }.get(self.standing)
        parts = [p for p in (self.title, self.where) if p]
        return "; ".join(parts) + (f" ({note})" if note and note not in self.title else "")


STANDINGS = frozenset({"published", "second_hand", "common_practice", "memory", "definition", "placeholder"})


@cache
def folder() -> Path:
    """The folder that holds the tables."""
    here = Path(__file__).resolve().parent
    for candidate in (here / "reference_data", here.parent / "reference"):
        if (candidate / "sources.csv").is_file():
            return candidate
    raise ReferenceTableError("reference/sources.csv is not installed; reinstall brewwater")


def _read(path: Path) -> tuple[Row, ...]:
    try:
        with path.open(encoding="utf-8", newline="") as handle:
            return tuple(csv.DictReader(handle))
    except FileNotFoundError:
        raise ReferenceTableError(f"reference/{path.name} is missing") from None


@cache
def sources() -> Mapping[str, SourceRow]:
    """Every source, by key."""
    found: dict[str, SourceRow] = {}
    for row in _read(folder() / "sources.csv"):
        if row["standing"] not in STANDINGS or row["key"] in found:
            raise ReferenceTableError(f"reference/sources.csv: {row['key']}: unknown standing or key twice")
        found[row["key"]] = SourceRow(row["key"], row["title"], row["where"], row["standing"])
    return found


@cache
def table(name: str) -> tuple[Row, ...]:
    """The rows of ``reference/<name>.csv``, as text, each with a known ``source`` key.

    Raises
    ------
    ReferenceTableError : the file is missing, or a row names no known source
    """
    rows = _read(folder() / f"{name}.csv")
    known = sources()
    for number, row in enumerate(rows, start=2):
        if row.get("source") not in known:
            raise ReferenceTableError(f"reference/{name}.csv line {number}: source {row.get('source')!r} unknown")
    return rows


@cache
def keyed(name: str, column: str = "key") -> Mapping[str, Row]:
    """The rows of a table by one of its columns, which must be unique."""
    rows = table(name)
    found = {row[column]: row for row in rows}
    if len(found) != len(rows):
        raise ReferenceTableError(f"reference/{name}.csv: column {column} is not unique")
    return found


def cite(key: str) -> str:
    """The citation for a source key, as a reader sees it.

    Raises
    ------
    ReferenceTableError : the key is unknown
    """
    try:
        return sources()[key].text
    except KeyError:
        raise ReferenceTableError(f"source {key!r} is not in reference/sources.csv") from None
