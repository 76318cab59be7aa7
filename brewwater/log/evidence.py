"""What each kind of evidence says of the draws, and the demand that is free to follow the meter."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from brewwater import chemistry
from brewwater.demand import Demand
from brewwater.ensemble import Draws, percentiles
from brewwater.log.likelihood import count_log, robust, robust_normal
from brewwater.log.parts import Counted, Metered, Scene, Tested
from brewwater.reports.instruments import instrument
from brewwater.units import GAL_L
from brewwater.water import Water, speciate

FloatArray = NDArray[np.float64]

# A reading is taken at any time of a service day: standard deviation of the difference of two, in service days.
_TIME_OF_DAY = np.sqrt(2 / 12)
# Many tests narrow the water no further than so many would: a year's water is not one number (a choice).
MOST_WORTH = 9.0
# One bed in ten does not hold what its maker and the plan say (common practice, no source).
_FAULTY = 0.1
_TAIL = 4.0  # degrees of freedom of the plan-versus-meter factor
# Metered over planned, either way, that the factor follows from the plan itself. Past it the plan is wrong by a
# factor, and it is the meter that the draws start from (a choice: the factor's tails thin out near three).
FOLLOWED = 2.0


def follow_meters(plan: Demand, meters: Iterable[Metered], draws: Draws) -> Demand:
    """The demand with a wide factor on what each meter counts, so that the forecast can follow the meter.

    The factor's median is what each meter was found to lean to (``leaning``); where no meter is read, the demand is
    left as stated.
    """
    amounts = plan.amounts
    for branches, middle in {m.branches: m.lean for m in meters}.items():
        counted = np.isin(plan.branches, branches)[None, :, None]
        amounts = np.where(counted, amounts * plan_factor(branches, draws, middle), amounts)
    return plan if amounts is plan.amounts else replace(plan, amounts=amounts)


def plan_factor(branches: Iterable[str], draws: Draws, middle: float = 1.0) -> FloatArray:
    """Metered over planned use on these branches before any meter was read, shape (draw,); its median ``middle``."""
    u = draws.uniform(f"log/plan versus meter: {', '.join(sorted(branches))}")
    return np.asarray(middle * np.exp(instrument("plan_versus_meter").relative_sd * stats.t.ppf(u, _TAIL)))


def metered_ratio(meter: Metered, planned_gal: FloatArray) -> float:
    """How many times the plan a meter counted: the middle of its intervals, each by its planned gallons, so that one
    slip does not carry the rest; NaN where the plan has nothing pass it.

    Parameters
    ----------
    planned_gal : the plan's own figure for each interval, shape (row,)
    """
    counts = planned_gal > 0
    if not counts.any():
        return float("nan")
    each = np.log(np.maximum(meter.gal[counts], 1e-3) / planned_gal[counts])
    return float(np.exp(percentiles(each, planned_gal[counts], [0.5])[0]))


def leaning(meters: Sequence[Metered], plan: Demand) -> tuple[Metered, ...]:
    """The meters, each with what its draws start from: 1 while it is within ``FOLLOWED`` times the plan; past that
    what brings the plan so near, so that no draw must be an outlier to follow.

    Meters of a few branches go first: what they explain, one that counts those branches too need not explain again.

    Parameters
    ----------
    plan : the demand before any reading
    """
    most, found = float(np.log(FOLLOWED)), {}
    for branches in sorted({m.branches for m in meters}, key=lambda names: (len(names), names)):
        same = [m for m in meters if m.branches == branches]
        ratios = [metered_ratio(m, np.median(metered_gal(m, plan), axis=-1)) for m in same]
        told = [float(np.log(r)) for r in ratios if np.isfinite(r)]
        apart = float(np.median(told)) if told else 0.0
        found[branches] = float(np.exp(apart - np.clip(apart, -most, most)))
        counted = np.isin(plan.branches, branches)[None, :, None]
        plan = replace(plan, amounts=np.where(counted, plan.amounts * found[branches], plan.amounts))
    return tuple(replace(m, lean=found[m.branches]) for m in meters)


def bed_holds(stage: str, draws: Draws) -> FloatArray:
    """Part of its capacity that a stage really holds, shape (draw,), free once its served water is tested.

    All of it in nine draws of ten; in the tenth a tenth of it to all: a bed that leaks or a bypass too far open.
    """
    u = draws.uniform(f"log/bed of {stage}")
    return np.where(u < _FAULTY, 0.1 ** (1 - u / _FAULTY), 1.0)


def metered_gal(meter: Metered, needs: Demand) -> FloatArray:
    """US gallons that the demand puts through the meter in each interval, shape (row, draw)."""
    litres = np.asarray(sum(needs.branch_amounts(b) for b in meter.branches))
    return np.asarray(meter.sums @ litres / GAL_L, dtype=np.float64)


def metered_log(meter: Metered, needs: Demand, draws: Draws) -> FloatArray:
    """Log likelihood of a meter's readings, shape (draw,): days differ, the meter errs the same way each time."""
    slope = 1 + instrument("meter_gal").relative_sd * draws.normal(_slope(meter))
    expected = metered_gal(meter, needs) * slope
    days = np.maximum(meter.service_days, 1.0)
    share = np.hypot(instrument("day_to_day").relative_sd / np.sqrt(days), _TIME_OF_DAY / days)
    sd = np.sqrt((expected * share[:, None]) ** 2 + 1.0)  # one gallon: what is read off the dial
    return np.asarray(robust_normal(meter.gal[:, None], expected, sd).sum(axis=0))


def foretold_gal(
    meter: Metered, scene: Scene, first: dt.date, last: dt.date, needs: Demand, draws: Draws
) -> FloatArray:
    """What a meter would count between two days of the timeline by these draws, US gallons, shape (draw,): the demand,
    the error that the meter has each time, and how one service day differs from the next."""
    line, at, to = scene.line, scene.line.at(first), scene.line.at(last)
    litres = np.asarray(sum(needs.branch_amounts(b) for b in meter.branches))
    slope = 1 + instrument("meter_gal").relative_sd * draws.normal(_slope(meter))
    service = max(int(line.open_days[to] - line.open_days[at]), 1)
    share = np.hypot(instrument("day_to_day").relative_sd / np.sqrt(service), _TIME_OF_DAY / service)
    # nothing was learned of days to come: their column is fresh, not one that was resampled with the others
    days = 1 + share * Draws(draws.n, draws.seed).normal(f"fact/days from {first} to {last}")
    return np.asarray((line.sums[to] - line.sums[at]) @ litres / GAL_L * slope * np.maximum(days, 0.0))


def _slope(meter: Metered) -> str:
    return f"log/meter {meter.where}: reads true"


def counted_log(counted: Counted, needs: Demand) -> FloatArray:
    """Log likelihood of the drinks sold, shape (draw,)."""
    expected = counted.sums @ needs.drinks
    cv2 = (instrument("day_to_day").relative_sd ** 2 / np.maximum(counted.service_days, 1.0))[:, None]
    sd = np.sqrt(expected + cv2 * expected**2 + 1)
    return np.asarray(robust(count_log(counted.drinks[:, None], expected, cv2), sd).sum(axis=0))


def tested_log(tested: Tested, predicted: FloatArray) -> FloatArray:
    """Log likelihood of tests of the water, shape (draw,).

    Parameters
    ----------
    predicted : what the plan gives for each row, shape (row, draw), plan units; one row where all are alike
    """
    # a draw whose water cannot be solved explains no reading: to it each is a slip
    predicted = np.where(np.isnan(predicted), np.inf, predicted)
    rows = np.stack([tested.value, tested.sd])
    if len(predicted) == 1:  # tests that read the same then say the same: worked out once
        rows, times = np.unique(rows, axis=1, return_counts=True)
    else:
        times = np.ones(rows.shape[1], dtype=np.int64)
    value, sd = rows[:, :, None]
    found = times @ robust_normal(value, predicted, sd)
    return np.asarray(found * min(1.0, MOST_WORTH / len(tested.value)))


def analyte_of(water: Water, analyte: str) -> FloatArray:
    """What a perfect test of a water would show, in the plan's unit of the analyte."""
    match analyte:
        case "total_hardness":
            return water.hardness_mg_L_as_CaCO3
        case "alkalinity":
            return water.alkalinity_mg_L_as_CaCO3
        case "conductivity":
            return chemistry.conductivity_uS_cm(water.totals)
        case "total_dissolved_solids":
            return water.tds_mg_L
        case "ph":
            return speciate(water).ph
        case "total_chlorine":
            return water.total_chlorine_mg_L
        case "free_chlorine":
            return np.asarray(water.free_chlorine_mg_L, dtype=np.float64)
        case _:
            return water.ion_mg_L(analyte)
