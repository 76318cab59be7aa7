"""``brewwater waters``: a CSV of analyses of any length, judged in bounded memory, block by block.

A block is solved on every core; pyarrow reads its numbers and turns it into text in threads.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any, TextIO

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray
from pyarrow import csv

from brewwater import chemistry
from brewwater.chemistry import Totals
from brewwater.chemistry.constants import VALID_TO_C, VALID_TO_IONIC_STRENGTH_MOL_L
from brewwater.errors import InputError
from brewwater.water import CACO3_G_PER_EQ, MOLAR_MASS_G, Water

FloatArray = NDArray[np.float64]

IONS = tuple(f"{name}_mg_L" for name in MOLAR_MASS_G)
NUMBERS = ("temperature_C", "pH", *IONS, "alkalinity_mg_L_as_CaCO3")
# not measured in many analyses, and of no weight for the results: empty is taken as 0, with a note
MINOR = frozenset({"potassium_mg_L", "nitrate_mg_L"})
LIMITS = {"temperature_C": (0.0, 130.0), "pH": (0.0, 14.0), "alkalinity_mg_L_as_CaCO3": (-np.inf, np.inf)}
BLOCK_BYTES = 8 << 20
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


def run_waters(in_path: Path | str, temperatures: Sequence[float], out: Path | str | TextIO | None = None) -> None:
    """Judge every row of a CSV of analyses.

    A row that cannot be solved keeps its id and its place, has empty results and a ``problem``. A row that is
    solved outside the range of the constants has results and a note there.

    Parameters
    ----------
    in_path : CSV with the columns ``id`` and ``NUMBERS``; others are ignored
    temperatures : °C, 0 to 130, to which each water is heated closed, beside its own temperature
    out : a path, an open text stream, or None for standard output

    Raises
    ------
    InputError : the file cannot be read, lacks a column, or a temperature is out of range
    """
    for t in temperatures:
        if not 0 <= t <= 130:
            raise InputError("temperature", t, "0 to 130 °C can be computed", "Correct it.")
    blocks = _read(Path(in_path))
    first = next(blocks, None)  # errors of the header come before the output is touched
    header = ",".join(result_columns(temperatures)) + "\n"
    if out is None or hasattr(out, "write"):
        stream = sys.stdout if out is None else out
        opened: Any = nullcontext(getattr(stream, "buffer", None) or _Encoded(stream))
        stream.flush()  # type: ignore[union-attr]
    else:
        opened = Path(str(out)).open("wb")  # noqa: SIM115 (the with statement below closes it)
    with opened as sink, ThreadPoolExecutor(WRITERS) as pool:
        sink.write(header.encode())
        pending: list[Future[bytes]] = []
        for block in () if first is None else chain([first], blocks):
            judged = _judge(block, temperatures, pool)
            for done in pending:
                sink.write(done.result())
            share = -(-block.num_rows // WRITERS)
            pending = [pool.submit(judged.text, slice(k * share, (k + 1) * share)) for k in range(WRITERS)]
        for done in pending:
            sink.write(done.result())
        sink.flush()


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


def _read(path: Path) -> Iterator[pa.Table]:
    """Blocks of rows, every cell as text; a row with too many or too few cells comes with its id alone."""
    ragged: list[tuple[int, str]] = []

    def keep(row: Any) -> str:
        ragged.append((row.number, row.text))
        return "skip"

    try:
        with path.open("rb") as handle:
            if not handle.read(1):
                raise InputError(str(path), "empty file", "a header row is needed", "Export it again.")
        reader = csv.open_csv(
            path,
            read_options=csv.ReadOptions(block_size=BLOCK_BYTES, use_threads=False),
            parse_options=csv.ParseOptions(invalid_row_handler=keep),
            convert_options=csv.ConvertOptions(
                column_types={name: pa.string() for name in ("id", *NUMBERS)},
                check_utf8=False,
                strings_can_be_null=False,
            ),
        )
    except FileNotFoundError:
        raise InputError("file", str(path), "an existing CSV file is needed", "Check the name.") from None
    except (pa.ArrowInvalid, pa.ArrowKeyError, OSError) as error:
        raise InputError(str(path), str(error)[:60], "a CSV file is needed", "Export it again.") from None
    names = reader.schema.names
    missing = [name for name in ("id", *NUMBERS) if name not in names]
    if missing:
        raise InputError(
            "column",
            missing[0],
            f"the columns {', '.join(('id', *NUMBERS))} are needed",
            "Add the column; a concentration that was not measured stays empty.",
        )
    place = 2  # physical row of the next good row, as pyarrow counts
    while True:
        try:
            batch = reader.read_next_batch()
        except StopIteration:
            if ragged:
                yield _with_ragged(None, ragged, place, names)
            return
        except pa.ArrowInvalid as error:
            raise InputError(str(path), str(error)[:60], "a CSV file is needed", "Export it again.") from None
        table = pa.table({name: batch.column(name) for name in ("id", *NUMBERS)})
        if not ragged:
            place += table.num_rows
            yield table
            continue
        within = [r for r in ragged if r[0] is None or r[0] <= place + table.num_rows + len(ragged)]
        ragged = [r for r in ragged if r not in within]
        yield _with_ragged(table, within, place, names)
        place += table.num_rows + len(within)


def _with_ragged(table: pa.Table | None, ragged: list[tuple[int, str]], place: int, names: list[str]) -> pa.Table:
    """Put rows with a wrong number of cells back in their place, marked by a null in every number."""
    position = names.index("id")
    parts: list[pa.Table] = []
    done = 0
    rows = 0 if table is None else table.num_rows
    for count, (number, text) in enumerate(sorted(ragged, key=lambda r: r[0] or 0)):
        upto = rows if number is None else min(max(number - place - count, done), rows)
        if table is not None:
            parts.append(table.slice(done, upto - done))
        done = upto
        cells = text.split(",")
        name = cells[position].strip().strip('"') if position < len(cells) else ""
        parts.append(
            pa.table({"id": pa.array([name], pa.string())} | {n: pa.array([None], pa.string()) for n in NUMBERS})
        )
    if table is not None:
        parts.append(table.slice(done))
    return pa.concat_tables(parts)


def _numbers(column: pa.ChunkedArray) -> FloatArray:
    try:
        values: FloatArray = pc.cast(column, pa.float64()).to_numpy(zero_copy_only=False)
    except pa.ArrowInvalid:
        values = pd.to_numeric(column.to_pandas(), errors="coerce").to_numpy(dtype=np.float64)
    return np.require(values, requirements=["C", "W"])


def _judge(table: pa.Table, temperatures: Sequence[float], pool: ThreadPoolExecutor) -> _Judged:
    problems: dict[int, str] = {}
    scenario: dict[str, FloatArray] = {}
    sound = np.ones(table.num_rows, dtype=np.bool_)
    for name, values in zip(NUMBERS, pool.map(_numbers, (table.column(name) for name in NUMBERS)), strict=True):
        low, high = LIMITS.get(name, (0.0, np.inf))
        bad = ~((values >= low) & (values <= high) & np.isfinite(values))
        for i in np.flatnonzero(bad):
            text = table.column(name)[int(i)].as_py()
            if text is not None and not text.strip() and name in MINOR:
                values[i] = 0.0
                bad[i] = False
                problems.setdefault(int(i), f"note: {name} is empty, taken as 0")
            elif sound[i]:
                problems[int(i)] = _complaint(name, text, low, high)
        sound &= ~bad
        scenario[name] = values
    if not sound.all():  # such a row is solved as some ordinary water and blanked, so that it slows no other
        scenario = {name: np.where(sound, values, 7.0) for name, values in scenario.items()}
    results, carbon, strength = _results(scenario, temperatures)
    unsolved = sound & ~np.isfinite(strength)
    for i in np.flatnonzero(unsolved):
        none = carbon[i] <= 0
        problems[int(i)] = "alkalinity and pH imply no inorganic carbon" if none else "no solution found"
    warm = sound & ~unsolved & (scenario["temperature_C"] > VALID_TO_C)
    saline = sound & ~unsolved & (strength > VALID_TO_IONIC_STRENGTH_MOL_L)
    for i in np.flatnonzero(warm | saline):
        why = "ionic strength above 0.1 mol/L" if saline[i] else "temperature above 90 °C"
        problems.setdefault(int(i), f"note: {why}, outside the range of the constants")
    void = ~sound | unsolved
    texts = pa.nulls(table.num_rows, pa.string())
    if problems:
        listed = np.full(table.num_rows, None, dtype=object)
        for row, text in problems.items():
            listed[row] = text
        texts = pa.array(listed, type=pa.string())
    return _Judged(table.column("id"), results, void, texts)


def _complaint(name: str, text: str | None, low: float, high: float) -> str:
    if text is None:
        return "the row has too many or too few cells"
    if not text.strip():
        return f"{name} is empty"
    try:
        number = float(text)
    except ValueError:
        return f"{name}: {text.strip()[:30]!r} is not a number"
    if not np.isfinite(number):
        return f"{name}: {text.strip()[:30]} is not a finite number"
    limit = f"outside {low:g} to {high:g}" if np.isfinite(high) else "negative"
    return f"{name}: {number:g} is {limit}"


def _results(
    scenario: dict[str, FloatArray], temperatures: Sequence[float]
) -> tuple[list[tuple[int, FloatArray]], FloatArray, FloatArray]:
    """Columns with their decimals, the DIC, and the ionic strength (NaN where unsolved)."""
    at, ph = scenario["temperature_C"], scenario["pH"]
    amounts = {name: scenario[f"{name}_mg_L"] / (1000 * mass) for name, mass in MOLAR_MASS_G.items()}
    alkalinity = scenario["alkalinity_mg_L_as_CaCO3"] / (1000 * CACO3_G_PER_EQ)
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
