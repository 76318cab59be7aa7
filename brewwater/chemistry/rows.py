"""How waters stand in memory while they are solved: one row per species, per total, per result.

Species with the same exponents stand side by side, so that one array operation serves a whole block; a
``Workspace`` keeps the rows, for fresh memory would cost more than the arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewwater.chemistry.constants import LN10, debye_hueckel, log_ks
from brewwater.chemistry.totals import Totals

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# rows of species, in blocks of equal exponents; within a block calcium, magnesium, sodium, potassium
SPECIES = (
    "caco3",
    "mgco3",
    "naco3",  # c
    "cahco3",
    "mghco3",
    "nahco3",
    "hco3",  # h c
    "caso4",
    "mgso4",
    "naso4",
    "kso4",  # s
    "cahso4",
    "hso4",  # h s
    "caoh",
    "mgoh",
    "oh",  # 1/h
    "h",
    "co2",
    "co2_pair",
)
BY_C, BY_HC, BY_S, BY_HS, BY_OH = slice(0, 3), slice(3, 7), slice(7, 11), slice(11, 13), slice(13, 16)
CAHCO3, CASO4, KSO4, CAHSO4, HSO4, CAOH, H, CO2, PAIR = 3, 7, 10, 11, 12, 13, 16, 17, 18
HCO3, OH = 6, 15
_OTHER_KEYS = ("kw", "k1", "k2", "calcite")
METAL_HC, METAL_S, METAL_OH = slice(3, 6), slice(7, 10), slice(13, 15)

# rows of ln gamma: metals first, then in the order in which blocks of species divide by them
GAMMA = ("calcium", "magnesium", "sodium", "potassium", "sulfate", "cahco3", "mghco3", "carbonate", "mgoh", "oh", "h")
_CHARGE = np.array([2, 2, 1, 1, 2, 1, 1, 1, 1, 1, 1], dtype=np.float64)


def aligned(*shape: int) -> FloatArray:
    """Uninitialised rows that begin on a cache line each: half the time of rows that do not."""
    *leading, n = shape
    line = 8  # numbers
    stride = (n // line + 2) * line
    size = int(np.prod(leading, dtype=np.int64)) * stride
    raw = np.empty(size + line)
    offset = (-raw.ctypes.data % 64) // raw.itemsize
    found: FloatArray = raw[offset : offset + size].reshape(*leading, stride)[..., :n]
    return found


def _rows(values: Sequence[ArrayLike], n: int) -> FloatArray:
    made = aligned(len(values), n)
    for row, value in zip(made, values, strict=True):
        row[:] = value
    return made


@dataclass(frozen=True)
class Constants:
    """Natural logarithms of the constants at the waters' temperature, one row per species of ``SPECIES``
    (formed from H+, CO3, SO4 and metal), of calcite's Ksp, and Debye-Hückel A (on ln) and B. The last axis
    is the water, or has length 1."""

    species: FloatArray
    calcite: FloatArray
    a: FloatArray
    b: FloatArray

    @classmethod
    def at(cls, temperature_C: FloatArray) -> Constants:
        """The constants at temperatures of shape ``(n,)`` or ``(1,)``."""
        keys = [name for name in SPECIES if name not in ("h", "co2", "hco3", "oh")]
        found = dict(zip([*keys, *_OTHER_KEYS], log_ks((*keys, *_OTHER_KEYS), temperature_C), strict=True))
        found |= {
            "h": np.zeros(()),
            "oh": found["kw"],
            "hco3": -found["k2"],
            "co2": -found["k2"] - found["k1"],
            "cahco3": found["cahco3"] - found["k2"],
            "nahco3": found["nahco3"] - found["k2"],
            "cahso4": found["cahso4"] + found["hso4"],
        }
        rows = _rows([found[name] for name in SPECIES], temperature_C.size)
        rows *= LN10
        a, b = debye_hueckel(temperature_C)
        return cls(rows, LN10 * found["calcite"], LN10 * a, b)

    def take(self, rows: NDArray[np.intp]) -> Constants:
        """The constants of some of the waters."""
        if self.calcite.size == 1:
            return self
        return Constants(self.species[:, rows], self.calcite[rows], self.a[rows], self.b[rows])


class Amounts:
    """Totals as the solver wants them, ``n`` waters, in rows. mol/L and eq/L.

    ``others``: all solutes but carbon, for the activity of water. ``charge``: half the surplus of cations
    over anions.
    """

    def __init__(self, rows: FloatArray) -> None:
        self.rows = rows
        self.metals = rows[:3]  # calcium, magnesium, sodium
        self.potassium, self.sulfate, self.alkalinity, self.dic, self.others, self.charge = rows[3:]
        self.n = rows.shape[1]

    @classmethod
    def of(cls, t: Totals, n: int) -> Amounts:
        """From totals of shape ``(n,)`` or ``()``."""
        others = t.calcium + t.magnesium + t.sodium + t.potassium + t.chloride + t.sulfate + t.nitrate
        charge = 0.5 * t.charge_imbalance
        return cls(
            _rows([t.calcium, t.magnesium, t.sodium, t.potassium, t.sulfate, t.alkalinity, t.dic, others, charge], n)
        )

    def take(self, rows: NDArray[np.intp]) -> Amounts:
        """Some of the waters."""
        return Amounts(self.rows[:, rows])

    def with_dic(self, dic: ArrayLike) -> Amounts:
        """The same with another DIC."""
        made = aligned(*self.rows.shape)
        made[:] = self.rows
        made[6] = dic
        return Amounts(made)


class Solved:
    """Solved waters, in rows: ``h`` (activity), ``c`` and ``s`` (free carbonate and sulfate, mol/L), ionic
    ``strength``, free ``calcium``, ``calcium_total`` (with calcite), ``dic`` (without), ``ksp`` (of calcite, on
    concentrations), ``water_activity``; and ``solved``."""

    def __init__(self, rows: FloatArray, solved: BoolArray) -> None:
        self.rows, self.solved = rows, solved
        self.free = rows[:3]
        self.h, self.c, self.s, self.strength, self.calcium, self.calcium_total, self.dic, self.ksp = rows[:8]
        self.water_activity = rows[8]

    @classmethod
    def empty(cls, n: int) -> Solved:
        """Rows to be filled."""
        return cls(aligned(9, n), np.zeros(n, dtype=np.bool_))

    def take(self, rows: NDArray[np.intp]) -> Solved:
        """Some of the waters."""
        return Solved(self.rows[:, rows], self.solved[rows])

    def put(self, rows: NDArray[np.intp], part: Solved) -> None:
        """Write waters that were solved apart."""
        self.rows[:, rows] = part.rows
        self.solved[rows] = part.solved


class Workspace:
    """Rows for ``n`` waters, used over and over; one per thread."""

    _SIZES: ClassVar = {
        "gamma": (11,),
        "k": (19,),
        "m": (19,),
        "metal": (3,),
        "three": (7, 3),
        "rows": (13,),
        "step": (3,),
        "more": (8,),
    }
    gamma: FloatArray
    k: FloatArray
    m: FloatArray
    metal: FloatArray
    three: FloatArray
    rows: FloatArray
    step: FloatArray
    more: FloatArray

    def __init__(self, n: int) -> None:
        self.n = n
        memory = aligned(sum(int(np.prod(size)) for size in self._SIZES.values()), n)
        first = 0
        for name, size in self._SIZES.items():
            after = first + int(np.prod(size))
            setattr(self, name, memory[first:after, :n].reshape(*size, n))
            first = after

    def of(self, n: int) -> Workspace:
        """A view for ``n`` waters, at most as many as this one holds."""
        if n == self.n:
            return self
        view = object.__new__(Workspace)
        view.n = n
        for name in self._SIZES:
            setattr(view, name, getattr(self, name)[..., :n])
        return view
