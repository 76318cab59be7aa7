"""Which measurement next: the expected value of each possible test, from the draws themselves.

A test's reading is predicted in every draw, with its own error. Readings are binned, and in each bin the
decision is made anew: which train at which bypass, whether to fill at a supply, whether to change a cartridge
now. The mean saving over deciding once is the value of the test. The choice in a bin is judged on other draws
than those it was made on, so that chance alone gives no value; it is never negative, and zero where no reading
would change what one does.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from brewwater.chain import Cartridge, Outcome, losses, route, serve
from brewwater.cost import price_of
from brewwater.ensemble import mean
from brewwater.forecast import share_used
from brewwater.given import Given
from brewwater.intake.instruments import instrument
from brewwater.log_entry import standing_readings
from brewwater.readings import analyte_of, plan_factor
from brewwater.recommend import Alternative, Scales
from brewwater.reference import Row, cite, table
from brewwater.targets.severity import Weighed
from brewwater.treatment import Stage, medium_class
from brewwater.treatment.train import share_lost
from brewwater.units import GAL_L

FloatArray = NDArray[np.float64]

MOST_BINS = 24
DRAWS_PER_BIN = 64
FOLDS = 4
# A change of mind counts as one where it saves this share of the whole.
MATERIAL = 0.01
# A reading is predicted so many times in each draw, each time with another error.
REPEATS = 4
# A cartridge is changed now, or at a visit so many days on (common practice, no source).
WAIT_DAYS = 30
# Bypass settings tried beside the planned one, in per cent.
_BYPASS_STEPS = (-20.0, -10.0, 10.0, 20.0)
_FIRST = ("total_hardness", "alkalinity")
# A test that reads a second figure of the same sample: what it shows first, because it tells free chlorine from
# chloramine, which one figure alone cannot.
_READS_TOO = {"total_chlorine_test": "free_chlorine"}
# A reading of either is a reading of the other: a pen measures one and writes both.
_SAME_READING = {"conductivity": "total_dissolved_solids"}
# What a cartridge that has run out costs the cup or the machine.
_HARM: dict[str, Weighed] = {
    "weak_acid": "scale", "softening": "scale", "calcium_to_magnesium": "scale", "mixed_bed": "scale",
    "chloride_anion": "corrosion", "carbon": "cup", "catalytic_carbon": "cup",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class NextTest:
    """A test worth considering, or with ``test`` "none" the answer that none is.

    ``supply``: where to take the sample, a supply's name or ``served``; ``value``: expected saving a year in
    the plan's currency by deciding after it; ``changes``: how often it would change what one does, 0 to 1;
    ``decision``: what it would change most; ``price`` and ``minutes``: placeholders of the table.
    """

    test: str
    label: str
    analyte: str
    supply: str
    value: float
    changes: float
    price: float
    minutes: float
    because: str
    source: str
    decision: str = ""

    @property
    def net(self) -> float:
        """Value less price."""
        return self.value - self.price


@dataclass(frozen=True, slots=True)
class Decision:
    """Something one does or does not: ``totals`` is the cost and loss of each option, shape (option, n);
    ``place`` the supply or ``served`` whose tests inform it, None for any; ``cartridge`` where it is about one."""

    name: str
    totals: FloatArray
    place: str | None = None
    cartridge: Cartridge | None = None
    used: FloatArray | None = None


def next_tests(given: Given, outcome: Outcome, alternatives: Sequence[Alternative]) -> tuple[NextTest, ...]:
    """Every test that could help, best first; one line that says so where none would.

    A missing hardness or alkalinity comes first whatever its value, because nothing is decided without it;
    then the tests that are worth more than their price, by what is left; then those that would settle a verdict.
    """
    if given.draws.n == 1:
        return ()
    choices = list(decisions(given, outcome, alternatives))
    unsettled = _unsettled(outcome)
    found = []
    for row in table("possible_tests"):
        places = [s.name for s in given.supplies] if row["place"] == "supply" else ["served"]
        for place in places:
            test = _weighed(given, outcome, row, place, choices, unsettled)
            if test is not None:
                found.append(test)
    if not found:
        return (_none(),)

    def order(t: NextTest) -> tuple[int, int, float]:
        missing = t.analyte in _FIRST and t.supply in _unmeasured(given, t.analyte)
        return (_FIRST.index(t.analyte) if missing else len(_FIRST)), int(t.net <= 0), -t.net

    return tuple(sorted(found, key=order))


def _unsettled(outcome: Outcome) -> dict[str, str]:
    """Analytes that would settle a verdict on the served water, and why."""
    of_test = {row["test"]: row["analyte"] for row in table("possible_tests") if row["place"] == "supply"}
    of_measure = {row["measure"]: of_test.get(row["test"]) for row in table("flip_tests")}
    found: dict[str, str] = {}
    for verdict in outcome.verdicts:
        if verdict.status == "unknown":
            for measure in verdict.measures:
                analyte = of_measure.get(measure.name)
                if measure.status == "unknown" and analyte is not None:
                    found.setdefault(analyte, f"{verdict.subject.capitalize()} is undecided without {measure.label}.")
        elif verdict.status == "watch" and verdict.flip_test in of_test:
            found.setdefault(of_test[verdict.flip_test], verdict.flip or verdict.why)
    return found


def _none() -> NextTest:
    return NextTest(
        "none", "no test", "", "", 0.0, 0.0, 0.0, 0.0,
        "No single test would change what you do: spend the money on water and coffee.", cite("common_practice"),
    )  # fmt: skip


def _unmeasured(given: Given, analyte: str) -> set[str]:
    wanted = {analyte, _SAME_READING.get(analyte, analyte)}
    return {
        s.name for s in given.supplies if wanted.isdisjoint(s.known() | given.read.get(s.name, frozenset()))
    }


def _weighed(
    given: Given, outcome: Outcome, row: Row, place: str, choices: Sequence[Decision], unsettled: dict[str, str]
) -> NextTest | None:
    missing = place != "served" and place in _unmeasured(given, row["analyte"])
    best, value, changed = "", 0.0, 0.0
    leading = 0.0
    for choice in choices:
        if (choice.place == "served") != (place == "served") or choice.place not in (None, place):
            continue
        reading = reading_of(given, outcome, row, place, choice)
        if reading is None:
            continue
        gain, often = value_of(reading, choice.totals, given.weights)
        value, changed = value + gain, max(changed, often)
        if gain > leading:
            best, leading = choice.name, gain
    settles = unsettled.get(row["analyte"]) if place != "served" else None
    price = float(row["price_usd"])
    if value <= price and not (missing and row["analyte"] in _FIRST) and settles is None:
        return None
    why = _because(row["label"], place, missing, changed, value, value > price, best, settles, given)
    return NextTest(
        row["test"], row["label"], row["analyte"], place, value, changed, price,
        float(row["minutes"]), why, cite(row["source"]), best,
    )  # fmt: skip


# -- decisions -----------------------------------------------------------------------------------


def decisions(given: Given, outcome: Outcome, alternatives: Sequence[Alternative]) -> Iterator[Decision]:
    """What the plan leaves to decide: train and bypass, fill here or not, change now or not."""
    usable = [a for a in alternatives if not a.refused or _waits_for_alkalinity(a)]
    rows = [a.open_weight.total for a in usable]
    rows += list(_bypasses(given, outcome))
    n = given.draws.n
    if len(rows) > 1:
        yield Decision("the choice of train or bypass", np.array([np.broadcast_to(r, n) for r in rows]))
    yield from _fills(given, outcome)
    for one in outcome.cartridges:
        yield from _change_now(given, one)


def _waits_for_alkalinity(one: Alternative) -> bool:
    return {p.code for p in one.refused} == {"alkalinity_unknown"}


def _bypasses(given: Given, outcome: Outcome) -> Iterator[FloatArray]:
    """Cost and loss of the followed train at other bypass settings, and as it is."""
    at = next((i for i, s in enumerate(outcome.stages) if s.bypass_percent > 0 and s.medium != "blend"), None)
    if at is None:
        return
    scales = Scales(given)
    stage = outcome.stages[at]
    steps = [stage.bypass_percent + step for step in (0.0, *_BYPASS_STEPS)]
    for percent in steps:
        if not 0 <= percent <= 95:
            continue
        other = stage.model_copy(update={"bypass_percent": percent})
        train = (*outcome.stages[:at], other, *outcome.stages[at + 1 :])
        served = serve(given, outcome.branches, route(given, train, outcome.branches))
        yield scales.weigh(train, served, measured_only=False).total


def _fills(given: Given, outcome: Outcome) -> Iterator[Decision]:
    """Filling at a supply against hauling water in goal there instead, where there is a choice of supplies."""
    if len(given.supplies) < 2:
        return
    year = given.demand.year()
    gallons = sum(given.demand.litres(b.name, 0, year) for b in outcome.branches) / GAL_L
    money = given.document.money
    dearer = float(mean(given.draws.span("price: hauled_gal", price_of(money, "hauled_gal")[0]), given.weights))
    shares = given.phase_share @ given.tank.shares
    for number, (supply, water) in enumerate(zip(given.supplies, given.supply_waters, strict=True)):
        if shares[number] <= 0:
            continue
        alone = replace(
            given, waters=water.each(np.atleast_2d), phase_share=np.ones(1), phase_names=(supply.name,),
        )  # fmt: skip
        served = serve(alone, outcome.branches, route(alone, outcome.stages, outcome.branches))
        loss = sum(losses(alone, served, measured_only=False).values(), start=np.zeros(1))
        fill = np.broadcast_to(loss * shares[number], given.draws.n)
        haul = np.broadcast_to(gallons * shares[number] * dearer, given.draws.n)
        yield Decision(f"whether to fill in {supply.name}", np.array([fill, haul]), supply.name)


def _change_now(given: Given, one: Cartridge) -> Iterator[Decision]:
    """Changing a cartridge now, and throwing away what is left, against waiting for a visit in a month."""
    harm = _HARM.get(one.stage.medium)
    horizon = len(given.demand.days)
    today = _today(given)
    swaps = [d for d in given.made.get(one.stage.name, ()) if d <= today]
    in_place = next((p for p in given.document.in_service if p.stage == one.stage.name), None)
    if harm is None or today + WAIT_DAYS >= horizon or not (in_place or swaps or today > 0):
        return
    n, start = given.draws.n, swaps[-1] if swaps else 0
    used = np.zeros(1)
    if in_place is not None and not swaps:
        stated = given.draws.span(f"{one.stage.name}: used at the start", in_place.used)
        used = given.used.get(one.stage.name, stated)
    sums = one.wear.ledger.sums
    # a capacity drawn anew for each cartridge differs little from the first one's
    now, later = (share_used(one.wear, one.capacity, np.broadcast_to(sums[d] - sums[start], one.wear.served_L.shape),
                             np.zeros(1)) for d in (today, today + WAIT_DAYS))  # fmt: skip
    metered = any(r.kind == "meter_gal" for r in standing_readings(given.document.readings))
    factor = np.ones(1) if metered else plan_factor(one.branches, given.draws)
    share = np.broadcast_to(now * factor + used, n)
    rate = np.broadcast_to((later - now) * factor, n)
    over = np.clip((share + rate - 1) / np.maximum(rate, 1e-9), 0.0, 1.0) * (share + rate > 1)
    usual = medium_class(one.stage.medium, one.stage.size).price
    sold = one.stage.sheet.price or usual
    price = sold.middle if sold is not None else 0.0
    wait = over * getattr(given.document.worth, harm) * WAIT_DAYS / 365.25
    change = np.clip(1 - share, 0.0, 1.0) * price
    yield Decision(f"whether to change {one.stage.name} now", np.array([wait, change]), "served", one, share)


def _today(given: Given) -> int:
    start = given.document.demand.calendar.start
    last = max((r.date for r in given.document.readings), default=start)
    end: dt.date = given.demand.days[-1].astype(dt.date)
    return max((min(last, end) - start).days, 0)


# -- readings ------------------------------------------------------------------------------------


def reading_of(given: Given, outcome: Outcome, row: Row, place: str, choice: Decision) -> FloatArray | None:
    """What a test would show, its error included, shape (figure, repeat, n); None where it has nothing to do with
    the decision."""
    second = _READS_TOO.get(row["test"])
    shown = []
    for analyte in (row["analyte"],) if second is None else (second, row["analyte"]):
        truth = predicted_of(given, outcome, analyte, place, choice)
        if truth is None:
            return None
        name = row["test"] if analyte == row["analyte"] else f"{row['test']}: {analyte}"
        shown.append(_read(given, name, place, truth, instrument(analyte, row["method"])[:2]))
    return np.array(shown)


def predicted_of(given: Given, outcome: Outcome, analyte: str, place: str, choice: Decision) -> FloatArray | None:
    """What a perfect test of an analyte would show, shape (n,); None where it has nothing to do with the
    decision."""
    n = given.draws.n
    if place != "served":
        number = next(i for i, s in enumerate(given.supplies) if s.name == place)
        return np.broadcast_to(analyte_of(given.supply_waters[number], analyte), n)
    one, used = choice.cartridge, choice.used
    if one is None or used is None:
        return None
    if analyte == "meter_gal":
        return np.asarray(used * np.broadcast_to(one.usable_gal, n)) if np.isfinite(one.usable_gal).all() else None
    return _through(given, outcome, one.stage, analyte, used)


def _through(given: Given, outcome: Outcome, stage: Stage, analyte: str, used: FloatArray) -> FloatArray | None:
    """The served water at the main branch, with a cartridge as far used as it is; None where it does not show."""
    branch = given.main_branch
    whole = route(given, outcome.stages, outcome.branches).served[branch.name]
    without = tuple(s for s in outcome.stages if s.name != stage.name)
    bare = route(given, without, outcome.branches).served[branch.name]
    fresh, raw = (given.by_phase(analyte_of(w, analyte)) for w in (whole, bare))
    if np.allclose(fresh, raw):
        return None
    return np.broadcast_to(fresh + share_lost(stage.medium, used) * (raw - fresh), used.shape)


def _read(given: Given, test: str, place: str, truth: FloatArray, error: tuple[float, float]) -> FloatArray:
    """Predicted readings with the instrument's error, shape (repeat, n)."""
    z = np.array([given.draws.normal(f"test/{place}/{test}/{k}") for k in range(REPEATS)])
    return np.asarray(truth + np.hypot(error[0] * truth, error[1]) * z)


def value_of(reading: FloatArray, totals: FloatArray, weights: FloatArray) -> tuple[float, float]:
    """Expected saving of deciding after a reading, and how often the decision changes.

    Parameters
    ----------
    reading : predicted readings, error included, shape (n,), (repeat, n) or (figure, repeat, n): a test that shows
        two figures decides by both
    totals : cost and loss of each option, shape (option, n)
    weights : shape (n,)

    Returns
    -------
    (value, share) : value in money, 0 or more: the saving over the best option without the test
    """
    share = weights / weights.sum()
    before = totals @ share
    best = int(np.argmin(before))
    if len(totals) < 2 or np.all(totals >= totals[best]):  # one option is best in every draw
        return 0.0, 0.0
    figures = np.array(reading, ndmin=3)
    repeats, n = figures.shape[1:]
    mass = np.tile(share / repeats, repeats)
    most = max(4, min(MOST_BINS, n // DRAWS_PER_BIN))
    each = most if len(figures) == 1 else max(2, int(most ** (1 / len(figures))))
    bins, count = np.zeros(repeats * n, dtype=np.int64), 1
    for figure in figures:  # each bin of the figures before is cut anew, into bins of the same weight
        bins, count = _cut(bins, figure.reshape(-1), mass, each), count * each
    fold = np.tile(np.random.default_rng(n).permutation(n) % FOLDS, repeats)
    # saving of each option over the best one without the test, by fold, bin and option
    gain = np.zeros((FOLDS, count, len(totals)))
    for option, row in enumerate((totals[best] - totals) * share / repeats):
        np.add.at(gain[:, :, option], (fold, bins), np.tile(row, repeats))
    elsewhere = gain.sum(axis=0) - gain
    chosen = elsewhere.argmax(axis=2)
    value = float(np.take_along_axis(gain, chosen[..., None], axis=2).sum())
    if value <= 1e-9 * max(abs(float(before[best])), 1e-9):
        return 0.0, 0.0
    held = np.zeros((FOLDS, count))
    np.add.at(held, (fold, bins), mass)
    material = elsewhere.max(axis=2) > MATERIAL * abs(float(before[best])) * (held.sum(axis=0) - held)
    return value, float(held[(chosen != best) & material].sum())


def _cut(bins: NDArray[np.int64], values: FloatArray, mass: FloatArray, each: int) -> NDArray[np.int64]:
    """Every bin cut into ``each`` bins of equal weight by ``values``, shape as ``bins``."""
    order = np.lexsort((values, bins))
    sorted_bins = bins[order]
    total = np.bincount(bins, mass)
    before = np.concatenate([[0.0], np.cumsum(total)])[sorted_bins]
    middle = (np.cumsum(mass[order]) - 0.5 * mass[order] - before) / np.maximum(total[sorted_bins], 1e-300)
    cut = np.empty_like(bins)
    cut[order] = sorted_bins * each + np.clip(middle * each, 0, each - 1).astype(np.int64)
    return cut


def _article(label: str) -> str:
    return "An" if label[0] in "aeiou" else "A"


def _because(
    label: str, place: str, missing: bool, changed: float, value: float, pays: bool, decision: str,
    settles: str | None, given: Given,
) -> str:  # fmt: skip
    lead = f"Not measured in {place}. " if missing else ""
    if value > 0 and (pays or settles is None):
        often = f"{changed:.0%}" if changed >= 0.01 else "under 1 %"
        return (
            f"{lead}{_article(label)} {label} would change {decision} in {often} of cases, worth about {value:,.0f} "
            f"{given.document.money.currency} a year."
        )
    if settles:
        rarely = "seldom" if value > 0 else "not"
        return f"{lead}{settles} By itself it would {rarely} change what you do."
    return f"{lead}Without it that verdict stays undecided; by itself it would not change the train."
