"""What is bought and done to build the unit: the sizes that pass the busiest day, adapters, sanitising."""

from __future__ import annotations

import numpy as np

from brewwater.errors import InputError
from brewwater.output.sheet.content import Section, Table, lines_of
from brewwater.plan import Plan
from brewwater.plumbing import PlumbingTree, Sizing, adapters, known, sanitise, size
from brewwater.units import plain

# Household bleach is sold at 5 to 8.25 % (common practice): the dose is for this one, the label decides.
BLEACH_PERCENT = 6.0


def sized(plan: Plan) -> Sizing:
    """The smallest usual sizes that pass the busiest day with this plan's train.

    Raises
    ------
    InputError : no usual size is large enough; it names the part
    """
    scenario, candidate = plan.scenario, plan.candidate
    return size(
        plan.document.unit,
        candidate.branches,
        candidate.stages,
        peak_litres={b.name: scenario.day_litres(b.name)[1] for b in candidate.branches},
        reject_L_per_L={b: np.max(np.atleast_2d(lost), axis=0) for b, lost in candidate.reject_L_per_L.items()},
        machines=plan.document.machines,
        draws=scenario.draws,
        weights=scenario.weights,
        feed_tds_mg_L=candidate.feed_tds_mg_L,
    )


def sizes_section(plan: Plan) -> Section:
    """The sizes as a table, or the part that no usual size is large enough for."""
    heading = "If it is still to be built: the smallest usual sizes that pass the busiest day"
    try:
        found = sized(plan)
    except InputError as error:
        return Section(heading, (str(error),))
    failed = tuple(f"Even so: {c.why}" for c in found.checks if c.refuses)
    if not found.reasons:
        return Section(heading, ("Mains pressure and no storage heater: there is nothing to size.", *failed))
    return Section(heading, failed, Table(("Part", "Why this size"), found.reasons, (2, 8)))


def adapters_section(tree: PlumbingTree) -> Section:
    """An adapter for each pair of threads that meet and differ, with blanks for the price."""
    rows = tuple((str(a.count), f"{a.one} to {a.other}", ", ".join(a.where), a.note, "") for a in adapters(tree))
    if not rows:
        return Section("Adapters", ("All threads that meet are the same: none is needed.",))
    note = "Lead-free, for drinking water. Measure each thread before ordering: usual ones stand in where not given."
    return Section("Adapters", (note,), Table(("Pieces", "From to", "At", "Note", "Price"), rows, (1, 3, 5, 6, 2)))


def sanitise_section(plan: Plan, tree: PlumbingTree) -> tuple[Section, ...]:
    """Sanitising the tank and lines of this unit, in order; none for a plumbed unit."""
    unit = known(plan.document.unit)
    if not unit.unit.has_tanks:
        return ()
    steps = lines_of(sanitise(tree, unit.unit, plan.candidate.branches, BLEACH_PERCENT))
    assumed = "The tank's volume is the usual one of its kind: work the dose for yours. "
    first = (
        assumed if "fresh_tank_gal" in unit.assumed else ""
    ) + f"For plain bleach of {plain(BLEACH_PERCENT, 6)} %; stronger bleach, less of it: its label decides."
    return (Section("Sanitise", (first, *steps), boxes=True),)
