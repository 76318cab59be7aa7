"""A CSV of analyses, block by block: its layout, its rows, and the numbers in its cells."""

from __future__ import annotations

import csv as text_csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray
from pyarrow import csv

from brewwater.errors import InputError
from brewwater.reports.batch_headers import UsedColumn, read_columns, understood, unit_factor
from brewwater.units import read_unit

FloatArray = NDArray[np.float64]
Mask = NDArray[np.bool_]

BLOCK_BYTES = 8 << 20
_SAMPLE_BYTES = 1 << 16
_DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
# fmt: off
_ABSENT = (
    "nd", "n.d.", "n.d", "n. d.", "nn", "n.n.", "n.n", "bdl", "b.d.l.", "bd", "b.d.", "not detected", "non detect",
    "non-detect", "none detected", "<dl", "<lod", "<mdl", "<loq", "<rl", "nq", "n.q.", "n.b.", "n.a.w.",
    "nachweisgrenze", "non détecté", "no detectado", "non rilevato", "niet aangetoond", "未检出",
)
# fmt: on
# fmt: off
_EMPTY = (
    "-", "--", "---", "–", "—", "na", "n/a", "n.a.", "n.a", "null", "none", "nan", "*", ".",
)
# fmt: on
_COMMA = re.compile(r"[<≤]? ?-?\d+,(?:\d{1,2}|\d{4,})")
_POINT = re.compile(r"[<≤]? ?-?\d+\.(?:\d{1,2}|\d{4,})")


@dataclass(frozen=True)
class Layout:
    """How a file is written: encoding, delimiter, decimal marks seen, where the rows begin, and the columns used."""

    path: Path
    encoding: str
    delimiter: str
    marks: frozenset[str]
    start: int
    header: tuple[str, ...]
    columns: dict[str, UsedColumn]
    twice: tuple[str, ...] = ()

    @property
    def unused(self) -> list[str]:
        """Headers of columns that are left out."""
        used = {c.place for c in self.columns.values()}
        return [h for i, h in enumerate(self.header) if i not in used and h.strip() and h not in self.twice]


@dataclass(frozen=True)
class Cells:
    """One column of a block: numbers in the contract's unit (NaN where there is none), and what their cells were."""

    values: FloatArray
    empty: Mask | None = None
    half: Mask | None = None  # printed as below a limit: half of it
    absent: Mask | None = None  # printed as not found: 0
    unclear: Mask | None = None  # a mark that may part thousands or decimals


@dataclass(frozen=True)
class RowBlock:
    """Some rows of the file, every cell as text; a row with too many or too few cells has nulls."""

    layout: Layout
    table: pa.Table
    first: int

    @property
    def rows(self) -> int:
        """How many."""
        return int(self.table.num_rows)

    @cached_property
    def ids(self) -> pa.ChunkedArray:
        """The names of the rows; their numbers where the file names none."""
        column = self.layout.columns.get("id")
        if column is not None:
            return self.table.column(f"c{column.place}")
        return pa.chunked_array([pa.array([str(self.first + i) for i in range(self.rows)])])

    @cached_property
    def ragged(self) -> Mask:
        """Rows with a wrong number of cells."""
        some = next(c for c in self.layout.columns.values() if c.quantity != "id")
        return np.asarray(self.table.column(f"c{some.place}").is_null().to_numpy(zero_copy_only=False))

    def text(self, column: UsedColumn, row: int) -> str:
        """One cell as it stands."""
        return self.table.column(f"c{column.place}")[row].as_py() or ""

    def cells(self, quantity: str) -> Cells | None:
        """The numbers of one quantity, or None where the file has no such column."""
        column = self.layout.columns.get(quantity)
        if column is None:
            return None
        cells = read_cells(self.table.column(f"c{column.place}"), self.layout)
        values = cells.values
        units = self.layout.columns.get("units")
        if units is not None and column.assumed:
            values = values * self._row_factors(units, column)
        elif column.factor != 1.0 or column.offset:
            values = values * column.factor + column.offset
        return Cells(values, cells.empty, cells.half, cells.absent, cells.unclear)

    def _row_factors(self, units: UsedColumn, column: UsedColumn) -> FloatArray:
        coded = self.table.column(f"c{units.place}").combine_chunks().dictionary_encode()
        each = [unit_factor(text or "", column) if text else 1.0 for text in coded.dictionary.to_pylist()]
        factors = np.array([*(np.nan if f is None else f for f in each), np.nan])
        return np.asarray(factors[coded.indices.fill_null(len(each)).to_numpy(zero_copy_only=False)])


def read_cells(column: pa.ChunkedArray, layout: Layout) -> Cells:
    """Numbers of a column of text. Plain decimals go the fast way; the others are read mark by mark."""
    if "," not in layout.marks:
        try:
            plain = pc.cast(column, pa.float64()).to_numpy(zero_copy_only=False)
            return Cells(np.require(plain, requirements=["C", "W"]))
        except pa.ArrowInvalid:
            pass
    text = pc.utf8_lower(pc.utf8_trim_whitespace(column))
    null = text.is_null()
    text = text.fill_null("")
    empty = pc.or_(pc.equal(text, ""), pc.is_in(text, pa.array(_EMPTY)))
    absent = pc.is_in(text, pa.array(_ABSENT))
    half = pc.and_(pc.match_substring_regex(text, r"^[<≤] ?[\d.,]"), pc.invert(absent))
    text = pc.replace_substring_regex(text, r"^[<≤]\s*", "")
    text = pc.replace_substring_regex(text, r"(\d)[\s\x{00a0}\x{202f}](\d{3})\b", r"\1\2")
    text, unclear = _one_mark(text, layout)
    text = pc.if_else(absent, "0", text)
    values = pd.to_numeric(text.to_pandas(), errors="coerce").to_numpy(dtype=np.float64, copy=True)
    half_mask = _mask(half)
    values[half_mask] *= 0.5
    unclear_mask = _mask(unclear)
    values[unclear_mask | _mask(null)] = np.nan
    return Cells(values, _mask(empty) & ~_mask(null), half_mask, _mask(absent), unclear_mask)


def _one_mark(text: pa.ChunkedArray, layout: Layout) -> tuple[pa.ChunkedArray, pa.ChunkedArray]:
    """Numbers with a point as their decimal mark, and which of them could be read two ways.

    ``1.234`` is unclear where commas mark decimals; ``1,234`` where points do, or where nothing tells.
    """
    thousands = {".": r"^-?\d{1,3}(?:\.\d{3})+,\d+$", ",": r"^-?\d{1,3}(?:,\d{3})+\.\d+$"}
    for mark, form in thousands.items():
        text = pc.if_else(pc.match_substring_regex(text, form), pc.replace_substring(text, mark, ""), text)
    unclear = pc.equal(text, "\0")
    if "," in layout.marks:
        unclear = pc.match_substring_regex(text, r"^-?[1-9]\d{0,2}\.\d{3}$")
    if "." in layout.marks or (not layout.marks and layout.delimiter == ","):
        unclear = pc.or_(unclear, pc.match_substring_regex(text, r"^-?[1-9]\d{0,2},\d{3}$"))
    decimal = pc.match_substring_regex(text, r"^-?\d*,\d+$")
    return pc.if_else(decimal, pc.replace_substring(text, ",", "."), text), unclear


def _mask(array: Any) -> Mask:
    return np.asarray(array.to_numpy(zero_copy_only=False), dtype=np.bool_)


# --- the layout ---------------------------------------------------------------------------------------------------


def read_layout(path: Path) -> Layout:
    """The layout of a CSV file.

    Raises
    ------
    InputError : the file is missing, empty or no text; a header's unit is not known
    """
    try:
        with path.open("rb") as handle:
            head = handle.read(_SAMPLE_BYTES)
    except FileNotFoundError:
        raise InputError("file", str(path), "an existing CSV file is needed", "Check the name.") from None
    except OSError as error:
        raise InputError(str(path), str(error)[:60], "a CSV file is needed", "Export it again.") from None
    if not head:
        raise InputError(str(path), "empty file", "a header row is needed", "Export it again.")
    encoding, mark = _encoding(head)
    if head[:4] == b"PK\x03\x04" or (b"\x00" in head[len(mark) :] and not encoding.startswith("utf-16")):
        raise InputError(str(path), "a binary file", "a CSV file is needed", "Export it as CSV.")
    lines = head[len(mark) :].decode(encoding, errors="replace").splitlines(keepends=True)
    at = next((i for i, line in enumerate(lines) if line.strip() and not line.startswith(("#", "sep="))), 0)
    said = re.match(r"sep=(.)\s*$", lines[at - 1]) if at else None
    delimiter = said.group(1) if said else _delimiter(lines[at])
    header = _fields(lines[at], delimiter)
    rest = lines[at + 1 :]
    units: list[str] = []
    if rest:
        below = _fields(rest[0], delimiter)
        filled = [c for c in below if c.strip()]
        if len(filled) >= 2 and all(read_unit(c) is not None and not c.strip().isdigit() for c in filled):
            units, at, rest = below, at + 1, rest[1:]
    columns, twice = read_columns(header, units)
    start = len(mark) + sum(len(line.encode(encoding, errors="replace")) for line in lines[: at + 1])
    if encoding == "utf-8":  # what was replaced in decoding has another length
        start = len(mark) + sum(len(line) for line in head[len(mark) :].splitlines(keepends=True)[: at + 1])
    return Layout(
        path,
        encoding,
        delimiter,
        _marks(rest[:200], delimiter, columns),
        start,
        tuple(header),
        {c.quantity: c for c in columns},
        tuple(twice),
    )


def _encoding(head: bytes) -> tuple[str, bytes]:
    for mark, encoding in ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be")):
        if head.startswith(mark):
            return encoding, mark
    try:
        head[: head.rfind(b"\n") + 1 or len(head)].decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252", b""
    return "utf-8", b""


def _fields(line: str, delimiter: str) -> list[str]:
    try:
        return next(text_csv.reader(io.StringIO(line), delimiter=delimiter), [""])
    except text_csv.Error:
        return line.rstrip("\r\n").split(delimiter)


def _delimiter(line: str) -> str:
    """The mark that parts the header into the most names that mean something."""
    parted = {mark: _fields(line, mark) for mark in _DELIMITERS}
    return max(_DELIMITERS, key=lambda mark: (understood(parted[mark]), len(parted[mark])))


def _marks(lines: Sequence[str], delimiter: str, columns: Sequence[UsedColumn]) -> frozenset[str]:
    """The decimal marks that the first rows leave no doubt about."""
    places = [c.place for c in columns if c.quantity not in ("id", "units")]
    cells = [row[p].strip() for line in lines for row in (_fields(line, delimiter),) for p in places if p < len(row)]
    found = {"," for c in cells if _COMMA.fullmatch(c)} | {"." for c in cells if _POINT.fullmatch(c)}
    return frozenset(found)


def no_columns(layout: Layout, missing: Sequence[str], needed: str) -> InputError:
    """What is said where a file lacks what a batch cannot do without."""
    shown = ", ".join(h.strip() or "(blank)" for h in layout.header[:14])
    if len(layout.header) == 1:
        return InputError(
            "delimiter",
            shown[:60],
            "the header holds one column; columns are parted by " + ", ".join(_DELIMITERS.values()),
            "Export it again with one of these.",
        )
    return InputError(
        "column", missing[0], f"it is needed and not among {shown}; {needed}", "Add it, or name it as here."
    )


# --- the rows -----------------------------------------------------------------------------------------------------


@dataclass
class _Ragged:
    """Rows that pyarrow left out because their number of cells is wrong."""

    rows: list[tuple[int | None, str]] = field(default_factory=list)

    def keep(self, row: Any) -> str:
        self.rows.append((row.number, row.text))
        return "skip"


def read_blocks(layout: Layout) -> Iterator[RowBlock]:
    """The rows of a file in blocks, in order.

    Raises
    ------
    InputError : the file cannot be read as CSV
    """
    used = [f"c{c.place}" for c in layout.columns.values()]
    ragged = _Ragged()
    try:
        with layout.path.open("rb") as handle:
            yield from _blocks(layout, handle, used, ragged)
    except (pa.ArrowInvalid, pa.ArrowKeyError, OSError) as error:
        raise InputError(str(layout.path), str(error)[:60], "a CSV file is needed", "Export it again.") from None


def _blocks(layout: Layout, handle: BinaryIO, used: list[str], ragged: _Ragged) -> Iterator[RowBlock]:
    handle.seek(0, io.SEEK_END)
    if handle.tell() <= layout.start:
        return
    handle.seek(layout.start)
    source: Any = handle
    if layout.encoding != "utf-8":
        source = pa.transcoding_input_stream(pa.PythonFile(handle), layout.encoding, "utf-8")
    try:
        reader = csv.open_csv(
            source,
            read_options=csv.ReadOptions(
                block_size=BLOCK_BYTES,
                use_threads=False,
                column_names=[f"c{i}" for i in range(len(layout.header))],
            ),
            parse_options=csv.ParseOptions(delimiter=layout.delimiter, invalid_row_handler=ragged.keep),
            convert_options=csv.ConvertOptions(
                column_types={name: pa.string() for name in used},
                include_columns=used,
                check_utf8=False,
                strings_can_be_null=False,
            ),
        )
    except pa.ArrowInvalid as error:
        if "Empty CSV" in str(error):
            return
        raise
    place = 1  # physical row of the next good row, as pyarrow counts
    while True:
        try:
            batch = reader.read_next_batch()
        except StopIteration:
            if ragged.rows:
                yield RowBlock(layout, _with_ragged(None, ragged.rows, place, layout, used), place)
            return
        table = pa.Table.from_batches([batch])
        if not ragged.rows:
            yield RowBlock(layout, table, place)
            place += table.num_rows
            continue
        within = [r for r in ragged.rows if r[0] is None or r[0] <= place + table.num_rows + len(ragged.rows)]
        ragged.rows = [r for r in ragged.rows if r not in within]
        whole = _with_ragged(table, within, place, layout, used)
        yield RowBlock(layout, whole, place)
        place += whole.num_rows


def _with_ragged(
    table: pa.Table | None, ragged: list[tuple[int | None, str]], place: int, layout: Layout, used: list[str]
) -> pa.Table:
    """Put rows with a wrong number of cells back in their place, with a null in every cell but the id."""
    column = layout.columns.get("id")
    parts: list[pa.Table] = []
    done = 0
    rows = 0 if table is None else table.num_rows
    for count, (number, text) in enumerate(sorted(ragged, key=lambda r: r[0] or 0)):
        upto = rows if number is None else min(max(number - place - count, done), rows)
        if table is not None:
            parts.append(table.slice(done, upto - done))
        done = upto
        cells = text.split(layout.delimiter)
        name = ""
        if column is not None and column.place < len(cells):
            name = cells[column.place].strip().strip('"')
        own = {u: name if column is not None and u == f"c{column.place}" else None for u in used}
        parts.append(pa.table({u: pa.array([v], pa.string()) for u, v in own.items()}))
    if table is not None:
        parts.append(table.slice(done))
    return pa.concat_tables(parts)
