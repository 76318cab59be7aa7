"""Checks of tanks and weight: what a day takes, the waste rule, the busiest day, balance, slope, residual."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater import reference
from brewwater.plumbing.check import Check, Judge, at_least, settled
from brewwater.plumbing.parts import Branch, Known, Unit, limit, limit_source
from brewwater.plumbing.tanks import (
    balance,
    drain_slope_in_per_ft,
    fall_in,
    hours_per_fill,
    lb_per_gal,
    thin,
    waste_rule,
)
from brewwater.units import GAL_L, LB_KG, percent, plain

FloatArray = NDArray[np.float64]
Litres = Mapping[str, FloatArray]


@dataclass(frozen=True, slots=True)
class Day:
    """What a service day takes from the fresh tank and sends to the waste tank, US gal, per draw."""

    fixtures_gal: FloatArray
    reject_gal: FloatArray
    waste_gal: FloatArray

    @property
    def fresh_gal(self) -> FloatArray:
        """Drawn from the fresh tank, reject counted."""
        return self.fixtures_gal + self.reject_gal


def day_of(branches: Sequence[Branch], litres: Litres, reject_L_per_L: Litres) -> Day:
    """Add up a day: ``litres`` served per branch, ``reject_L_per_L`` to waste for each litre served."""
    served = reject = waste = np.zeros(1)
    for branch in branches:
        gal = np.asarray(litres.get(branch.name, np.zeros(1))) / GAL_L
        spilled = gal * np.asarray(reject_L_per_L.get(branch.name, np.zeros(1)))
        served, reject = served + gal, reject + spilled
        waste = waste + gal * branch.waste_share + spilled
    return Day(served, reject, waste)


def tank_checks(on: Known, day: Day, judge: Judge, carried_gal: float = 0.0) -> list[Check]:
    """Fresh and waste tank on an ordinary day; ``carried_gal``: a tank of other water that the waste tank has to
    answer for as well.

    Raises
    ------
    AssertionError : tanks, hours or the usable share are missing: the unit was not filled in from a template
    """
    unit = on.unit
    fresh, waste, hours = unit.fresh_tank_gal, unit.waste_tank_gal, unit.hours_per_service_day
    usable_share = unit.usable_fresh_share
    if fresh is None or waste is None or hours is None or usable_share is None:
        raise AssertionError("a template fills these")
    usable, need, typical = (
        fresh * usable_share,
        judge.high(day.fresh_gal),
        judge.mean(day.fresh_gal),
    )
    lasts = judge.low(hours_per_fill(usable, day.fresh_gal, hours))
    wanted = hours / unit.fills_per_day
    reject = judge.mean(day.reject_gal)
    spare = usable - need / unit.fills_per_day
    how = (
        f"An ordinary service day of {plain(hours, 6)} h draws {plain(typical)} gal ({plain(need)} in one day of ten), "
        f"{plain(reject)} gal of it reject; {plain(usable)} gal of the {plain(fresh, 6)} gal tank are usable"
    )
    if thin(spare, usable):
        how += f"; thin: {plain(spare, 2)} gal to spare"
    if reject > 0 and (spare < 0 or thin(spare, usable)):
        how += (
            ". Made at base and carried, the same membrane water asks only "
            f"{plain(judge.mean(day.fixtures_gal))} gal of the tanks on board"
        )
    gone = on.missing(("fresh_tank_gal",))
    made = [
        settled(
            "fresh_tank_hours",
            lasts if np.isfinite(lasts) else None,
            wanted,
            "h",
            [at_least(lasts, wanted)],
            "tank, demand and reject of this plan",
            how,
            "fresh tank",
            gone=gone,
        )
    ]
    rule = waste_rule(unit.jurisdiction)
    clean = fresh + carried_gal
    ratio, least = waste / clean, rule.required_gal(clean) / clean
    gone = on.missing(("fresh_tank_gal", "waste_tank_gal"))
    text = (
        f"{rule.name}: at least {plain(rule.required_gal(clean), 4)} gal for {plain(clean, 6)} gal fresh; it "
        f"holds {plain(waste, 6)} gal"
    )
    made.append(
        settled(
            "waste_tank_ratio",
            ratio,
            least,
            "1",
            [at_least(ratio, least)],
            rule.source,
            text + (f" ({rule.note})" if rule.note else ""),
            "waste tank",
            gone=gone,
        )
    )
    gone = on.missing(("waste_tank_gal",))
    into = judge.high(day.waste_gal) / unit.fills_per_day
    text = (
        f"{plain(into)} gal run into it between two emptyings (sinks, rinser, drip trays, reject); it holds "
        f"{plain(waste, 6)} gal"
    )
    if thin(waste - into, waste):
        text += f"; thin: {plain(waste - into, 2)} gal to spare"
    made.append(
        settled(
            "waste_tank_fill",
            into,
            waste,
            "gal",
            [at_least(waste, into)],
            "demand and reject of this plan",
            text,
            "waste tank",
            gone=gone,
        )
    )
    days = judge.high(usable / np.maximum(day.fresh_gal, 1e-9))
    gone = on.missing(("fresh_tank_gal",))
    made.append(
        settled(
            "turnover",
            days,
            limit("turnover_days"),
            "days",
            [days <= limit("turnover_days")],
            limit_source("turnover_days"),
            "Service days that a tank of water stands; drain it when idle",
            "fresh tank",
            gone=gone,
        )
    )
    return made


def peak_checks(on: Known, day: Day, judge: Judge) -> list[Check]:
    unit = on.unit
    fresh, waste = _tank_sizes(unit)
    gone = on.missing(("fresh_tank_gal", "waste_tank_gal"))
    need, into = judge.high(day.fresh_gal), judge.high(day.waste_gal)
    fills = max(need / (fresh * (unit.usable_fresh_share or 1.0)), into / waste)
    how = (
        f"The busiest day draws {plain(need)} gal and sends {plain(into)} gal to waste: {np.ceil(fills):.0f} "
        f"fills and emptyings, and {plain(unit.fills_per_day, 6)} are planned"
    )
    return [
        settled(
            "peak_day_fills",
            fills,
            float(unit.fills_per_day),
            "1",
            [at_least(unit.fills_per_day, fills)],
            "tanks and busiest day of this plan",
            how,
            "tanks",
            gone=gone,
        )
    ]


def weight_checks(unit: Unit, membranes: Sequence[str] = ()) -> list[Check]:
    """Weight and balance; ``membranes`` on board, each with its product in the unit's storage tank."""
    fresh, waste = _tank_sizes(unit)
    product = unit.product_tank_gal or 0.0 if membranes else 0.0
    unknown = bool(membranes) and unit.product_tank_gal is None
    left_out = f" The storage tank of {' and '.join(membranes)} is not given and not counted." if unknown else ""
    source = reference.cite("water_density_table")
    on_it = unit.weights
    if on_it is None:
        # one fills as the other empties
        water = (max(fresh, waste) + product) * lb_per_gal(unit.water_C)
        return [
            Check(
                "weight",
                water,
                None,
                "lb",
                None,
                source,
                f"Water alone weighs up to {water:.0f} lb ({water * LB_KG:.0f} kg)"
                + (f", {plain(product, 6)} gal of it membrane water in its own tank" if product else "")
                + f"; the unit's empty weight and its limit are not given.{left_out}",
                "unit",
            )
        ]
    states = balance(on_it, fresh, waste, unit.water_C, product)
    worst = max(states, key=lambda s: s.total_lb)
    most = on_it.gross_limit_lb
    heavy = most is not None and worst.total_lb > most
    made = [
        Check(
            "weight",
            worst.total_lb,
            most,
            "lb",
            False if heavy else None if most is None or unknown else True,
            source,
            f"Heaviest with {worst.state}: {worst.total_lb * LB_KG:.0f} kg; half-full tanks slosh."
            + ("" if most else " The unit's weight limit is not given.")
            + left_out,
            "unit",
        )
    ]
    low, high, side = limit("tongue_share_low"), limit("tongue_share_high"), limit("side_share")
    if on_it.hitch_in is not None:
        shares = [(s.tongue_share or 0.0, s.state) for s in states]
        off, state = max(shares, key=lambda s: max(low - s[0], s[0] - high))
        made.append(
            Check(
                "tongue",
                off,
                low if off < (low + high) / 2 else high,
                "1",
                None if unknown else low <= off <= high,
                limit_source("tongue_share_low"),
                f"Of the weight, {percent(off, 1)} rests on the hitch with {state}; {percent(low)} to {percent(high)} "
                "is usual. Weigh it.",
                "unit",
            )
        )
    if on_it.track_in is not None:
        shares = [(max(s.left_share or 0.5, 1 - (s.left_share or 0.5)), s.state) for s in states]
        off, state = max(shares)
        made.append(
            Check(
                "side_balance",
                off,
                side,
                "1",
                None if unknown else off <= side,
                limit_source("side_share"),
                f"The heavier side carries {percent(off, 1)} with {state}.",
                "unit",
            )
        )
    return made


def _tank_sizes(unit: Unit) -> tuple[float, float]:
    """Fresh and waste tank of a unit filled in by ``known``, US gal."""
    assert unit.fresh_tank_gal is not None
    assert unit.waste_tank_gal is not None
    return unit.fresh_tank_gal, unit.waste_tank_gal


def slope_checks(unit: Unit) -> list[Check]:
    least = limit("tank_slope")
    source = f"{limit_source('tank_slope')}; drain pipe: {reference.cite('chicago_18_29_704_1')}"
    length, fall = unit.waste_tank_length_in, unit.waste_tank_fall_in
    pipe = drain_slope_in_per_ft(1)
    if length is None:
        return [
            Check(
                "slope",
                None,
                least,
                "in/ft",
                None,
                source,
                f"The waste tank's length is not given. It falls to its drain by {plain(least, 6)} in per ft; a small "
                f"drain pipe by {plain(pipe, 6)} in per ft.",
                "waste tank",
            )
        ]
    wanted = fall_in(length, least)
    text = f"Over {plain(length, 6)} in the drain end lies {wanted:.2f} in lower"
    if fall is None:
        return [
            Check("slope", None, least, "in/ft", None, source, text + "; how much it falls is not given.", "waste tank")
        ]
    slope = fall / length * 12
    return [
        Check(
            "slope",
            slope,
            least,
            "in/ft",
            at_least(slope, least),
            source,
            f"{text}; it lies {plain(fall, 6)} in lower.",
            "waste tank",
        )
    ]


def residual_check(now: float, measured: bool) -> Check:
    """Chlorine in the fresh tank against the least that is kept each day."""
    rows = reference.keyed("tank_residual", "when")
    row, fill = rows["each day"], float(rows["taken on board"]["minimum_mg_L"])
    least, most = float(row["minimum_mg_L"]), float(row["maximum_mg_L"])
    how = (
        "Chlorine left in the fresh tank's water keeps it safe until it is drawn: carbon goes after the tank, never "
        f"before it. Measure it at fill and each day: {plain(least, 6)} to {plain(most, 6)} mg/L each day; "
        f"ships must take water on "
        f"board with {plain(fill, 6)} mg/L or more"
        + (f", {plain(fill - now, 2)} more than this water's {plain(now, 2)}" if measured and now < fill else "")
    )
    source = reference.cite(row["source"])
    if not measured:  # what keeps a tank safe is never taken for granted
        why = f"Not known: chlorine was not measured at fill. {how}."
        return Check("residual", now, least, "mg/L", None, source, why, "fresh tank", assumed=True)
    return settled("residual", now, least, "mg/L", [at_least(now, least)], source, how, "fresh tank")
