"""What the charge balance says of a batch: a set or a row out of balance, and the basis that would mend it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater.units import to_plan_units
from brewwater.water import CACO3_G_PER_EQ, HCO3_G_PER_MOL, MOLAR_MASS_G

FloatArray = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Percent beyond which a whole analysis is out of balance (common practice, no source).
LIMIT_PERCENT = 5.0
# So few rows are judged one by one; more of them share their columns' bases and are judged by their middle.
_FEW = 4
_LEAST_OF_A_SET = 2.0
_CHARGE = {"calcium": 2, "magnesium": 2, "sodium": 1, "potassium": 1, "chloride": 1, "sulfate": 2, "nitrate": 1}
_CATIONS = ("calcium", "magnesium", "sodium", "potassium")


@dataclass(frozen=True)
class Other:
    """Another basis for a column: what it would be, the factors on the ions' charge, and from what gap it is told."""

    said: str
    factors: Mapping[str, float]
    least: float
    share: float


@dataclass(frozen=True)
class Remark:
    """Something told of some rows: one text for all of them, or one for each."""

    where: Mask
    text: str | NDArray[np.object_]


def others(printed: Mapping[str, str], bicarbonate: bool, own: frozenset[str]) -> list[Other]:
    """The bases that are commonly mistaken.

    Parameters
    ----------
    printed : analyte to its header; of what is in the file
    bicarbonate : the alkalinity comes from a column of bicarbonate
    own : analytes whose header names another basis already, so that there is nothing to mistake
    """
    as_ion = HCO3_G_PER_MOL / CACO3_G_PER_EQ
    found = []
    if bicarbonate:
        found.append(Other(f"{printed['alkalinity']} is as CaCO3", {"alkalinity": as_ion}, 3.0, 0.35))
    elif "alkalinity" in printed:
        found.append(Other(f"{printed['alkalinity']} is as HCO3", {"alkalinity": 1 / as_ion}, 3.0, 0.35))
    for analyte, basis in (("sulfate", "S"), ("nitrate", "N"), ("calcium", "CaCO3")):
        if analyte in printed and analyte not in own:
            factor = to_plan_units(1.0, "mg/L", analyte, basis)
            found.append(Other(f"{printed[analyte]} is as {basis}", {analyte: factor}, LIMIT_PERCENT, 0.25))
    if {"calcium", "magnesium"} <= set(printed) and not {"calcium", "magnesium"} & own:
        both = {a: to_plan_units(1.0, "mg/L", a, "CaCO3") for a in ("calcium", "magnesium")}
        said = f"{printed['calcium']} and {printed['magnesium']} are as CaCO3"
        found.append(Other(said, both, LIMIT_PERCENT, 0.25))
    return found


def remarks(
    mg_L: Mapping[str, FloatArray], alkalinity_mg_L: FloatArray, sound: Mask, bases: list[Other]
) -> list[Remark]:
    """What is to be told of a block whose main ions are all given.

    Parameters
    ----------
    mg_L : analyte to mg/L of the ion, shape (rows,)
    alkalinity_mg_L : as CaCO3, shape (rows,)
    sound : the rows that have all figures
    bases : what else the columns could be
    """
    charge = {a: mg_L[a] / MOLAR_MASS_G[a] * z for a, z in _CHARGE.items()} | {
        "alkalinity": alkalinity_mg_L / CACO3_G_PER_EQ
    }
    balance = _balance(charge, {})
    sound = sound & np.isfinite(balance)
    rows = int(sound.sum())
    if not rows:
        return []
    if rows >= _FEW and abs(np.median(balance[sound])) >= _LEAST_OF_A_SET:
        for other in bases:
            changed = _balance(charge, other.factors)
            if _mends_set(balance[sound], changed[sound], other):
                before, after = np.median(balance[sound]), np.median(changed[sound])
                text = (
                    f"charge balance of these rows {before:+.1f} % in the middle as printed, {after:+.1f} % if "
                    f"{other.said}: check the basis"
                )
                return [Remark(sound, text)]
    least = LIMIT_PERCENT if rows >= _FEW else min((other.least for other in bases), default=LIMIT_PERCENT)
    odd = np.flatnonzero(sound & (np.abs(balance) >= least))
    return _row_by_row({a: v[odd] for a, v in charge.items()}, odd, len(sound), bases, rows) if len(odd) else []


def _row_by_row(
    charge: Mapping[str, FloatArray], odd: NDArray[np.int_], rows: int, bases: list[Other], sound: int
) -> list[Remark]:
    """What is told of the rows that are out of balance, each for itself."""
    balance = _balance(charge, {})
    mended = np.zeros(len(odd), dtype=np.bool_)
    said = _each(balance, "charge balance {:+.1f} %")
    for other in bases:
        changed = _balance(charge, other.factors)
        least = LIMIT_PERCENT if sound >= _FEW else other.least
        near = (np.abs(balance) >= least) & (np.abs(changed) <= other.share * np.abs(balance))
        said[near & ~mended] += " as printed"
        said[near] += _each(changed[near], f", {{:+.1f}} % if {other.said}")
        mended |= near
    said[mended] += ": check the basis"
    alone = (np.abs(balance) > LIMIT_PERCENT) & ~mended
    said[alone] += f", beyond {LIMIT_PERCENT:g} %: a figure, a unit or an ion is wrong or missing"
    where = np.zeros(rows, dtype=np.bool_)
    where[odd] = mended | alone
    text = np.full(rows, None, dtype=object)
    text[odd] = said
    return [Remark(where, text)] if where.any() else []


def _balance(charge: Mapping[str, FloatArray], factors: Mapping[str, float]) -> FloatArray:
    cations = sum(charge[a] * factors.get(a, 1.0) for a in _CATIONS)
    anions = sum(v * factors.get(a, 1.0) for a, v in charge.items() if a not in _CATIONS)
    with np.errstate(all="ignore"):
        return np.asarray(100 * (cations - anions) / (cations + anions), dtype=np.float64)


def _mends_set(before: FloatArray, after: FloatArray, other: Other) -> bool:
    """Whether a basis brings the middle of a set near 0 without spreading it."""
    middle, mended = float(np.median(before)), float(np.median(after))
    spread = float(np.median(np.abs(before - middle)))
    wider = float(np.median(np.abs(after - mended)))
    sure = abs(middle) >= 3 * spread / np.sqrt(len(before))  # twice the standard error of the middle, about
    least = max(0.6 * other.least, _LEAST_OF_A_SET)
    return abs(middle) >= least and abs(mended) <= other.share * abs(middle) and sure and wider <= 1.3 * spread + 0.5


def _each(values: FloatArray, form: str) -> NDArray[np.object_]:
    """A text for each row; the same number is written once, so that many rows cost little."""
    unique, back = np.unique(np.rint(values * 10), return_inverse=True)
    return np.array([form.format(u / 10) for u in unique], dtype=object)[back]
