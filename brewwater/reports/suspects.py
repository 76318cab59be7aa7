"""Which single row, read on another basis, would make the printed water fit together.

A water's figures must agree in several ways: cations with anions, calcium and magnesium with hardness, the ions with
conductivity and with dissolved solids, bicarbonate with alkalinity. Each way is a residual in standard deviations; a
misprint is suspected where one changed row mends the residuals and no other row does as well.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from brewwater.water import CACO3_G_PER_EQ, HCO3_G_PER_MOL, MOLAR_MASS_G

Ions = Mapping[str, float]

# Standard deviations of sound analyses (common practice, no source): charge balance in percent, the others as shares.
SD = {"balance": 2.5, "hardness": 0.04, "conductivity": 0.09, "solids": 0.15, "alkalinity": 0.04}
# For middles of printed ranges, which need not meet.
_WIDE = 2.5
# How much better (in squared deviations) a changed row must fit before it is named, and at least how bad it was.
_GAIN, _BAD = 2.6, 1.6
_MAIN = ("calcium", "magnesium", "sodium", "chloride", "sulfate")
_GRAIN, _DEGREE = 17.118, 17.848


@dataclass(frozen=True, slots=True)
class Suspect:
    """A row that is probably misprinted: the analyte, a stable code, and what would mend it."""

    field: str
    code: str
    says: str


# analyte, code, factor that mends the printed figure, words
_MISPRINTS = (
    ("sulfate", "sulfate_as_s", 96.06 / 32.06, "sulfate is printed as S"),
    ("bicarbonate", "bicarbonate_as_caco3", HCO3_G_PER_MOL / CACO3_G_PER_EQ, "bicarbonate is printed as CaCO3"),
    ("total_hardness", "hardness_unit", _GRAIN, "the hardness is in grains per gallon"),
    ("total_hardness", "hardness_unit", _DEGREE, "the hardness is in °dH"),
    ("total_hardness", "hardness_unit", 10.0, "the hardness is in °fH"),
    ("sodium", "sodium_tenfold", 0.1, "sodium is printed ten times too high"),
)


def suspects(x: Ions, wide: set[str], conductivity: Callable[[Ions, float], float]) -> list[Suspect]:
    """The rows that, changed, mend the residuals best; none where the water fits as it is printed.

    Parameters
    ----------
    x : middles in the plan's units
    wide : analytes of which only a range is printed
    conductivity : µS/cm at 25 °C of ions and an alkalinity (mg/L as CaCO3)
    """
    before = residuals(x, wide, conductivity)
    if not before or max(abs(r) for r in before.values()) < _BAD:
        return []
    was = _sum(before)
    found: list[tuple[float, Suspect]] = []
    for field, code, factor, says in _MISPRINTS:
        if field not in x:
            continue
        after = residuals({**x, field: x[field] * factor}, wide, conductivity)
        gain = was - _sum(after)
        if gain >= _GAIN and _sum(after) < 0.55 * was:
            found.append((gain, Suspect(field, code, says)))
    if not found:
        return []
    best = max(gain for gain, _ in found)
    near = [s for gain, s in sorted(found, key=lambda f: -f[0]) if gain >= 0.8 * best]
    return list({s.field: s for s in reversed(near)}.values())[::-1]


def residuals(x: Ions, wide: set[str], conductivity: Callable[[Ions, float], float]) -> dict[str, float]:
    """Residuals in standard deviations, by their names in ``SD``; only those that the figures allow."""
    out: dict[str, float] = {}
    alkalinity = x.get("alkalinity")
    from_ions = None
    if "bicarbonate" in x:
        from_ions = CACO3_G_PER_EQ * (x["bicarbonate"] / HCO3_G_PER_MOL + 2 * x.get("carbonate", 0.0) / 60.0089)
    if alkalinity is not None and from_ions is not None and alkalinity + from_ions > 10:
        out["alkalinity"] = _log(from_ions, alkalinity) / _sd("alkalinity", wide, "alkalinity", "bicarbonate")
    alk = from_ions if from_ions is not None else alkalinity
    made = None
    if {"calcium", "magnesium"} <= set(x):
        made = (
            CACO3_G_PER_EQ * 2 * (x["calcium"] / MOLAR_MASS_G["calcium"] + x["magnesium"] / MOLAR_MASS_G["magnesium"])
        )
        if "total_hardness" in x and made + x["total_hardness"] > 12:
            out["hardness"] = _log(made, x["total_hardness"]) / _sd("hardness", wide, "total_hardness", "calcium")
    if alk is None:
        return out
    hard = made if made is not None else x.get("total_hardness")
    if hard is None:
        return out
    cations = hard / CACO3_G_PER_EQ + x.get("sodium", 0.0) / MOLAR_MASS_G["sodium"]
    cations += x.get("potassium", 0.0) / MOLAR_MASS_G["potassium"]
    anions = alk / CACO3_G_PER_EQ + x.get("chloride", 0.0) / MOLAR_MASS_G["chloride"]
    anions += 2 * x.get("sulfate", 0.0) / MOLAR_MASS_G["sulfate"] + x.get("nitrate", 0.0) / MOLAR_MASS_G["nitrate"]
    complete = set(_MAIN) <= set(x)
    if complete and cations + anions > 0.2:
        out["balance"] = 100 * (cations - anions) / (cations + anions) / _sd("balance", wide, *_MAIN)
    ec = x.get("conductivity")
    if ec and complete:
        out["conductivity"] = _log(conductivity(x, alk), ec) / _sd("conductivity", wide, "conductivity", *_MAIN)
    elif ec:
        # a water conducts about 100 µS/cm for each meq/L of cations, and of anions; one side alone may not exceed it
        over = max(cations, anions) / (ec / 100)
        if over > 1:
            out["conductivity"] = math.log(over) / _sd("conductivity", wide, "conductivity")
        elif "total_hardness" in x and made is None and "sodium" in x and cations / (ec / 100) < 1:
            out["conductivity"] = math.log(cations / (ec / 100)) / (1.6 * _sd("conductivity", wide, "conductivity"))
    solids = x.get("total_dissolved_solids")
    if solids and complete:
        ions = sum(x.get(i, 0.0) for i in (*_MAIN, "potassium", "nitrate", "silica"))
        ions += 0.4917 * HCO3_G_PER_MOL * alk / CACO3_G_PER_EQ
        out["solids"] = _log(ions, solids) / _sd("solids", wide, "total_dissolved_solids", *_MAIN)
    return out


def _sum(found: Mapping[str, float]) -> float:
    """Squared deviations, each held where it says no more than that something is wrong."""
    return sum(min(r * r, 60.0) for r in found.values())


def _sd(name: str, wide: set[str], *of: str) -> float:
    return SD[name] * (_WIDE if wide & set(of) else 1.0)


def _log(a: float, b: float) -> float:
    return math.log(max(a, 1e-3) / max(b, 1e-3))
