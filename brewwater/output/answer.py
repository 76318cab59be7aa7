"""The answer: what page, sheet and terminal show first, read off a plan once and in one set of words.

Every date, amount and verdict comes from the plan; what is made here is only how it is said and in whose measures.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from brewwater.changes import Due
from brewwater.output.flows import Flows, flows
from brewwater.output.numbers import Kind, Words
from brewwater.output.result import capacity_gal
from brewwater.output.sentences import before_sentence, headline, outcome, sentence
from brewwater.output.towns import Town, Towns, scale_g, towns
from brewwater.output.vocabulary import GOVERNS, MEASURES, SUBJECT, bypass, stage_name, stage_part, told_of
from brewwater.plan import Plan
from brewwater.planning.cartridges import NOT_BOUGHT
from brewwater.planning.search import out_of_goal
from brewwater.treatment import DataSheet, Stage, usual_sheet
from brewwater.verdicts import RANK, Verdict
from brewwater.verdicts.measure import Subject

# Which measures tell a subject best, where none of them is worse than another.
_FIRST: Mapping[Subject, tuple[str, ...]] = {
    "cup": ("total_hardness", "alkalinity", "total_dissolved_solids"),
    "scale": ("total_hardness", "temporary_hardness", "hot_ccpp"),
    "corrosion": ("chloride", "larson_ratio", "line_ph"),
}
_HARDNESS = frozenset({"total_hardness", "calcium_hardness", "temporary_hardness", "permanent_hardness"})
_OUT_OF_SIGHT = 1e5  # an index without bound is shown at the rail's end


@dataclass(frozen=True, slots=True)
class Mark:
    """One water on a rail, in the rail's unit: 10th, 50th and 90th percentile; ``letter`` its town's."""

    letter: str
    town: str
    after: bool
    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class Rail:
    """A measure against its goal. ``goal`` its two ends, ``watch`` how far it may stray before it must be acted on;
    None where an end does not bind."""

    measure: str
    label: str
    unit: str
    goal: tuple[float | None, float | None]
    watch: tuple[float | None, float | None]
    marks: tuple[Mark, ...]

    @property
    def title(self) -> str:
        """``hardness, grains``."""
        return f"{self.label}, {self.unit}" if self.unit else self.label


@dataclass(frozen=True, slots=True)
class Said:
    """One subject: its two verdicts, the sentence, what the untreated water would do, and its rails, worst first."""

    subject: Subject
    before: Verdict
    after: Verdict
    sentence: str
    aside: str
    rails: tuple[Rail, ...]

    @property
    def label(self) -> str:
        """The subject's word."""
        return SUBJECT.label(self.subject)


@dataclass(frozen=True, slots=True)
class Change:
    """One change to come: of stage ``number``, with the part's name and what makes it due."""

    number: int
    stage: str
    part: str
    date: dt.date
    early: dt.date | None
    late: dt.date | None
    fitted: dt.date | None
    order_by: dt.date | None
    governs: str
    because: str
    nth: int


@dataclass(frozen=True, slots=True)
class StageLine:
    """A stage as it is shown everywhere under the same number; ``assumed`` where its capacity is a usual figure.
    ``takes``, ``does``, ``care``: from ``vocabulary.told_of``."""

    number: int
    stage: Stage
    name: str
    part: str
    takes: str
    does: str
    care: tuple[str, ...]
    gallons: float | None
    assumed: bool
    bought: bool
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """What is first said of a plan.

    ``today``: the day it is told for. ``money`` and ``start`` are whole amounts as written, ``money_range`` the year's
    10th to 90th percentile. ``stop``: the safety stop, before all, or empty. ``doubts`` are sentences.
    ``searching``: a search for a better treatment is under way.
    """

    name: str
    words: Words
    today: dt.date
    headline: str
    outcome: str
    stop: str
    verdicts: tuple[Said, ...]
    safety: Said
    towns: tuple[Town, ...]
    stages: tuple[StageLine, ...]
    changes: tuple[Change, ...]
    money: str
    money_range: str
    per_drink: str
    start: str
    prices_assumed: bool
    flows: Flows
    doubts: tuple[str, ...]
    test: str
    searching: bool

    @property
    def next(self) -> Change | None:
        """The change that comes first."""
        return self.changes[0] if self.changes else None

    @property
    def next_label(self) -> str:
        """What stands over the date of ``next``."""
        return "Overdue since" if self.next and self.overdue(self.next) else "Next change"

    @property
    def order(self) -> Change | None:
        """The order that must go out first."""
        open_ = [c for c in self.changes if c.order_by is not None]
        return min(open_, key=lambda c: c.order_by or c.date, default=None)

    def day(self, day: dt.date | None) -> str:
        """A date as this reader writes it, the year only where it could be mistaken."""
        return self.words.day(day, self.today)

    def short_day(self, day: dt.date | None) -> str:
        """The same without its weekday."""
        return self.words.short_day(day, self.today)

    def overdue(self, change: Change) -> bool:
        """Whether its day has passed and the log has no change since."""
        return change.date < self.today

    def between(self, change: Change) -> str:
        """From the earliest to the latest day on which a change may fall due; empty where it is one day or past."""
        if change.early == change.late or self.overdue(change):
            return ""
        return f"{self.short_day(change.early)} to {self.short_day(change.late)}"

    @property
    def settings(self) -> str:
        """How the bypass is set, or empty where nothing goes past a stage."""
        said = [f"stage {s.number}: {bypass(s.stage.bypass_percent)}" for s in self.stages if s.stage.bypass_percent]
        return said[0].split(": ", 1)[1] if len(said) == 1 else ", ".join(said)


def answer(plan: Plan, words: Words, today: dt.date | None = None, *, searching: bool = False) -> Answer:
    """The answer of a plan in a reader's measures.

    Parameters
    ----------
    today : the day it is read on; a day outside the plan counts as its start
    searching : a search for a treatment is under way
    """
    start = plan.document.demand.calendar.start
    now = today if today is not None and start <= today < plan.document.demand.calendar.end else start
    found, main = towns(plan), plan.candidate.main
    served = {v.subject: v for v in plan.candidate.verdicts if v.branch == main.branch.name}
    before_g = scale_g(plan.scenario, main, plan.source_state, treated=False)[1]
    after_g = scale_g(plan.scenario, main, main.state or plan.source_state, treated=True)[1]
    said = []
    for verdict in plan.source_verdicts:
        last = served.get(verdict.subject, verdict)
        said.append(
            Said(
                verdict.subject,
                verdict,
                last,
                sentence(last, found.towns, words, after_g, after=last is not verdict),
                before_sentence(verdict, words, before_g) if RANK[verdict.status] > RANK[last.status] else "",
                () if verdict.subject == "safety" else rails(verdict.subject, found, words),
            )
        )
    numbers = {s.name: n for n, s in enumerate(plan.candidate.stages, start=1)}
    changes = tuple(_change(d, numbers, plan.candidate.stages) for d in plan.calendar.coming(now))
    cost = plan.candidate.cost
    low, _, high = cost.total_percentiles
    stages = tuple(_stage(plan, at, n, changes) for at, n in enumerate(numbers.values()))
    assumed = any(code == "price_assumed" for code, _ in cost.warnings)
    return Answer(
        name=plan.document.name,
        words=words,
        today=now,
        headline=headline(found.towns),
        outcome=outcome(
            len(stages), [s.after for s in said], plan.source_verdicts, searching=searching, unpaid=_unpaid(plan, words)
        ),
        stop=_stop(found.towns),
        verdicts=tuple(s for s in said if s.subject != "safety"),
        safety=next(s for s in said if s.subject == "safety"),
        towns=found.towns,
        stages=stages,
        changes=changes,
        money=words.whole_money(float(cost.expected), cost.currency),
        money_range=f"{words.whole_money(low, cost.currency)} to {words.whole_money(high, cost.currency)}",
        per_drink="" if cost.per_drink is None else words.small_money(float(cost.per_drink), cost.currency),
        start=words.whole_money(float(cost.first_set), cost.currency),
        prices_assumed=assumed,
        flows=flows(plan),
        doubts=_doubts(stages, prices=assumed),
        test=_test(plan, words),
        searching=searching,
    )


def _unpaid(plan: Plan, words: Words) -> str:
    if not plan.recommended or plan.candidate.stages or not plan.alternatives:
        return ""
    lost = out_of_goal(plan.scenario, plan.alternatives[0])
    return words.whole_money(lost, plan.document.money.currency) if lost >= 1 else ""


def _stop(found: Sequence[Town]) -> str:
    bad = [t.name for t in found if t.safety.status == "stop"]
    if not bad:
        return ""
    which = "this water" if len(found) == 1 else f"water from {' or '.join(bad)}"
    return f"Do not serve {which}. No filter in this plan makes it safe: call the water authority."


def rails(subject: Subject, found: Towns, words: Words) -> tuple[Rail, ...]:
    """Every measure of a subject that has a goal and is known, the one that decides first."""
    first = _FIRST[subject]
    names = [m.name for m in found.towns[0].before[subject].measures]
    ranked = []
    for name in names:
        pairs = [(t.measure(subject, name, after=a), t, a) for a in (False, True) for t in found.towns]
        seen = [(m, t, a) for m, t, a in pairs if m is not None and m.share is not None and m.p50 is not None]
        goal = found.goals[subject, name]
        if len(seen) < len(pairs) or (goal.low is None and goal.high is None):
            continue
        after = max(RANK[m.status] for m, _, a in seen if a)
        before = max(RANK[m.status] for m, _, a in seen if not a)
        place = first.index(name) if name in first else len(first)
        kind = kind_of(name, seen[0][0].unit)
        unit = _unit(kind, seen[0][0].unit, words)

        def out(value: float | None, kind: Kind = kind) -> float | None:
            return None if value is None else words.out(kind, max(min(value, _OUT_OF_SIGHT), -_OUT_OF_SIGHT))

        marks = tuple(Mark(t.letter, t.name, a, *(out(x) or 0.0 for x in (m.p10, m.p50, m.p90))) for m, t, a in seen)
        rail = Rail(
            name,
            MEASURES.inside(name),
            unit,
            (out(goal.low), out(goal.high)),
            (out(goal.red_below), out(goal.red_above)),
            marks,
        )
        ranked.append(((-after, place if after == 0 else 0, -before, place), rail))
    return tuple(rail for _, rail in sorted(ranked, key=lambda pair: pair[0]))


def kind_of(name: str, unit: str) -> Kind:
    """What a measure is counted in for this reader: US reads hardness in grains."""
    if name in _HARDNESS:
        return "hardness"
    return "amount" if unit.startswith("mg/L") else "plain"


def _unit(kind: Kind, unit: str, words: Words) -> str:
    if kind == "plain":
        return "" if unit == "1" else unit
    return words.unit(kind)


def _change(due: Due, numbers: Mapping[str, int], stages: Sequence[Stage]) -> Change:
    stage = stages[numbers[due.cartridge] - 1]
    return Change(
        numbers[due.cartridge],
        stage_name(stage),
        stage_part(stage),
        due.date,
        due.early,
        due.late,
        due.fitted,
        due.order_by,
        GOVERNS.inside(due.governs),
        due.because,
        due.number,
    )


def assumed_life(stage: Stage) -> bool:
    """Whether a stage's capacity is the usual figure of its kind: no data sheet has been entered."""
    return stage.sheet in (DataSheet(), usual_sheet(stage.medium, stage.size)) if stage.medium != "blend" else False


def _stage(plan: Plan, at: int, number: int, changes: Sequence[Change]) -> StageLine:
    stage = plan.candidate.stages[at]
    takes, does, care = told_of(plan.candidate.stages, at)
    one = next((c for c in plan.candidate.cartridges if c.stage.name == stage.name), None)
    return StageLine(
        number,
        stage,
        stage_name(stage),
        stage_part(stage),
        takes,
        does,
        (care,) if care else (),
        None if one is None else capacity_gal(one, plan.calendar, plan.scenario.weights).p50,
        assumed_life(stage),
        stage.medium not in NOT_BOUGHT,
        tuple(c for c in changes if c.number == number),
    )


def _doubts(stages: Sequence[StageLine], *, prices: bool) -> tuple[str, ...]:
    said = ["Prices are guesses."] if prices else []
    open_ = [str(s.number) for s in stages if s.assumed and s.bought]
    if open_:
        names = open_[0] if len(open_) == 1 else f"{', '.join(open_[:-1])} and {open_[-1]}"
        said.append(f"No data sheet yet for stage{'s' if len(open_) > 1 else ''} {names}.")
    return tuple(said)


def _test(plan: Plan, words: Words) -> str:
    best = next(iter(plan.next_tests), None)
    if best is None:
        return ""
    if best.test == "none":
        return best.because
    money = words.whole_money(best.price, plan.document.money.currency)
    label = best.label[:1].upper() + best.label[1:]
    where = "" if best.supply in ("", "served") or len(plan.scenario.supplies) == 1 else f", {best.supply}"
    gain = (
        f"It could save {words.whole_money(best.value, plan.document.money.currency)} a year."
        if best.value >= 1
        else "It settles a doubt; you would buy the same."
    )
    return f"{label}{where}: {money}, {best.minutes:.0f} min. {gain}"
