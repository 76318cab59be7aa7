"""``make_plan``: the whole story, from a document to a plan, in one read. It does no arithmetic of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from brewwater.at_base import AtBase, made_at_base, tanks_fail
from brewwater.chain import Outcome, evaluate
from brewwater.corrected import Correction, Moved, correct, moved
from brewwater.given import Given, prepare
from brewwater.heaters import heater_verdicts
from brewwater.inputs import PlanDocument
from brewwater.next_test import NextTest, next_tests
from brewwater.readings import Diagnosis, Flag
from brewwater.recommend import Alternative, Cancelled, Progress, recommend
from brewwater.targets import MachineProfile, State, Verdict, describe, judge
from brewwater.treatment import Stage


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
    given : draws, weights, waters at the inlet, demand, calendar, as the log corrects them
    source_state, source_verdicts : the water as it comes, at the main machine
    outcome : the document's own train, or the recommended one
    recommended : True where the train is the search's, False where it is the document's own
    alternatives : the search's ranked list, best first; empty before the search
    next_tests : which measurement would most probably change the decision, best first
    before : the same train before any reading, on the draws ``prior``; None where no reading moves the draws
    correction : the log sorted, the lines that cannot be used, the diagnoses
    moved : the next change of each cartridge before and after, and why it moved; empty without ``before``
    """

    document: PlanDocument
    stamp: str
    given: Given
    source_state: State
    source_verdicts: tuple[Verdict, ...]
    outcome: Outcome
    recommended: bool
    alternatives: tuple[Alternative, ...]
    next_tests: tuple[NextTest, ...]
    warnings: tuple[Warning_, ...]
    prior: Given
    correction: Correction
    before: Outcome | None = None
    moved: tuple[Moved, ...] = ()

    # worked out when first asked for: a plan that is being edited shows neither
    @cached_property
    def at_base(self) -> AtBase | None:
        """A membrane on board beside the same one at base, costed; None where none is in question."""
        return made_at_base(self.given, self.outcome, self.alternatives)

    @cached_property
    def heaters(self) -> tuple[Verdict, ...]:
        """Scale where water is heated and no machine profile stands."""
        return heater_verdicts(self.given, self.outcome)

    @property
    def reading_flags(self) -> tuple[Flag, ...]:
        """Lines of the log that are not used, or used with care, and why."""
        return self.correction.flags

    @property
    def diagnoses(self) -> tuple[Diagnosis, ...]:
        """What it may mean where readings and plan differ, each with the next check."""
        return self.correction.diagnoses


def make_plan(
    document: PlanDocument,
    *,
    search: bool = True,
    train: Sequence[Stage] | None = None,
    progress: Progress | None = None,
    cancelled: Cancelled | None = None,
) -> Plan:
    """Plan a unit's water.

    Parameters
    ----------
    document : the plan document (``inputs.load_document``)
    search : look for the best train; with False the document's own train, or ``train``, or none, is followed
    train : the train to follow where the document has none and nothing is searched
    progress, cancelled : called during the search with a share 0 to 1, and to ask whether to stop

    Returns
    -------
    Plan : frozen; the same document gives the same plan

    Raises
    ------
    InputError : a part of the document cannot be used, in one clear line
    """
    prior = prepare(document)
    correction = correct(prior, document.train if document.train is not None else train)
    given = correction.given
    alternatives = recommend(given, progress, cancelled) if search else ()
    stages, recommended = choose(document, alternatives, train)
    source_state = describe(given.waters, source_machine(given).temperature_C)
    outcome = evaluate(given, stages, beside=[source_state])
    tests = next_tests(given, outcome, alternatives) if search else ()
    before = evaluate(prior, stages) if correction.log.informs else None
    return Plan(
        document=document,
        stamp=stamp(document, stages),
        given=given,
        source_state=source_state,
        source_verdicts=judge_source(given, source_state),
        outcome=outcome,
        recommended=recommended,
        alternatives=alternatives,
        next_tests=tests,
        warnings=warnings(given, outcome) + log_warnings(correction) + base_warning(given, outcome, alternatives),
        prior=prior,
        correction=correction,
        before=before,
        moved=moved(before, outcome, prior, correction) if before else (),
    )


def find_better(plan: Plan, progress: Progress | None = None, cancelled: Cancelled | None = None) -> Plan:
    """The same plan with the search's alternatives and the next tests; a train of its own is kept."""
    alternatives = recommend(plan.given, progress, cancelled)
    stages, recommended = choose(plan.document, alternatives, plan.outcome.stages)
    same = stages == plan.outcome.stages
    outcome = plan.outcome if same else evaluate(plan.given, stages)
    before = plan.before if same or plan.before is None else evaluate(plan.prior, stages)
    return replace(
        plan,
        stamp=stamp(plan.document, stages),
        outcome=outcome,
        recommended=recommended,
        alternatives=alternatives,
        next_tests=next_tests(plan.given, outcome, alternatives),
        before=before,
        moved=moved(before, outcome, plan.prior, plan.correction) if before else (),
        warnings=warnings(plan.given, outcome)
        + log_warnings(plan.correction)
        + base_warning(plan.given, outcome, alternatives),
    )


def choose(
    document: PlanDocument, alternatives: Sequence[Alternative], train: Sequence[Stage] | None
) -> tuple[tuple[Stage, ...], bool]:
    """The train to follow, and whether the search chose it: the document's own goes first."""
    if document.train is not None:
        return document.train, False
    if alternatives:
        return alternatives[0].outcome.stages, True
    return tuple(train or ()), False


def source_machine(given: Given) -> MachineProfile:
    """The machine that the water is judged at as it comes."""
    return given.machine_of(given.main_branch) or given.document.machines[0]


def judge_source(given: Given, state: State) -> tuple[Verdict, ...]:
    """The water as it comes, judged at the main machine; ``state`` is that of ``given.waters`` there."""
    return judge(
        given.waters, state, known=given.known, weights=given.weights, role="source", machine=source_machine(given),
        targets=given.document.targets, supplies=given.supplies, phase_names=given.phase_names,
    )  # fmt: skip


def stamp(document: PlanDocument, stages: Sequence[Stage]) -> str:
    """Identifies a plan by its document and its train."""
    return document.model_copy(update={"train": tuple(stages)}).fingerprint()


def log_warnings(correction: Correction) -> tuple[Warning_, ...]:
    """What the log gives rise to: each diagnosis with its next check, and how many lines are not used."""
    found = [Warning_(d.code, f"{d.message} Next check: {d.next_check}") for d in correction.diagnoses]
    unused = [f for f in correction.flags if not f.used]
    if unused:
        found.append(Warning_("readings_not_used", f"{len(unused)} lines of the log are kept but not used, the first "
                              f"because: {unused[0].message}"))  # fmt: skip
    return tuple(found)


def base_warning(given: Given, outcome: Outcome, alternatives: Sequence[Alternative]) -> tuple[Warning_, ...]:
    """Where the tanks do not bear a membrane on board: what it would be to make its water at base."""
    if not tanks_fail(given, outcome, alternatives):
        return ()
    at_base = made_at_base(given, outcome, alternatives)
    return () if at_base is None else (Warning_("made_at_base", at_base.note),)


def warnings(given: Given, outcome: Outcome) -> tuple[Warning_, ...]:
    """Every note on the way, once each: assumed water, broken order rules, unknown capacities, assumed prices."""
    found = [(note.code, note.message) for note in given.notes]
    found += [(p.code, f"{p.stage}: {p.message}" if p.stage else p.message) for p in outcome.problems]
    found += [(p.code, f"{p.stage}: {p.message}") for c in outcome.cartridges for p in c.capacity.warnings]
    found += list(outcome.cost.warnings)
    return tuple(Warning_(code, message) for code, message in dict.fromkeys(found))
