"""What it may mean when the readings and the plan differ, and the next check that tells the causes apart."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater.log.evidence import FOLLOWED
from brewwater.log.parts import Diagnosis, Sorted, Tested
from brewwater.plumbing import Branch
from brewwater.treatment import Stage
from brewwater.units import percent, plain

FloatArray = NDArray[np.float64]

# Metered over planned: outside these a cause is looked for (common practice, no source).
RATIO_LOW, RATIO_HIGH = 0.7, 1.3
# A drop so much over the clean one: the cartridge is clogged (common practice, no source).
CLOGGED_PSI = 10.0
# Chlorine after carbon from which it lets chlorine through, mg/L as Cl2 (common practice, no source).
CHLORINE_THROUGH_MG_L = 0.1
_SOFTENERS = frozenset({"softening", "calcium_to_magnesium"})
_RESINS = frozenset({"weak_acid", "softening", "mixed_bed", "calcium_to_magnesium"})
_CARBONS = frozenset({"carbon", "catalytic_carbon"})


@dataclass(frozen=True, slots=True)
class Seen:
    """The plan's own view of what was read, before any reading.

    planned_gal, planned_drinks : median per meter and per count, over the same days
    planned_gal_per_day : by branch, on a mean service day, median
    served : of each ``Tested`` at a served place by index in ``Sorted.tests``: (predicted 10th, 50th, 90th
        percentile, share of capacity used, median) for the last row
    allowed : of each ``Tested`` of a source by index: share of the draws that the reading's error allows
    replaced : indices of tests that took the place of the report's figure
    clean_drop_psi : of the whole train, or None where it is not known
    """

    planned_gal: Sequence[float]
    planned_drinks: Sequence[float]
    planned_gal_per_day: Mapping[str, float]
    served: Mapping[int, tuple[FloatArray, float]]
    allowed: Mapping[int, float]
    replaced: frozenset[int]
    clean_drop_psi: float | None


def diagnose(log: Sorted, stages: Sequence[Stage], branches: Sequence[Branch], seen: Seen) -> tuple[Diagnosis, ...]:
    """Every diagnosis that the log gives rise to, the dearest first.

    Parameters
    ----------
    log : the sorted log
    stages, branches : the train and the unit as they stand
    seen : what the plan expected
    """
    found: list[Diagnosis] = []
    found += _throughput(log, stages, branches, seen)
    found += _served(log, stages, seen)
    found += _source(log, seen)
    found += _pressure(log, stages, seen)
    found += _blind(log, stages)
    found += _taste(log, stages)
    return tuple(found)


def _throughput(log: Sorted, stages: Sequence[Stage], branches: Sequence[Branch], seen: Seen) -> Iterator[Diagnosis]:
    sold = sum(c.drinks.sum() for c in log.counts)
    planned_sold = sum(seen.planned_drinks)
    drinks_ratio = sold / planned_sold if planned_sold > 0 else None
    if drinks_ratio is not None and not log.meters and not RATIO_LOW <= drinks_ratio <= RATIO_HIGH:
        yield Diagnosis(
            "demand_differs",
            f"The drinks sold are {plain(drinks_ratio, 2)} times the plan. The dates follow what was sold.",
            ("You sell more than the plan says." if drinks_ratio > 1 else "You sell less than the plan says.",),
            "Enter the drinks you really sell on a service day; a filter meter would tell whether the water follows.",
            tuple(i for c in log.counts for i in c.ids),
        )
    for meter, planned in zip(log.meters, seen.planned_gal, strict=True):
        if planned <= 0:
            continue
        ratio = float(meter.gal.sum() / planned)
        if RATIO_LOW <= ratio <= RATIO_HIGH:
            continue
        days = max(float(meter.service_days.sum()), 1.0)
        excess = (float(meter.gal.sum()) - planned) / days
        what = (
            f"The meter counted {plain(meter.gal.sum(), 4)} gal where the plan has {plain(planned, 4)}: "
            f"{plain(ratio, 2)} times. "
        ) + _leans(ratio)
        if drinks_ratio is not None and abs(drinks_ratio - ratio) < 0.15 * ratio:
            yield Diagnosis(
                "demand_differs",
                f"{what} The drinks sold are {plain(drinks_ratio, 2)} times the plan too.",
                ("You sell more than the plan says." if ratio > 1 else "You sell less than the plan says.",),
                "Enter the drinks you really sell on a service day; then the water and the money follow too.",
                meter.ids,
            )
        elif ratio > 1:
            yield _too_much(what, excess, drinks_ratio, branches, meter.branches, seen, meter.ids)
        else:
            yield Diagnosis(
                "meter_low",
                what,
                (
                    "Part of the coffee water bypasses the meter: a bypass valve left open, or a machine fed before "
                    "it.",
                    "The meter sticks, or its display counts another unit (litres for gallons).",
                    "You sell less than the plan says.",
                ),
                "Draw five gallons from the machine into a marked bucket and read the meter before and after: less "
                "than five gallons means a bypass or a bad meter, five means that less is sold than planned.",
                meter.ids,
            )


def _leans(ratio: float) -> str:
    """What the dates do where a meter counted so many times the plan."""
    if 1 / FOLLOWED <= ratio <= FOLLOWED:
        return "The dates follow the meter."
    wrong = "a leak, an open branch" if ratio > 1 else "an open bypass, a meter that sticks"
    return (
        f"That is no difference of days: the plan or the meter is wrong by a factor ({wrong}, or a wrong count of "
        "drinks or gallons). Find it first; until then the dates lean on the meter."
    )


def _too_much(
    what: str,
    excess: float,
    drinks_ratio: float | None,
    branches: Sequence[Branch],
    metered: Sequence[str],
    seen: Seen,
    ids: tuple[str, ...],
) -> Diagnosis:
    causes = []
    for branch in branches:
        planned = seen.planned_gal_per_day.get(branch.name, 0.0)
        if branch.name not in metered and planned > 0 and 0.5 < excess / planned < 2:
            causes.append((abs(np.log(excess / planned)), branch.name, planned))
    named = [
        f"{name} on the wrong tee: it uses about {planned:.1f} gal a day, and {excess:.1f} gal a day too many pass "
        "the filter."
        for _, name, planned in sorted(causes)
    ]
    if not any("inser" in n for n in named):
        named.append("A rinser on the wrong tee, behind the filter.")
    causes_text = [
        *named,
        "A leak behind the meter.",
        "A stuck refill: a machine's fill valve that does not close, or a boiler that overflows to drain.",
    ]
    if drinks_ratio is None:
        causes_text.append("You sell more than the plan says: log the drinks sold.")
    return Diagnosis(
        "meter_high",
        what,
        tuple(causes_text),
        "Shut every tap and read the meter twice, an hour apart: if it moves, close the machine's valve and look "
        "again (it stops: a stuck refill; it runs on: a leak). If it stood still, rinse ten pitchers: if it moves "
        "now, the rinser is behind the filter.",
        ids,
    )


def _served(log: Sorted, stages: Sequence[Stage], seen: Seen) -> Iterator[Diagnosis]:
    resin = next((s for s in stages if s.medium in _RESINS), None)
    carbon = next((s for s in stages if s.medium in _CARBONS), None)
    membrane = next((s for s in stages if s.medium == "reverse_osmosis"), None)
    for number, test in enumerate(log.tests):
        if test.place != "served" or number not in seen.served:
            continue
        (_, middle, high), used = seen.served[number]
        value, sd = float(test.value[-1]), float(test.sd[-1])
        if resin and test.analyte in ("total_hardness", "alkalinity") and value > high + 2 * sd:
            early = "early: " if used < 0.8 else ""
            yield Diagnosis(
                "through_too_early",
                f"{test.analyte.replace('_', ' ').capitalize()} after {resin.name} reads {value:.0f} mg/L as CaCO3 "
                f"where the plan has {middle:.0f} ({early}{percent(min(used, 9.99))} of its capacity used by the "
                "plan). The dates follow.",
                (
                    "The bypass is opened too far.",
                    "The source is harder or more alkaline than the report.",
                    "The cartridge holds less than its sheet claims, or water runs past its bed.",
                    *(
                        ("Permanent hardness: a weak-acid bed takes out no more than the alkalinity.",)
                        if resin.medium == "weak_acid" and test.analyte == "total_hardness"
                        else ()
                    ),
                ),
                "Test the source and the served water with the same kit, then close the bypass and test again: as "
                "planned with the bypass shut means the bypass; high still means the bed or the source, and the "
                "source test tells which.",
                test.ids,
            )
        if membrane and test.analyte in ("conductivity", "total_dissolved_solids") and value > high + 2 * sd:
            yield Diagnosis(
                "membrane_lets_through",
                f"{test.analyte.replace('_', ' ').capitalize()} after {membrane.name} reads {value:.0f} where the "
                f"plan has {middle:.0f}.",
                (
                    "The blend is opened too far.",
                    "The membrane is worn, or its seal leaks.",
                    "The source carries more than the report says.",
                ),
                "Close the blend and read the pen before and after the membrane: rejection is 1 - after / before. "
                "As planned means the blend or the source; lower means the membrane.",
                test.ids,
            )
        if carbon and test.analyte in ("total_chlorine", "free_chlorine") and value >= CHLORINE_THROUGH_MG_L:
            yield Diagnosis(
                "chlorine_through",
                f"{plain(value, 2)} mg/L of chlorine after {carbon.name}: change it now.",
                (
                    "The carbon is used up.",
                    "The flow is higher than the cartridge bears.",
                    "Raw water gets round it: a blend or bypass that is not dechlorinated.",
                    "The supply carries chloramine and the carbon is rated for free chlorine only.",
                ),
                "Test total and free chlorine at a trickle and at full flow: high only at full flow means too "
                "little contact; total without free means chloramine; high at a trickle means used up or bypassed.",
                test.ids,
            )


def _source(log: Sorted, seen: Seen) -> Iterator[Diagnosis]:
    for number, test in enumerate(log.tests):
        if number not in seen.allowed or seen.allowed[number] >= 0.002:
            continue
        told = (
            "The reading takes the place of the report's figure."
            if number in seen.replaced
            else "One such reading is not enough to replace it."
        )
        yield Diagnosis(
            "source_differs",
            f"{test.analyte.replace('_', ' ').capitalize()} of {test.name or 'the tank'} reads "
            f"{plain(test.value[-1])}, which the report does not allow. {told}",
            _source_causes(test),
            "Test again with a fresh sample after two minutes' flow, twice the sample for half the error; if it "
            "stays, ask the utility.",
            test.ids,
        )


def _source_causes(test: Tested) -> tuple[str, ...]:
    return (
        "The water has changed: another season, another well or works.",
        "The sample was taken elsewhere than thought: after a filter or a building's softener.",
        "A worn kit, or a figure read in another unit (grains for mg/L).",
    )


def _pressure(log: Sorted, stages: Sequence[Stage], seen: Seen) -> Iterator[Diagnosis]:
    if not log.drops or not stages:
        return
    losses = [into - out for _, into, out, _ in log.drops]
    clean = min(losses[:-1], default=None) if seen.clean_drop_psi is None else seen.clean_drop_psi
    date, _, _, ids = log.drops[-1]
    if clean is None or losses[-1] < clean + CLOGGED_PSI:
        return
    yield Diagnosis(
        "clogged",
        f"{losses[-1]:.0f} psi are lost over the filters on {date}, {losses[-1] - clean:.0f} more than clean: a "
        "cartridge is clogged. Pressure governs: change it now.",
        (
            "The sediment cartridge is full.",
            "The carbon block has taken the dirt that the sediment cartridge let by.",
            "A valve is not fully open.",
        ),
        "Read the gauges again with one tap open, then with the sediment cartridge taken out: back to clean means "
        "the sediment cartridge.",
        ids,
    )


def _blind(log: Sorted, stages: Sequence[Stage]) -> Iterator[Diagnosis]:
    softener = next((s for s in stages if s.medium in _SOFTENERS), None)
    served = [t for t in log.tests if t.place == "served"]
    pens = [t for t in served if t.analyte in ("conductivity", "total_dissolved_solids")]
    if softener and pens and not any(t.analyte == "total_hardness" for t in served):
        yield Diagnosis(
            "meter_blind_to_softening",
            f"A conductivity or TDS pen cannot judge {softener.name}: it exchanges hardness for sodium or magnesium "
            "and the reading hardly changes.",
            ("The reading is right, and says nothing about hardness.",),
            "Test the served water's hardness with a drop kit.",
            tuple(i for t in pens for i in t.ids),
        )


def _taste(log: Sorted, stages: Sequence[Stage]) -> Iterator[Diagnosis]:
    if not log.tastes:
        return
    date, note, found = log.tastes[-1]
    causes = [
        "Chlorine or chloramine comes through."
        if any(s.medium in _CARBONS for s in stages)
        else "Nothing takes out the chlorine.",
        "Alkalinity has moved: flat when high, sour when low.",
        "Water that stood in the tank or the cartridge.",
    ]
    yield Diagnosis(
        "taste",
        f"Taste noted on {date}: {note or 'no words'}.",
        tuple(causes),
        "Test total chlorine, then alkalinity, of the served water; then flush for two minutes and taste again.",
        (found,),
    )
