"""Which measurement next: every test that could help, best first, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from brewwater.cost import written
from brewwater.planning.candidate import Candidate
from brewwater.planning.scenario import Scenario
from brewwater.planning.search import Alternative
from brewwater.planning.value_of_a_test.decisions import Decision, decisions
from brewwater.planning.value_of_a_test.shown import reading_of
from brewwater.planning.value_of_a_test.value import value_of
from brewwater.reference import Row, cite, table
from brewwater.units import percent

_FIRST = ("total_hardness", "alkalinity")
# A reading of either is a reading of the other: a pen measures one and writes both.
_SAME_READING = {"conductivity": "total_dissolved_solids"}


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


def next_tests(scenario: Scenario, candidate: Candidate, alternatives: Sequence[Alternative]) -> tuple[NextTest, ...]:
    """Every test that could help, best first; one line that says so where none would.

    A missing hardness or alkalinity comes first whatever its value, because nothing is decided without it;
    then the tests that are worth more than their price, by what is left; then those that would settle a verdict.
    """
    if scenario.draws.n == 1:
        return ()
    choices = list(decisions(scenario, candidate, alternatives))
    unsettled = _unsettled(candidate)
    found = []
    for row in table("possible_tests"):
        places = [s.name for s in scenario.supplies] if row["place"] == "supply" else ["served"]
        for place in places:
            test = _weighed(scenario, candidate, row, place, choices, unsettled)
            if test is not None:
                found.append(test)
    if not found:
        return (_none(candidate),)

    def order(t: NextTest) -> tuple[int, int, float]:
        missing = t.analyte in _FIRST and t.supply in _unmeasured(scenario, t.analyte)
        return (_FIRST.index(t.analyte) if missing else len(_FIRST)), int(t.net <= 0), -t.net

    return tuple(sorted(found, key=order))


def _unsettled(candidate: Candidate) -> dict[str, str]:
    """Analytes that would settle a verdict on the served water, and why."""
    of_test = {row["test"]: row["analyte"] for row in table("possible_tests") if row["place"] == "supply"}
    of_measure = {row["measure"]: of_test.get(row["test"]) for row in table("flip_tests")}
    found: dict[str, str] = {}
    for verdict in candidate.verdicts:
        if verdict.status == "unknown" or verdict.assumed:
            for measure in verdict.measures:
                analyte = of_measure.get(measure.name)
                if measure.status == "unknown" and analyte is not None:
                    found.setdefault(analyte, f"{verdict.subject.capitalize()} is undecided without {measure.label}.")
        elif verdict.status == "watch" and verdict.flip_test in of_test:
            found.setdefault(of_test[verdict.flip_test], verdict.flip or verdict.why)
    return found


def _none(candidate: Candidate) -> NextTest:
    """That no test pays; what buys no treatment may still be asked for safety, which no treatment answers."""
    unsafe = any(v.subject == "safety" and v.status == "unknown" for v in candidate.verdicts)
    said = "For safety, a certified lab's test. No other changes" if unsafe else "No single test would change"
    return NextTest(
        "none",
        "no test",
        "",
        "",
        0.0,
        0.0,
        0.0,
        0.0,
        f"{said} what you buy.",
        cite("common_practice"),
    )


def _unmeasured(scenario: Scenario, analyte: str) -> set[str]:
    wanted = {analyte, _SAME_READING.get(analyte, analyte)}
    return {s.name for s in scenario.supplies if wanted.isdisjoint(s.known() | scenario.read.get(s.name, frozenset()))}


def _weighed(
    scenario: Scenario,
    candidate: Candidate,
    row: Row,
    place: str,
    choices: Sequence[Decision],
    unsettled: dict[str, str],
) -> NextTest | None:
    missing = place != "served" and place in _unmeasured(scenario, row["analyte"])
    best, value, changed = "", 0.0, 0.0
    leading = 0.0
    for choice in choices:
        if (choice.place == "served") != (place == "served") or choice.place not in (None, place):
            continue
        reading = reading_of(scenario, candidate, row, place, choice)
        if reading is None:
            continue
        gain, often = value_of(reading, choice.totals, scenario.weights)
        value, changed = value + gain, max(changed, often)
        if gain > leading:
            best, leading = choice.name, gain
    settles = unsettled.get(row["analyte"]) if place != "served" else None
    price = float(row["price_usd"])
    if value <= price and not (missing and row["analyte"] in _FIRST) and settles is None:
        return None
    why = _because(row["label"], place, missing, changed, value, value > price, best, settles, scenario)
    return NextTest(
        row["test"],
        row["label"],
        row["analyte"],
        place,
        value,
        changed,
        price,
        float(row["minutes"]),
        why,
        cite(row["source"]),
        best,
    )


def _article(label: str) -> str:
    return "An" if label[0] in "aeiou" else "A"


def _because(
    label: str,
    place: str,
    missing: bool,
    changed: float,
    value: float,
    pays: bool,
    decision: str,
    settles: str | None,
    scenario: Scenario,
) -> str:
    lead = f"Not measured in {place}. " if missing else ""
    if value > 0 and (pays or settles is None):
        often = percent(changed) if changed >= 0.01 else "under 1 %"
        return (
            f"{lead}{_article(label)} {label} would change {decision} in {often} of cases, worth about "
            f"{written(value, scenario.document.money.currency)} a year."
        )
    if settles:
        rarely = "seldom" if value > 0 else "not"
        return f"{lead}{settles} By itself it would {rarely} change what you do."
    return f"{lead}Without it that verdict stays undecided; by itself it would not change the train."
