"""``make_plan``: the whole story, from a document to a plan, in one read. It does no arithmetic of its own."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from brewwater.changes import ChangeCalendar
from brewwater.cost import Cost
from brewwater.log import Diagnosis, Flag
from brewwater.planning.base_membrane import AtBase, made_at_base, tanks_fail
from brewwater.planning.candidate import SERVES_NOTHING, Candidate, evaluate, with_descales
from brewwater.planning.cartridges import grouping_note
from brewwater.planning.correction import Correction, MovedChange, correct, moved
from brewwater.planning.document import PlanDocument, document_of
from brewwater.planning.heaters import heater_verdicts
from brewwater.planning.notebook import plan_html
from brewwater.planning.other_water import asks
from brewwater.planning.own_units import own_units_used
from brewwater.planning.quick import quick_document
from brewwater.planning.rinses import move_first
from brewwater.planning.scenario import Scenario, prepare
from brewwater.planning.search import Alternative, Cancelled, Progress, recommend
from brewwater.planning.shelf_rating import Rated, from_shelf, rate
from brewwater.planning.steam import draw_offs
from brewwater.planning.value_of_a_test import NextTest, next_tests
from brewwater.planning.waters import Waters, waters_of
from brewwater.treatment import Stage
from brewwater.verdicts import MachineProfile, State, Verdict, describe, judge


@dataclass(frozen=True, slots=True)
class Warning_:
    """Something the user should know about this plan, in one sentence."""

    code: str
    message: str


@dataclass(frozen=True)
class Plan:
    """A plan with every step kept, so that page, sheet, calendar and tests read the same object.

    document : what it was made from
    stamp : identifies the document and the train; changes whenever either does
    scenario : draws, weights, waters at the inlet, demand, calendar, as the log corrects them
    source_state, source_verdicts : the water as it comes, at the main machine
    candidate : the document's own train, or the recommended one
    recommended : True where the train is the search's, False where it is the document's own
    alternatives : the search's ranked list, best first; empty before the search
    next_tests : which measurement would most probably change the decision, best first
    before : the same train before any reading, on the draws ``prior``; None where no reading moves the draws
    correction : the log sorted, the lines that cannot be used, the diagnoses
    moved : the next change of each cartridge before and after, and why it moved; empty without ``before``
    """

    document: PlanDocument
    stamp: str
    scenario: Scenario
    source_state: State
    source_verdicts: tuple[Verdict, ...]
    candidate: Candidate
    recommended: bool
    alternatives: tuple[Alternative, ...]
    next_tests: tuple[NextTest, ...]
    warnings: tuple[Warning_, ...]
    prior: Scenario
    correction: Correction
    before: Candidate | None = None
    moved: tuple[MovedChange, ...] = ()

    # worked out when first asked for: a plan that is being edited shows few of them
    @cached_property
    def calendar(self) -> ChangeCalendar:
        """Every date of the plan: what page, sheet, calendar file, JSON and money follow."""
        return with_descales(self.scenario, self.candidate)

    @cached_property
    def at_base(self) -> AtBase | None:
        """A membrane on board beside the same one at base, costed; None where none is in question."""
        return made_at_base(self.scenario, self.candidate, self.alternatives)

    @cached_property
    def heaters(self) -> tuple[Verdict, ...]:
        """Scale where water is heated and no machine profile stands."""
        return heater_verdicts(self.scenario, self.candidate)

    @cached_property
    def shelf(self) -> tuple[Rated, ...]:
        """Every cartridge of the shelf in every place where it could stand, best first for each place."""
        stages = self.candidate.stages
        return tuple(r for stage in stages for r in rate(self.scenario, stages, stage.name))

    @property
    def cost(self) -> Cost:
        """The money of the first twelve months."""
        return self.candidate.cost

    @cached_property
    def waters(self) -> Waters:
        """The water as it comes and at each branch, in the measures that are read."""
        return waters_of(self.scenario, self.source_state, self.candidate.served)

    def _repr_html_(self) -> str:
        """The plan as a notebook shows it: verdicts, trains, dates and money as tables, every text escaped."""
        return plan_html(
            self.document.name,
            self.candidate.stages,
            (*self.source_verdicts, *self.candidate.verdicts),
            self.calendar,
            self.cost,
            [w.message for w in self.warnings],
        )

    @property
    def reading_flags(self) -> tuple[Flag, ...]:
        """Lines of the log that are not used, or used with care, and why."""
        return self.correction.flags

    @property
    def diagnoses(self) -> tuple[Diagnosis, ...]:
        """What it may mean where readings and plan differ, each with the next check."""
        return self.correction.diagnoses


def make_plan(
    document: PlanDocument | Mapping[str, Any] | str | os.PathLike[str],
    *,
    search: bool = True,
    train: Sequence[Stage] | None = None,
    progress: Progress | None = None,
    cancelled: Cancelled | None = None,
) -> Plan:
    """Plan a unit's water.

    Parameters
    ----------
    document : the plan document: itself, a mapping, JSON text, or the path of its file (``document.document_of``)
    search : look for the best train; with False the document's own train, or ``train``, or none, is followed
    train : the train to follow where the document has none and nothing is searched
    progress, cancelled : called during the search with a share 0 to 1, and to ask whether to stop

    Returns
    -------
    Plan : frozen; the same document gives the same plan

    Raises
    ------
    InputError : the document cannot be read, or a part of it cannot be used, in one clear line
    """
    document = document_of(document)
    prior = prepare(document)
    correction = correct(prior, document.train if document.train is not None else train)
    scenario = correction.scenario
    alternatives = recommend(scenario, progress, cancelled) if search else ()
    stages, recommended = choose(scenario, alternatives, train)
    source_state = describe(scenario.waters, source_machine(scenario).temperature_C)
    followed = next((a.candidate for a in alternatives if a.candidate.stages == stages), None)
    candidate = followed or evaluate(scenario, stages, beside=[source_state])
    tests = next_tests(scenario, candidate, alternatives) if search else ()
    before = evaluate(prior, stages) if correction.log.informs else None
    return Plan(
        document=document,
        stamp=stamp(document, stages),
        scenario=scenario,
        source_state=source_state,
        source_verdicts=judge_source(scenario, source_state),
        candidate=candidate,
        recommended=recommended,
        alternatives=alternatives,
        next_tests=tests,
        warnings=rinse_warning(scenario, candidate)
        + warnings(scenario, candidate)
        + grouping_warning(scenario, candidate)
        + log_warnings(correction)
        + own_warning(document, candidate)
        + base_warning(scenario, candidate, alternatives)
        + asked_first(scenario, alternatives)
        + boiler_warning(scenario, candidate),
        prior=prior,
        correction=correction,
        before=before,
        moved=moved(before, candidate, correction) if before else (),
    )


def quick_plan(
    *,
    hardness: float | str | None = None,
    alkalinity: float | str | None = None,
    tds: float | str | None = None,
    drinks: float | str | None = None,
    report: str | os.PathLike[str] | None = None,
    supply: str | None = None,
    search: bool = True,
) -> Plan:
    """The plan of a plain mobile unit from a few figures or a water report: what ``brewwater plan`` makes of them.

    Parameters
    ----------
    hardness, alkalinity, tds : mg/L, the first two as CaCO3, or a text with its unit (``17 gpg``); what is not given
        is not known, and never borrowed
    drinks : on a service day, 0 to 20000
    report, supply : a water report's file, and which of its supplies
    search : look for the best train; with False none is followed

    Returns
    -------
    Plan : of the demo, where nothing of the water is given

    Raises
    ------
    InputError : a file, a supply or a number that cannot be used, in one clear line
    """
    document = quick_document(
        hardness=hardness, alkalinity=alkalinity, tds=tds, drinks=drinks, report=report, supply=supply
    )
    return make_plan(document, search=search)


def choose(
    scenario: Scenario, alternatives: Sequence[Alternative], train: Sequence[Stage] | None
) -> tuple[tuple[Stage, ...], bool]:
    """The train to follow, and whether the search chose it: the document's own goes first; what the search chose is
    bought from the shelf where something on it fits."""
    if scenario.document.train is not None:
        return scenario.document.train, False
    if alternatives:
        return from_shelf(scenario, alternatives[0].candidate.stages), True
    return tuple(train or ()), False


def source_machine(scenario: Scenario) -> MachineProfile:
    """The machine that the water is judged at as it comes."""
    return scenario.machine_of(scenario.main_branch) or scenario.document.machines[0]


def judge_source(scenario: Scenario, state: State) -> tuple[Verdict, ...]:
    """The water as it comes, judged at the main machine; ``state`` is that of ``scenario.waters`` there."""
    return judge(
        scenario.waters,
        state,
        known=scenario.known,
        weights=scenario.weights,
        role="source",
        machine=source_machine(scenario),
        targets=scenario.document.targets,
        supplies=scenario.supplies,
        phase_names=scenario.phase_names,
    )


def stamp(document: PlanDocument, stages: Sequence[Stage]) -> str:
    """Identifies a plan by its document and its train."""
    return document.model_copy(update={"train": tuple(stages)}).fingerprint()


def log_warnings(correction: Correction) -> tuple[Warning_, ...]:
    """What the log gives rise to: each diagnosis with its next check, and how many lines are not used."""
    found = [Warning_(d.code, f"{d.message} Next check: {d.next_check}") for d in correction.diagnoses]
    unused = [f for f in correction.flags if not f.used]
    if unused:
        found.append(
            Warning_(
                "readings_not_used",
                f"{len(unused)} lines of the log are kept but not used, the first because: {unused[0].message}",
            )
        )
    return tuple(found)


def own_warning(document: PlanDocument, candidate: Candidate) -> tuple[Warning_, ...]:
    """Where the figures of the person's own units stand in for the plan's own."""
    return tuple(Warning_("own_units", line) for line in own_units_used(document, candidate.stages))


def grouping_warning(scenario: Scenario, candidate: Candidate) -> tuple[Warning_, ...]:
    """Where making changes together saves nothing, or less than it costs."""
    note = grouping_note(scenario, candidate.cartridges, candidate.calendar)
    return () if note is None else (Warning_(*note),)


def asked_first(scenario: Scenario, alternatives: Sequence[Alternative]) -> tuple[Warning_, ...]:
    """What comes before any train: a stop on safety, a softener before the tap, other water."""
    return tuple(Warning_(code, message) for code, message in asks(scenario, alternatives))


def boiler_warning(scenario: Scenario, candidate: Candidate) -> tuple[Warning_, ...]:
    """What a steam boiler holds, and what to draw off it a day."""
    return tuple(Warning_("boiler_draw_off", found.note) for found in draw_offs(scenario, candidate))


def rinse_warning(scenario: Scenario, candidate: Candidate) -> tuple[Warning_, ...]:
    """Where a rinser or a sink stands behind the filters: what costs nothing comes before what is sold."""
    note = move_first(scenario, candidate)
    return () if note is None else (Warning_("rinse_behind_filters", note),)


def base_warning(scenario: Scenario, candidate: Candidate, alternatives: Sequence[Alternative]) -> tuple[Warning_, ...]:
    """Where the tanks do not bear a membrane on board: what it would be to make its water at base."""
    if not tanks_fail(scenario, candidate, alternatives):
        return ()
    at_base = made_at_base(scenario, candidate, alternatives)
    return () if at_base is None else (Warning_("made_at_base", at_base.note),)


def warnings(scenario: Scenario, candidate: Candidate) -> tuple[Warning_, ...]:
    """Every note on the way, once each: assumed water, broken order rules, unknown capacities, assumed prices."""
    found = [(note.code, note.message) for note in scenario.notes]
    found += [(p.code, f"{p.stage}: {p.message}" if p.stage else p.message) for p in candidate.problems]
    found += [("stage_serves_nothing", f"{s.name}: {SERVES_NOTHING}") for s in candidate.idle]
    if not any(b.filtered for b in candidate.branches):
        found.append(("nothing_filtered", "No branch is filtered: no treatment can reach a cup or a machine."))
    found += [(p.code, f"{p.stage}: {p.message}") for c in candidate.cartridges for p in c.capacity.warnings]
    found += list(candidate.cost.warnings)
    return tuple(Warning_(code, message) for code, message in dict.fromkeys(found))
