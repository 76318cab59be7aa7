"""Tanks: how long a fill lasts, what the waste tank must hold, weight and where it sits, slope, sanitising."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater import reference
from brewwater.errors import InputError
from brewwater.plumbing.flow import density_kg_m3
from brewwater.plumbing.parts import Place, Weights, limit
from brewwater.units import FL_OZ_L, GAL_L, LB_KG, plain

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class WasteRule:
    """A jurisdiction's rule: the waste tank against the fresh one. ``preparation_share`` is added where water
    goes into food or drink."""

    key: str
    name: str
    larger_share: float
    minimum_gal: float
    preparation_share: float
    note: str
    source: str

    def ratio(self, *, prepares: bool = True) -> float:
        """Smallest waste tank over fresh tank, by volume."""
        return 1 + self.larger_share + (self.preparation_share if prepares else 0.0)

    def required_gal(self, fresh_gal: float, *, prepares: bool = True) -> float:
        """Smallest waste tank, US gal."""
        return max(fresh_gal * self.ratio(prepares=prepares), self.minimum_gal)


def waste_rule(key: str) -> WasteRule:
    """The rule of a jurisdiction.

    Raises
    ------
    InputError : it is not listed in ``reference/waste_tank_rules.csv``
    """
    rows = reference.keyed("waste_tank_rules")
    if key not in rows:
        raise InputError(
            "jurisdiction",
            key,
            f"the listed ones are {', '.join(rows)}",
            "Choose one, or food_code and ask your health department.",
        )
    row = rows[key]
    return WasteRule(
        key,
        row["name"],
        float(row["percent_larger"]) / 100,
        float(row["minimum_gal"]),
        float(row["preparation_percent"]) / 100,
        row["note"],
        reference.cite(row["source"]),
    )


def hours_per_fill(usable_gal: float, gal_per_day: FloatArray, hours: float) -> FloatArray:
    """Hours of service that a fill lasts at the day's mean draw; infinite where nothing is drawn."""
    with np.errstate(divide="ignore", over="ignore"):
        return np.asarray(usable_gal * hours / gal_per_day, dtype=np.float64)


def lb_per_gal(temperature_C: float | None = None) -> float:
    """Weight of water, lb per US gal."""
    temperature_C = limit("usual_water_C") if temperature_C is None else temperature_C
    return density_kg_m3(temperature_C) * GAL_L / 1000 / LB_KG


@dataclass(frozen=True, slots=True)
class Balance:
    """A loaded unit: total, lb; share of it on the hitch (None without one) and on the left wheels (None
    without a track)."""

    state: str
    total_lb: float
    tongue_share: float | None
    left_share: float | None


def balance(
    weights: Weights, fresh_gal: float, waste_gal: float, temperature_C: float | None = None, product_gal: float = 0.0
) -> tuple[Balance, ...]:
    """Total and where it rests: tanks empty, fresh full, half served (half of each), waste full.

    A membrane's storage tank counts as full in all but the first: the membrane keeps it full as long as there is
    fresh water, and how much is left in the end is chance. Moments about the axle, the unit at rest and level. A
    simple balance: no substitute for a scale.
    """
    per_gal = lb_per_gal(temperature_C)
    found = []
    for state, fresh, waste in (
        ("empty", 0.0, 0.0),
        ("fresh full", 1.0, 0.0),
        ("half served", 0.5, 0.5),
        ("waste full", 0.0, 1.0),
    ):
        loads: list[tuple[float, Place]] = [
            (weights.empty_lb, weights.empty_at),
            (fresh * fresh_gal * per_gal, weights.fresh_at),
            (waste * waste_gal * per_gal, weights.waste_at),
            ((state != "empty") * product_gal * per_gal, weights.product_at),
        ]
        total = sum(lb for lb, _ in loads)
        ahead = sum(lb * at.ahead_in for lb, at in loads)
        left = sum(lb * at.left_in for lb, at in loads)
        tongue = None if weights.hitch_in is None else ahead / weights.hitch_in / total
        side = None if weights.track_in is None else 0.5 + left / weights.track_in / total
        found.append(Balance(state, total, tongue, side))
    return tuple(found)


def drain_slope_in_per_ft(diameter_in: float) -> float:
    """Least slope of a horizontal drain pipe, inches per foot (Table 704.1). Between two lines of the table,
    the steeper.

    Raises
    ------
    InputError : a diameter of 0 in or below
    """
    if diameter_in <= 0:
        raise InputError("drain diameter", diameter_in, "it is above 0 in", "Measure the drain pipe.")
    rows = reference.table("drain_slope")
    fits = [r for r in rows if float(r["diameter_from_in"]) <= diameter_in]
    return float(fits[-1]["slope_in_per_ft"])


def fall_in(length_in: float, slope_in_per_ft: float) -> float:
    """How much lower the far end lies, inches."""
    return length_in / 12 * slope_in_per_ft


def bleach_fl_oz(volume_gal: float, target_mg_L: float, strength_percent: float) -> float:
    """Bleach for a volume of water, US fl oz: the strength is grams of chlorine in 100 mL, as printed on the
    bottle.

    Raises
    ------
    InputError : a strength outside 1 to 15 %, or a volume or dose below 0
    """
    weakest, strongest = limit("bleach_weakest"), limit("bleach_strongest")
    if not weakest <= strength_percent <= strongest:
        raise InputError(
            "bleach strength",
            f"{plain(strength_percent, 6)} %",
            f"{weakest:g} to {strongest:g} % is sold",
            "Read it on the bottle; plain, unscented bleach only.",
        )
    if volume_gal < 0 or target_mg_L < 0:
        raise InputError(
            "bleach dose",
            f"{plain(volume_gal, 6)} gal at {plain(target_mg_L, 6)} mg/L",
            "neither is below 0",
            "Correct the volume or the dose.",
        )
    return volume_gal * GAL_L * target_mg_L / (strength_percent * 10_000) / FL_OZ_L


def bleach_mg_L(volume_gal: float, fl_oz: float, strength_percent: float) -> float:
    """Chlorine that a dose gives, mg/L as Cl2."""
    return fl_oz * FL_OZ_L * strength_percent * 10_000 / (volume_gal * GAL_L)


@dataclass(frozen=True, slots=True)
class BleachDose:
    """A sanitising dose: bleach, what it gives, how long it stands, and the source of the rule."""

    name: str
    bleach_fl_oz: float
    chlorine_mg_L: float
    contact_hours: float
    note: str
    source: str


def sanitising(volume_gal: float, strength_percent: float, rule: str = "mobile_unit") -> BleachDose:
    """The dose of a rule of ``reference/sanitising.csv`` for the tank's volume and this bleach. Doses differ
    with purpose: the one chosen is cited.

    Raises
    ------
    InputError : an unknown rule, or a strength that is not sold
    """
    rows = reference.keyed("sanitising")
    if rule not in rows:
        raise InputError("sanitising rule", rule, f"the listed ones are {', '.join(rows)}", "Choose one.")
    row = rows[rule]
    target = float(row["target_mg_L"] or 0)
    ounces = volume_gal * float(row["fl_oz_per_gal"] or 0) or bleach_fl_oz(volume_gal, target, strength_percent)
    return BleachDose(
        row["name"],
        ounces,
        bleach_mg_L(volume_gal, ounces, strength_percent),
        float(row["contact_hours"]),
        row["note"],
        reference.cite(row["source"]),
    )


def thin(spare: float, whole: float) -> bool:
    """True where what is left over is under a fifth of the tank (common practice)."""
    return 0 <= spare < limit("thin_share") * whole


def next_size(part: str, wanted: float) -> float:
    """The smallest usual size of a part that is large enough.

    Raises
    ------
    InputError : none is
    """
    sizes = sorted(usual_sizes(part))
    for size in sizes:
        if size >= wanted - 1e-9:
            return size
    raise InputError(
        part,
        f"{plain(wanted)}",
        f"the largest usual {part} is {plain(sizes[-1], 6)}",
        "Split it in two, fill more often, or carry less.",
    )


def usual_sizes(part: str) -> Iterable[float]:
    """Sizes of a part as usually sold (``reference/usual_sizes.csv``)."""
    return [float(r["size"]) for r in reference.table("usual_sizes") if r["part"] == part]
