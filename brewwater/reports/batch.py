"""``brewwater waters``: a CSV of analyses of any length, judged in bounded memory, block by block.

A block is solved on every core; pyarrow reads its numbers and turns it into text in threads.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any, TextIO

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray
from pyarrow import csv

from brewwater import chemistry, cores
from brewwater.chemistry import Totals
from brewwater.chemistry.constants import VALID_TO_C, VALID_TO_IONIC_STRENGTH_MOL_L
from brewwater.errors import InputError
from brewwater.reports.batch_basis import others, remarks
from brewwater.reports.batch_headers import UsedColumn, unit_factor
from brewwater.reports.batch_read import Cells, Layout, RowBlock, no_columns, read_blocks, read_layout
from brewwater.reports.checks import alkalinity_of
from brewwater.water import CACO3_G_PER_EQ, MOLAR_MASS_G, Water

FloatArray = NDArray[np.float64]

IONS = tuple(f"{name}_mg_L" for name in MOLAR_MASS_G)
NUMBERS = ("temperature_C", "pH", *IONS, "alkalinity_mg_L_as_CaCO3")
ALKALINITY = "alkalinity_mg_L_as_CaCO3"
# not measured in many analyses, and of no weight for the results: empty is taken as 0, with a note
MINOR = frozenset({"potassium_mg_L", "nitrate_mg_L"})
# what a column that is not in the file at all is taken as, with a note on every row
TAKEN = {"temperature_C": 25.0} | {name: 0.0 for name in IONS if name != "calcium_mg_L"}
# without one of these a charge balance says nothing (the alkalinity is needed anyway)
MAIN_IONS = frozenset({"calcium_mg_L", "magnesium_mg_L", "sodium_mg_L", "chloride_mg_L", "sulfate_mg_L"})
LIMITS = {"temperature_C": (0.0, 130.0), "pH": (0.0, 14.0), "alkalinity_mg_L_as_CaCO3": (-np.inf, np.inf)}
WRITERS = 2  # the last block has no next one to hide behind


def result_columns(temperatures: Sequence[float]) -> list[str]:
    """The columns of the output, in order."""
    columns = [
        "id",
        "charge_balance_percent",
        "ionic_strength_mol_L",
        "hardness_mg_L_as_CaCO3",
        "langelier_index",
        "langelier_index_simplified",
        "ryznar_index",
        "larson_skold_ratio",
    ]
    for label in ("own", *(f"{t:g}C" for t in temperatures)):
        columns += [f"{name}_at_{label}" for name in ("pH", "calcite_saturation_index", "ccpp_mg_L_as_CaCO3")]
    return [*columns, "problem"]


def run_waters(in_path: Path | str, temperatures: Sequence[float], out: Path | str | TextIO | None = None) -> list[str]:
    """Judge every row of a CSV of analyses.

    A row that cannot be solved keeps its id and its place, has empty results and a ``problem``. A row that is
    solved outside the range of the constants, or whose charge balance is bad or speaks for another basis of a
    column, has results and a note there.

    Parameters
    ----------
    in_path : CSV with the columns ``id`` and ``NUMBERS``, or everyday headers of them (``Ca``, ``HCO3``, ``EC``,
        ``Calcium (mg/L)``); comma, semicolon, tab or bar between; decimal points or commas; others are ignored
    temperatures : °C, 0 to 130, to which each water is heated closed, beside its own temperature
    out : a path, an open text stream, or None for standard output

    Returns
    -------
    remarks on the columns, one line each: what was taken for granted, what was left out

    Raises
    ------
    InputError : the file cannot be read, lacks a column, or a temperature is out of range
    """
    for t in temperatures:
        if not 0 <= t <= 130:
            raise InputError("temperature", t, "0 to 130 °C can be computed", "Correct it.")
    layout = read_layout(Path(in_path))
    _check_columns(layout)
    blocks = read_blocks(layout)
    first = next(blocks, None)  # errors of the header come before the output is touched
    header = ",".join(result_columns(temperatures)) + "\n"
    if out is None or hasattr(out, "write"):
        stream = sys.stdout if out is None else out
        opened: Any = nullcontext(getattr(stream, "buffer", None) or _Encoded(stream))
        stream.flush()  # type: ignore[union-attr]
    else:
        opened = Path(str(out)).open("wb")  # noqa: SIM115 (the with statement below closes it)
    with opened as sink, ThreadPoolExecutor(WRITERS, initializer=cores.this_thread_rests) as pool:
        sink.write(header.encode())
        pending: list[Future[bytes]] = []
        for block in () if first is None else chain([first], blocks):
            for done in pending:  # before the next block is solved in children: no thread of the pool may work then
                sink.write(done.result())
            judged = _judge(block, temperatures, pool)
            share = -(-block.rows // WRITERS)
            pending = [pool.submit(judged.text, slice(k * share, (k + 1) * share)) for k in range(WRITERS)]
        for done in pending:
            sink.write(done.result())
        sink.flush()
    return _remarks(layout)


def _check_columns(layout: Layout) -> None:
    """Refuse a file without what every water needs."""
    have = set(layout.columns)
    missing = [name for name in ("pH", "calcium_mg_L") if name not in have]
    if not have & {ALKALINITY, "bicarbonate"}:
        missing.append(ALKALINITY)
    if missing:
        needed = f"the columns are {', '.join(('id', *NUMBERS))}, or everyday names of them"
        raise no_columns(layout, missing, needed)


def _remarks(layout: Layout) -> list[str]:
    assumed = [c.printed for c in layout.columns.values() if c.assumed and "units" not in layout.columns]
    said = []
    if assumed:
        said.append(f"no unit in the header, taken as mg/L: {', '.join(assumed)}")
    nitrate = layout.columns.get("nitrate_mg_L")
    if nitrate is not None and nitrate.factor == 1.0 and nitrate.printed != "nitrate_mg_L":
        said.append(f"{nitrate.printed} is taken as NO3; where it is as N, write NO3-N")
    if layout.twice:
        said.append(f"said already by another column, not used: {', '.join(layout.twice)}")
    if layout.unused:
        said.append(f"not used: {', '.join(layout.unused[:12])}")
    return said


class _Encoded:
    """A text stream without a byte buffer (``StringIO``), written as bytes."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def write(self, data: bytes) -> int:
        self._stream.write(data.decode())
        return len(data)

    def flush(self) -> None:
        self._stream.flush()


@dataclass(frozen=True)
class _Judged:
    """A block of rows: ids, results with their decimals, where there are none, and what is said of a row."""

    ids: pa.ChunkedArray
    results: list[tuple[int, FloatArray]]
    void: NDArray[np.bool_]
    problems: pa.Array

    def text(self, rows: slice) -> bytes:
        """Lines of CSV."""
        numbers = [_decimals(values[rows], decimals, self.void[rows]) for decimals, values in self.results]
        columns = [self.ids[rows], *numbers, self.problems[rows]]
        buffer = pa.BufferOutputStream()
        table = pa.table(columns, names=[str(i) for i in range(len(columns))])
        csv.write_csv(table, buffer, csv.WriteOptions(include_header=False))
        text: bytes = buffer.getvalue().to_pybytes()
        return text


def _decimals(values: FloatArray, decimals: int, void: NDArray[np.bool_]) -> pa.Array:
    """Numbers as pyarrow's decimals, which it writes faster than floating-point ones; null where there is none."""
    scaled = np.rint(values * 10.0**decimals)
    none = void | ~np.isfinite(scaled)
    if not np.abs(scaled, where=~none, out=np.zeros_like(scaled)).max(initial=0.0) < 2.0**62:
        return pa.array(np.round(values, decimals), mask=none)  # no decimal of 64 bits holds it
    whole = pa.array(np.where(none, 0, scaled).astype(np.int64), mask=none if none.any() else None)
    wide = whole.cast(pa.decimal128(19, 0))
    return pa.Array.from_buffers(pa.decimal128(19, decimals), len(wide), wide.buffers())


class _Told:
    """What is said of the rows of a block: notes that add up, and what alone is said of a row without results."""

    def __init__(self, rows: int) -> None:
        self._rows = rows
        self._notes: NDArray[np.object_] | None = None
        self._problems: dict[int, list[str]] = {}

    def note(self, where: NDArray[np.bool_], said: str | NDArray[np.object_]) -> None:
        """Add a text, one for all rows of the mask or one for each."""
        if not where.any():
            return
        if self._notes is None:
            self._notes = np.full(self._rows, None, dtype=object)
        new = np.full(self._rows, said, dtype=object) if isinstance(said, str) else said
        first = where & ~self._notes.astype(np.bool_)
        more = where & ~first
        self._notes[more] = self._notes[more] + "; " + new[more]
        self._notes[first] = "note: " + new[first]

    def problem(self, row: int, said: str) -> None:
        """Why a row has no results; more than one reason may be given."""
        told = self._problems.setdefault(row, [])
        if said not in told and len(told) < 3:
            told.append(said)

    def array(self) -> pa.Array:
        """The column ``problem``."""
        if self._notes is None and not self._problems:
            return pa.nulls(self._rows, pa.string())
        texts = np.full(self._rows, None, dtype=object) if self._notes is None else self._notes
        for row, said in self._problems.items():
            texts[row] = "; ".join(said)
        return pa.array(texts, type=pa.string())


def _alkalinity(block: RowBlock) -> tuple[Cells | None, UsedColumn | None]:
    """Alkalinity as it is printed; where it is not, from bicarbonate and carbonate."""
    columns = block.layout.columns
    own, column = block.cells(ALKALINITY), columns.get(ALKALINITY)
    ions = block.cells("bicarbonate")
    if ions is None or (own is not None and own.empty is None):
        return own, column
    carbonate = block.cells("carbonate")
    x: dict[str, Any] = {"bicarbonate": ions.values}
    if carbonate is not None:
        blank = np.zeros(block.rows, dtype=np.bool_) if carbonate.empty is None else carbonate.empty
        x["carbonate"] = np.where(blank, 0.0, carbonate.values)
    made = np.asarray(alkalinity_of(x), dtype=np.float64)
    if own is None or own.empty is None:
        return Cells(made, ions.empty, ions.half, ions.absent, ions.unclear), columns["bicarbonate"]
    return Cells(np.where(own.empty, made, own.values), own.empty & ~np.isfinite(made), own.half, own.absent), column


def _inputs(block: RowBlock, pool: ThreadPoolExecutor, told: _Told) -> tuple[dict[str, FloatArray], NDArray[np.bool_]]:
    """Numbers of each contract column, and which rows can be solved."""
    columns = block.layout.columns

    def read(name: str) -> tuple[Cells | None, UsedColumn | None]:
        return _alkalinity(block) if name == ALKALINITY else (block.cells(name), columns.get(name))

    sound = np.ones(block.rows, dtype=np.bool_)
    given: dict[str, FloatArray] = {}
    missing: list[str] = []
    for name, (cells, column) in zip(NUMBERS, pool.map(read, NUMBERS), strict=True):
        if cells is None or column is None:
            given[name] = np.full(block.rows, TAKEN[name])
            missing.append(f"{name} {TAKEN[name]:g}")
            continue
        values = cells.values
        if cells.empty is not None and name in MINOR:
            values[cells.empty] = 0.0
            told.note(cells.empty, f"{name} is empty, taken as 0")
        for mask, said in ((cells.half, "is below a limit: half of it taken"), (cells.absent, "not found: taken as 0")):
            if mask is not None:
                told.note(mask, f"{column.printed} {said}")
        low, high = LIMITS.get(name, (0.0, np.inf))
        bad = ~((values >= low) & (values <= high) & np.isfinite(values))
        for i in np.flatnonzero(bad):
            told.problem(int(i), _complaint(block, name, column, cells, int(i)))
        sound &= ~bad
        given[name] = values
    if missing:
        told.note(np.ones(block.rows, dtype=np.bool_), f"not in the file, so taken: {', '.join(missing)}")
    return given, sound


def _complaint(block: RowBlock, name: str, column: UsedColumn, cells: Cells, row: int) -> str:
    if block.ragged[row]:
        return "the row has too many or too few cells"
    text, shown = block.text(column, row).strip(), column.printed
    if cells.empty is not None and cells.empty[row]:
        return f"{shown} is empty"
    if cells.unclear is not None and cells.unclear[row]:
        return f"{shown}: {text[:30]!r} can be read as a thousand or as a decimal"
    units = block.layout.columns.get("units")
    if units is not None and column.assumed and block.text(units, row):
        factor = unit_factor(block.text(units, row), column)
        if factor is None:
            return f"{units.printed}: {block.text(units, row)[:30]!r} is not a unit of a concentration"
    value = cells.values[row]
    if text[:4].lower().strip("+-") in ("nan", "inf", "infi"):
        return f"{shown}: {text[:30]} is not a finite number"
    if np.isnan(value):
        return f"{shown}: {text[:30]!r} is not a number"
    low, high = LIMITS.get(name, (0.0, np.inf))
    if not np.isfinite(value):
        return f"{shown}: {text[:30]} is not a finite number"
    limit = f"outside {low:g} to {high:g}" if np.isfinite(high) else "negative"
    return f"{shown}: {value:g} is {limit}"


def _judge(block: RowBlock, temperatures: Sequence[float], pool: ThreadPoolExecutor) -> _Judged:
    told = _Told(block.rows)
    given, sound = _inputs(block, pool, told)
    _tell_balance(block, given, sound, told)
    if not sound.all():  # such a row is solved as some ordinary water and blanked, so that it slows no other
        given = {name: np.where(sound, values, 7.0) for name, values in given.items()}
    results, carbon, strength = _results(given, temperatures)
    unsolved = sound & ~np.isfinite(strength)
    for i in np.flatnonzero(unsolved):
        none = carbon[i] <= 0
        told.problem(int(i), "alkalinity and pH imply no inorganic carbon" if none else "no solution found")
    solved = sound & ~unsolved
    saline = solved & (strength > VALID_TO_IONIC_STRENGTH_MOL_L)
    warm = solved & ~saline & (given["temperature_C"] > VALID_TO_C)
    told.note(saline, "ionic strength above 0.1 mol/L, outside the range of the constants")
    told.note(warm, "temperature above 90 °C, outside the range of the constants")
    if not set(block.layout.columns) >= MAIN_IONS:  # a balance without a main ion says nothing
        results[0] = (results[0][0], np.full(block.rows, np.nan))
    return _Judged(block.ids, results, ~solved, told.array())


def _tell_balance(block: RowBlock, given: dict[str, FloatArray], sound: NDArray[np.bool_], told: _Told) -> None:
    """What the charge balance says, and a measured conductivity that the ions do not make."""
    columns = block.layout.columns
    if not set(columns) >= MAIN_IONS:
        return
    bicarbonate = ALKALINITY not in columns
    printed = {c.analyte: c.printed for q, c in columns.items() if q in NUMBERS}
    if bicarbonate:
        printed["alkalinity"] = columns["bicarbonate"].printed
    own = frozenset(c.analyte for q, c in columns.items() if q in NUMBERS and c.factor != 1.0)
    mg_L = {name.removesuffix("_mg_L"): given[name] for name in IONS}
    for remark in remarks(mg_L, given[ALKALINITY], sound, others(printed, bicarbonate, own)):
        told.note(remark.where, remark.text)
    measured = block.cells("conductivity")
    if measured is None:
        return
    ions = {name: given[f"{name}_mg_L"] / (1000 * mass) for name, mass in MOLAR_MASS_G.items()}
    alkalinity = given[ALKALINITY] / (1000 * CACO3_G_PER_EQ)
    made = np.full(block.rows, np.nan)
    made[sound] = chemistry.conductivity_uS_cm(
        Totals(**{k: v[sound] for k, v in ions.items()}, alkalinity=alkalinity[sound], dic=alkalinity[sound])
    )
    with np.errstate(all="ignore"):
        ratio = measured.values / made
        off = sound & ((ratio < 0.7) | (ratio > 1.35)) & (np.abs(measured.values - made) > 30)
    told.note(off, f"{columns['conductivity'].printed} does not go with the ions")


def _results(
    analysed: dict[str, FloatArray], temperatures: Sequence[float]
) -> tuple[list[tuple[int, FloatArray]], FloatArray, FloatArray]:
    """Columns with their decimals, the DIC, and the ionic strength (NaN where unsolved)."""
    at, ph = analysed["temperature_C"], analysed["pH"]
    amounts = {name: analysed[f"{name}_mg_L"] / (1000 * mass) for name, mass in MOLAR_MASS_G.items()}
    alkalinity = analysed["alkalinity_mg_L_as_CaCO3"] / (1000 * CACO3_G_PER_EQ)
    totals = Totals(**amounts, alkalinity=alkalinity, dic=np.zeros(()))
    judged = chemistry.judge(totals, ph, at, temperatures)
    cations, anions = totals.cation_charge, totals.anion_charge
    water = Water.of(totals, at)
    with np.errstate(all="ignore"):
        balance = 100 * (cations - anions) / (cations + anions)
        langelier = chemistry.langelier_index(ph, totals, at, judged.ionic_strength_mol_L)
        simplified = chemistry.langelier_index_simplified(
            ph, water.calcium_hardness_mg_L_as_CaCO3, water.alkalinity_mg_L_as_CaCO3, water.tds_mg_L, at
        )
    columns = [
        (3, balance),
        (7, judged.ionic_strength_mol_L),
        (3, water.hardness_mg_L_as_CaCO3),
        (4, langelier),
        (4, simplified),
        (4, chemistry.ryznar_index(ph, ph - langelier)),
        (4, chemistry.larson_skold_ratio(totals)),
    ]
    for one in (judged.own, *judged.heated):
        columns += [(5, one.ph), (5, one.calcite_saturation_index), (4, one.ccpp_mg_L_as_CaCO3)]
    return columns, judged.dic_mol_L, judged.ionic_strength_mol_L
