"""Why an alternative leads, or what it falls short in, in plain words with the figures that decide."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from brewwater.cost import written
from brewwater.ensemble import mean
from brewwater.planning.candidate import stake
from brewwater.planning.scenario import Scenario
from brewwater.units import percent, plain
from brewwater.verdicts import RANK, Measure, Verdict
from brewwater.verdicts.goals import weighing
from brewwater.verdicts.safety import potability
from brewwater.verdicts.sentences import bounds, figure
from brewwater.verdicts.severity import CHLORINE, SUBJECTS, WEIGHED, Weighed

if TYPE_CHECKING:
    from brewwater.planning.search.search import Alternative

# What acts on scale; without any of them nothing is bought for it.
AGAINST_SCALE = frozenset(
    {
        "scale_inhibitor",
        "weak_acid",
        "softening",
        "calcium_to_magnesium",
        "reverse_osmosis",
        "mixed_bed",
    }
)
_OF_EACH_DRINK: tuple[Weighed, ...] = ("cup", "chlorine", "corrosion")
_SAID: dict[Weighed, str] = {"cup": "the cup", "chlorine": "the cup", "scale": "scale", "corrosion": "corrosion"}
# A shortfall is named from this part of a subject's worth on.
_NAMED = 0.03


def explained(scenario: Scenario, ranked: Sequence[Alternative]) -> Iterator[Alternative]:
    """Each alternative with its sentence, measured against the first."""
    stopped = [
        s.name for s in scenario.supplies if potability(s, law=scenario.document.targets.law).verdict.status == "stop"
    ]
    beyond = out_of_reach(scenario, ranked)
    for place, one in enumerate(ranked):
        if place == 0 and one.fits:
            text = _beyond(scenario, one) if beyond else _first(scenario, one)
            if not one.candidate.stages and not beyond:
                text = _nothing_pays(scenario, one, ranked[1:]) or text
            if stopped:
                text = f"Not before the stop on safety of {', '.join(stopped)} is lifted. {text}"
        else:
            text = _other(scenario, one, ranked[0])
        yield replace(one, why=text)


def out_of_reach(scenario: Scenario, alternatives: Sequence[Alternative]) -> bool:
    """True where the best train still loses more than the part that is lost at a red line, in the cup or the metal."""
    sound = [a for a in alternatives if a.fits] or list(alternatives[:1])
    at_stake, most = stake(scenario), 1 - weighing()["left_at_red"]

    def lost(one: Alternative, subject: Weighed) -> float:
        whole = float(mean(at_stake.whole_year(subject), scenario.weights))
        return float(mean(one.weight.loss[subject], scenario.weights)) / whole if whole > 0 else 0.0

    return bool(sound) and all(max(lost(one, s) for s in _OF_EACH_DRINK) > most for one in sound)


def _beyond(scenario: Scenario, one: Alternative) -> str:
    worst = _verdict(one, "cup")
    measure = None if worst is None else _deciding(worst, None, False)
    left = "" if measure is None else f"; it leaves {figure(measure)} (goal {bounds(*measure.goal)})"
    return (
        "No train here brings this water within the limits: take other water. Of those compared this costs least, "
        f"{_currency(scenario, cost_over_years(scenario, one))} {over_years(scenario)}{left}."
    )


def cost_over_years(scenario: Scenario, one: Alternative) -> float:
    """What an alternative costs a year over the years of the plan, every part by the share of it that is used up: the
    money that it is ranked by, in whole units of the currency, so that differences of what is printed hold."""
    return float(round(float(mean(one.weight.cost, scenario.weights))))


def over_years(scenario: Scenario) -> str:
    """The name of that figure: ``a year over 2 years``."""
    months = scenario.document.demand.calendar.months
    years = plain(months / 12)
    return f"a year over {years} year{'' if years == '1' else 's'}"


def _currency(scenario: Scenario, amount: float) -> str:
    return written(amount, scenario.document.money.currency)


def _verdict(one: Alternative, subject: Weighed) -> Verdict | None:
    judged = "cup" if subject == "chlorine" else subject
    found = [v for v in one.candidate.verdicts if v.subject == judged]
    return max(found, key=lambda v: (RANK[v.status], -(v.share or 0.0)), default=None)


def _first(scenario: Scenario, one: Alternative) -> str:
    shares = []
    for subject in SUBJECTS:
        verdict = _verdict(one, subject)
        if verdict is not None:
            shares.append(
                f"{_SAID[subject]} in goal in {percent(verdict.share)}"
                if verdict.share is not None
                else f"{_SAID[subject]} undecided"
            )
    money = _currency(scenario, cost_over_years(scenario, one))
    text = f"Least cost and least harm together: {money} {over_years(scenario)}"
    text += f"; of the waters the report allows, {', '.join(shares)}." if shares else "."
    return text + _nothing_for_scale(one)


def out_of_goal(scenario: Scenario, one: Alternative) -> float:
    """What is left out of goal is reckoned to cost a year, in whole units of the currency."""
    return float(round(sum(float(mean(x, scenario.weights)) for x in one.weight.loss.values())))


def _nothing_pays(scenario: Scenario, one: Alternative, others: Sequence[Alternative]) -> str:
    """Why nothing is bought for a water that is not in goal; empty where there is nothing to mend."""
    lost = out_of_goal(scenario, one)
    if lost < 1:
        return ""
    text = "No treatment pays with these drinks: what is out of goal is reckoned to cost "
    text += f"{_currency(scenario, lost)} a year"
    mending = [a for a in others if a.fits and out_of_goal(scenario, a) < lost]
    if not mending:
        return f"{text}, and none of those tried leaves less."
    best = min(mending, key=lambda a: cost_over_years(scenario, a) + out_of_goal(scenario, a))
    dearer = cost_over_years(scenario, best) - cost_over_years(scenario, one)
    saved = lost - out_of_goal(scenario, best)
    return (
        f"{text}; the best of those tried saves {_currency(scenario, saved)} of it for {_currency(scenario, dearer)}."
    )


def _nothing_for_scale(one: Alternative) -> str:
    verdict = _verdict(one, "scale")
    if verdict is None or verdict.status != "ok" or any(s.medium in AGAINST_SCALE for s in one.candidate.stages):
        return ""
    shown = next((m for m in verdict.measures if m.name == "temporary_hardness"), None)
    return f" Buy nothing for scale: {figure(shown)} lays down little." if shown else " Buy nothing for scale."


def _other(scenario: Scenario, one: Alternative, first: Alternative) -> str:
    if one.refused:
        return f"Refused: {' '.join(dict.fromkeys(p.message for p in one.refused))}"
    failed = [c.why for c in one.candidate.misfits]
    if failed:
        return f"Does not fit the unit: {' '.join(dict.fromkeys(failed))}"
    short = list(_shortfalls(scenario, one, first))
    dearer = cost_over_years(scenario, one) - cost_over_years(scenario, first)
    money = f"{_currency(scenario, cost_over_years(scenario, one))} {over_years(scenario)}"
    against = f"{_currency(scenario, abs(dearer))} {'more' if dearer > 0 else 'less'} than the first"
    if dearer == 0:
        against = "as much as the first"
    if short:
        return f"Falls short in {'; in '.join(short)}. Costs {money}, {against}."
    if dearer > 0:
        return f"Costs more than it mends: {money}, {against}."
    return f"Costs {money}, {against}, but leaves a little more out of goal than that saves."


def _shortfalls(scenario: Scenario, one: Alternative, first: Alternative) -> Iterator[str]:
    """The subjects in which it is worse than the first, the worst first, each with the figure that decides."""

    def lost(a: Alternative, subject: Weighed) -> float:
        return float(mean(a.weight.loss[subject], scenario.weights))

    at_stake = stake(scenario)
    most = max(lost(one, "scale"), lost(first, "scale"))
    whole = {s: float(mean(at_stake.whole_year(s), scenario.weights)) for s in WEIGHED}
    whole["scale"] = max(whole["scale"], most)
    worse = {s: lost(one, s) - lost(first, s) for s in WEIGHED}
    for subject in sorted(worse, key=lambda s: -worse[s]):
        if worse[subject] <= _NAMED * max(whole[subject], 1.0):
            continue
        verdict = _verdict(one, subject)
        if verdict is not None and subject == "chlorine" and _chlorine_may_pass(verdict):
            yield f"{_SAID[subject]}: chlorine may pass, as nothing says that the supply is free of chloramine"
            continue
        measure = None if verdict is None else _deciding(verdict, _verdict(first, subject), subject == "chlorine")
        if measure is None:
            yield f"{_SAID[subject]}: chlorine may pass" if subject == "chlorine" else _SAID[subject]
        else:
            yield f"{_SAID[subject]}: {figure(measure)} (goal {bounds(*measure.goal)})"


def _chlorine_may_pass(verdict: Verdict) -> bool:
    """Chlorine is not reported, and what the tap may carry would be over its goal behind this train."""
    found = next((m for m in verdict.measures if m.name == "total_chlorine"), None)
    return found is not None and found.share is None and (found.p50 or 0.0) >= (found.goal[1] or 0.1)


def _deciding(verdict: Verdict, other: Verdict | None, chlorine: bool) -> Measure | None:
    """The measure that the other does better in, worst first; chlorine alone, or anything else."""
    theirs = {m.name: m.share for m in (other.measures if other else ()) if m.share is not None}
    bound = [
        m
        for m in verdict.measures
        if m.share is not None and m.goal != (None, None) and (m.name == CHLORINE) is chlorine
    ]
    ranked = sorted(bound, key=lambda m: (-RANK[m.status], m.share or 0.0, -theirs.get(m.name, 1.0)))
    better = [m for m in ranked if (m.share or 0.0) < theirs.get(m.name, 1.0) - 0.02]
    return next(iter(better or ranked), None)
