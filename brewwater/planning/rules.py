"""Which dates move because brewwater reckons differently than before, and why: told at the first opening after."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from brewwater.changes import ChangeCalendar
from brewwater.planning.candidate import Candidate
from brewwater.planning.cartridges import Cartridge, calendar_of, reckoned
from brewwater.planning.scenario import Scenario

Undo = Callable[[Scenario, Sequence[Cartridge]], tuple[Cartridge, ...]]


@dataclass(frozen=True, slots=True)
class DateRule:
    """A change of how dates are reckoned.

    since : the day it came in; a unit saved before, and not told of it, hears of it
    why : one sentence for people
    touches : whether it can have moved a date of this plan
    undo : the cartridges as they were reckoned before; None where that cannot be worked out any more
    """

    since: dt.date
    why: str
    touches: Callable[[Scenario, Candidate], bool]
    undo: Undo | None = None


@dataclass(frozen=True, slots=True)
class ToldDates:
    """What was last told of a unit's dates.

    rules : how many of ``RULES`` held then
    content : fingerprint of the document and its log
    dates : next change by cartridge
    """

    rules: int
    content: str
    dates: Mapping[str, dt.date] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class MovedByRules:
    """Next changes that moved.

    moved : cartridge, date before (None: none was due inside the plan), date now (None likewise), why
    reasons : of rules whose part cannot be told apart by date
    edited : the document or its log changed too since the dates before were told
    """

    moved: tuple[tuple[str, dt.date | None, dt.date | None, str], ...]
    reasons: tuple[str, ...]
    edited: bool = False

    @property
    def sentence(self) -> str:
        """All of it, for people."""
        parts = ["Dates are reckoned differently since this unit was last opened."]
        for name, was, now, why in self.moved:
            parts.append(f"{name}: next change {_day(now)}, before {_day(was)}{f': {why}' if why else ''}.")
        if self.edited:
            parts.append("Part of this comes from what was edited or logged since.")
        if self.reasons:
            also = "Also" if self.moved else "What can move a date"
            parts.append(f"{also}: {'; '.join(self.reasons)}.")
        return " ".join(parts)


def _day(date: dt.date | None) -> str:
    return "not inside the plan" if date is None else f"{date.day} {date:%b %Y}"


def _reads_late(scenario: Scenario, candidate: Candidate) -> bool:
    return any(c.due_since is not None for c in candidate.cartridges)


def _without_reading(scenario: Scenario, cartridges: Sequence[Cartridge]) -> tuple[Cartridge, ...]:
    return tuple(reckoned(scenario, c, due_since=None, life=c.life) for c in cartridges)


def _whole_life(scenario: Scenario, cartridges: Sequence[Cartridge]) -> tuple[Cartridge, ...]:
    return tuple(reckoned(scenario, c, due_since=c.due_since, life=1.0) for c in cartridges)


RULES: tuple[DateRule, ...] = (
    DateRule(
        dt.date(2026, 11, 30),
        "a range's typical value is its most frequent one, as it was typed; before, it was taken for the mean",
        lambda scenario, candidate: bool(candidate.cartridges),
    ),
    DateRule(
        dt.date(2026, 11, 30),
        "changes made together follow what the log says of a cartridge's capacity, as single ones did",
        lambda scenario, candidate: bool(scenario.document.policy.group_days and scenario.bed),
    ),
    DateRule(
        dt.date(2026, 11, 30),
        "where a meter counts several times the planned water, the dates follow the meter",
        lambda scenario, candidate: any(r.kind == "meter_gal" for r in scenario.document.readings),
    ),
    DateRule(
        dt.date(2026, 11, 30),
        "a served reading past its limit makes the next change due on its day",
        _reads_late,
        _without_reading,
    ),
    DateRule(
        dt.date(2026, 12, 1),
        "a membrane whose waste is near scaling lasts less",
        lambda scenario, candidate: any(c.life < 1 for c in candidate.cartridges),
        _whole_life,
    ),
    DateRule(
        dt.date(2026, 12, 1),
        "a change is not moved into an event right before another: it is made before both",
        lambda scenario, candidate: len(scenario.document.demand.calendar.busy) > 1,
    ),
)


def next_dates(calendar: ChangeCalendar) -> dict[str, dt.date]:
    """The next change of each cartridge that has one inside the plan."""
    return {name: dues[0].date for name in calendar.lives if (dues := calendar.of(name))}


def told_now(scenario: Scenario, calendar: ChangeCalendar) -> ToldDates:
    """What is told when this plan is shown."""
    return ToldDates(len(RULES), scenario.document.fingerprint(), next_dates(calendar))


def moved_by_rules(
    scenario: Scenario, candidate: Candidate, calendar: ChangeCalendar, told: ToldDates | None, saved: dt.date
) -> MovedByRules | None:
    """What moved since the unit's dates were last told, or None where no rule that touches it came in since.

    Parameters
    ----------
    scenario, candidate, calendar : of the plan as it is now
    told : what was last told; None where nothing ever was
    saved : the day on which its document was last saved: what tells how old it is where nothing was told
    """
    news = RULES[told.rules :] if told else [r for r in RULES if r.since >= saved]
    news = [r for r in news if r.touches(scenario, candidate)]
    now = next_dates(calendar)
    if told is not None:
        names = dict.fromkeys([*now, *told.dates])
        changed = [(n, told.dates.get(n), now.get(n)) for n in names if told.dates.get(n) != now.get(n)]
        if not news or not changed:
            return None
        edited = told.content != scenario.document.fingerprint()
        return MovedByRules(tuple((*c, "") for c in changed), tuple(r.why for r in news), edited)
    moved, reasons = [], []
    for rule in news:
        if rule.undo is None:
            reasons.append(rule.why)
            continue
        before = next_dates(calendar_of(scenario, rule.undo(scenario, candidate.cartridges)))
        moved += [
            (c.stage.name, before.get(c.stage.name), now.get(c.stage.name), rule.why)
            for c in candidate.cartridges
            if before.get(c.stage.name) != now.get(c.stage.name)
        ]
    return MovedByRules(tuple(moved), tuple(reasons)) if moved or reasons else None
