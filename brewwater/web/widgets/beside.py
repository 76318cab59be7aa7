"""Two waters, or two treatments, as rows of tables: pure functions, no page in here."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

from brewwater.errors import InputError
from brewwater.output.numbers import G_PER_OZ
from brewwater.output.result import capacity_gal
from brewwater.output.towns import scale_g as laid_g
from brewwater.output.vocabulary import SUBJECT, WATER, governed, stage_name
from brewwater.plan import Plan
from brewwater.planning.candidate import Candidate
from brewwater.planning.cartridges import NOT_BOUGHT, Cartridge
from brewwater.planning.document import PlanDocument
from brewwater.planning.scenario import Scenario
from brewwater.supply.tank_days import Fill
from brewwater.treatment import Stage
from brewwater.verdicts import State, Verdict
from brewwater.web.widgets import facts, show
from brewwater.web.widgets.words import Words

SHOWN = ("hardness", "alkalinity", "tds", "chloride", "sodium", "cup_ph", "line_ph", "air_ph", "ccpp")


@dataclass(frozen=True, slots=True)
class Side:
    """One of two things compared: a town's water, or a treatment, followed to the end."""

    title: str
    scenario: Scenario
    source_state: State
    source_verdicts: tuple[Verdict, ...]
    candidate: Candidate

    @property
    def served(self) -> tuple[Verdict, ...]:
        """The verdicts at the main machine."""
        main = self.candidate.main.branch.name
        return tuple(v for v in self.candidate.verdicts if v.branch == main)


def side_of(title: str, plan: Plan, candidate: Candidate | None = None) -> Side:
    """A plan, or another treatment of it, as a side."""
    return Side(title, plan.scenario, plan.source_state, plan.source_verdicts, candidate or plan.candidate)


def town_alone(document: PlanDocument, supply: str, stages: Sequence[Stage] | None, draws: int) -> PlanDocument:
    """The document as if every fill came from one of its supplies.

    The log stays out of it: what was read behind the filters belongs to the mixture that was in the tank.

    Parameters
    ----------
    supply : name of one of the document's supplies
    stages : the treatment that both towns are compared with; None for the best one of each, to be searched
    draws : at most so many

    Raises
    ------
    InputError : there is no such supply
    """
    found = next((s for s in document.supplies if s.name == supply), None)
    if found is None:
        raise InputError("supply", supply, "it must be one of the plan's", "Choose a water of the plan.")
    return document.model_copy(
        update={
            "supplies": (found,),
            "fill": document.fill.model_copy(update={"fills": (Fill(supply=supply),)}),
            "train": None if stages is None else tuple(stages),
            "readings": (),
            "settings": document.settings.model_copy(update={"draws": min(document.settings.draws, draws)}),
        }
    )


def shared(sides: Sequence[Side]) -> bool:
    """Whether all sides stand for one water, so that it need be told only once."""
    return all(s.scenario is sides[0].scenario for s in sides)


def water_heads(sides: Sequence[Side]) -> list[str]:
    """Heads of the two tables of the water: where it is one water, untreated is told once."""
    if shared(sides):
        return ["", WATER.label("source"), *(f"{s.title}, {WATER.label('served').lower()}" for s in sides)]
    return ["", *(s.title for s in sides)]


def _each(sides: Sequence[Side], tell: Callable[[Side, bool], str]) -> list[str]:
    """Cells in HTML; ``tell`` gives HTML for a side before, or after treatment."""
    if shared(sides):
        return [tell(sides[0], False), *(tell(s, True) for s in sides)]
    return [show.before_after(tell(s, False), tell(s, True)) for s in sides]


def verdict_rows(sides: Sequence[Side]) -> list[list[str]]:
    """Each subject with its verdicts, in HTML."""

    def word(side: Side, served: bool, subject: str) -> str:
        found = next((v for v in (side.served if served else side.source_verdicts) if v.subject == subject), None)
        return "not judged" if found is None else show.badge(found.status)

    return [
        [name, *_each(sides, lambda side, served, subject=subject: word(side, served, subject))]  # type: ignore[misc]
        for subject, name in ((s, SUBJECT.label(s)) for s in SUBJECT)
    ]


def water_rows(sides: Sequence[Side], words: Words) -> list[list[str]]:
    """Each measure with its ranges, and the scale of a year, in HTML: numbers alone, nothing that was typed."""

    def values(side: Side, served: bool, key: str) -> str:
        main = side.candidate.main
        water, state = (
            (main.water, main.state or side.source_state) if served else (side.scenario.waters, side.source_state)
        )
        found = side.scenario.pooled(facts.measure(key, water, state, side.scenario.document.targets))
        return facts.ranged(key, found, words)

    out = []
    for key in SHOWN:
        out.append([facts.titled(key, words), *_each(sides, partial(values, key=key))])
    unit = "g" if words.metric else "oz"
    out.append([f"The same, most in a year, {unit}", *_each(sides, lambda s, served: scale_text(s, words, served))])
    return out


def scale_text(side: Side, words: Words, served: bool) -> str:
    """Scale of a year as a range in the reader's unit, which stands in the label."""
    factor = 1.0 if words.metric else 1 / G_PER_OZ
    return words.span([x * factor for x in scale_g(side, treated=served)])


def cost_rows(sides: Sequence[Side], words: Words) -> list[list[str]]:
    """The treatment, what its cartridges bear, and what it costs."""
    out = [["Treatment", *(train_text(s.candidate.stages, words) for s in sides)]]
    names = {c.stage.name: stage_name(c.stage) for s in sides for c in _cartridges(s)}
    for name, called in names.items():
        found = [next((c for c in _cartridges(s) if c.stage.name == name), None) for s in sides]
        pairs = list(zip(found, sides, strict=True))
        out.append([f"{called}: water through one", *(_gallons(c, s, words) for c, s in pairs)])
        out.append([f"{called}: changed after", *(_days(c, s, words) for c, s in pairs)])
    money = [s.candidate.cost for s in sides]
    out.append(["Cartridges bought in the first year", *(str(_bought(s)) for s in sides)])
    out.append(["Fits the unit", *("yes" if s.candidate.fits else "no: see Branches" for s in sides)])
    out.append(["To start", *(words.money(float(c.first_set), c.currency) for c in money)])
    out.append(["A year costs, expected", *(words.money(float(c.expected), c.currency) for c in money)])
    out.append(["A year costs, range", *(_year(s, words) for s in sides)])
    out.append(
        ["A drink", *(words.money(None if c.per_drink is None else float(c.per_drink), c.currency) for c in money)]
    )
    return out


def scale_g(side: Side, *, treated: bool) -> tuple[float, float, float]:
    """Scale that can fall out in the main machine in a year, g: 10th, 50th, 90th percentile."""
    main = side.candidate.main
    return laid_g(side.scenario, main, (main.state if treated else None) or side.source_state, treated=treated)


def train_text(stages: Sequence[Stage], words: Words) -> str:
    """A train in one line."""
    return " → ".join(f"{a} {b}".strip() for a, b in facts.train_names(tuple(stages), words)) or "No treatment"


def _gallons(one: Cartridge | None, side: Side, words: Words) -> str:
    if one is None:
        return "not in it"
    found = capacity_gal(one, side.candidate.calendar, side.scenario.weights)
    if found.p50 is None:
        return "not known"
    return words.span([found.p10, found.p50, found.p90], "volume")


def _days(one: Cartridge | None, side: Side, words: Words) -> str:
    if one is None:
        return "not in it"
    life = side.candidate.calendar.lives[one.stage.name]
    low, _, high = life.days
    if low is None:
        return "past the end of the plan"
    governs = governed(life.governs, one.capacity.known)
    if high is None:
        return f"{words.number(low)} days or more ({governs})"
    return f"{words.span([low, high], unit='days', digits=3)} ({governs})"


def _bought(side: Side) -> int:
    return sum(len(side.candidate.calendar.bought(c.stage.name)) for c in _cartridges(side))


def _cartridges(side: Side) -> list[Cartridge]:
    return [c for c in side.candidate.cartridges if c.stage.medium not in NOT_BOUGHT]


def _year(side: Side, words: Words) -> str:
    cost = side.candidate.cost
    low, _, high = cost.total_percentiles
    return f"{words.money(low, cost.currency)} to {words.money(high, cost.currency)}"
