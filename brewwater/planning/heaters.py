"""Scale where water is heated and no machine profile stands: the storage heater of the sinks, a bare hot tap."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from brewwater.ensemble import percentiles
from brewwater.planning.candidate import Candidate, Served, judge_at, scale_held
from brewwater.planning.scenario import Scenario
from brewwater.plumbing import known
from brewwater.units import plain
from brewwater.verdicts import MachineProfile, Verdict, describe
from brewwater.verdicts.measure import Role

FloatArray = NDArray[np.float64]

HEATER = "Water heater"
KINDS: Mapping[str, Literal["espresso", "brewer", "hot_water"]] = {
    "espresso_machine": "espresso",
    "brewer": "brewer",
    "hot_water": "hot_water",
}


def heater_verdicts(scenario: Scenario, candidate: Candidate) -> tuple[Verdict, ...]:
    """The verdict on scale at each place that heats water without a machine profile.

    Returns
    -------
    one for the storage heater on unfiltered branches (at its set temperature), and one for each machine's branch
    that names no machine (at the usual temperature of its kind)
    """
    found = []
    on = known(scenario.document.unit)
    hot = [b for b in candidate.branches if not b.filtered and b.usual.hot_share > 0]
    if hot and on.unit.heater is not None:
        heater = MachineProfile(name=HEATER, kind="hot_water", boiler_temperature_C=on.unit.heater.set_C)
        litres = np.asarray(
            sum(
                (scenario.demand.litres(b.name, 0, scenario.demand.year()) * b.usual.hot_share for b in hot),
                np.zeros(1),
            )
        )
        note = " Its temperature is the usual one, not given." if "heater" in on.assumed else ""
        # unfiltered, so no inhibitor stands before it
        at = Served(hot[0], heater, scenario.waters, None, np.zeros(1))
        found.append(_judged(scenario, at, heater, "source", litres, note))
    for at in candidate.served:
        kind = KINDS.get(at.branch.kind)
        if at.machine is None and kind is not None:
            machine = MachineProfile(name=at.branch.name, kind=kind)
            litres = scenario.demand.litres(at.branch.name, 0, scenario.demand.year())
            role: Role = "served" if at.branch.filtered else "source"
            note = " No machine is named on it: the usual one of its kind stands in."
            found.append(_judged(scenario, replace(at, machine=machine), machine, role, litres, note))
    return tuple(found)


def _judged(
    scenario: Scenario, at: Served, machine: MachineProfile, role: Role, litres: FloatArray, note: str
) -> Verdict:
    """The verdict on scale at a place under the machine's name; what a scale inhibitor holds back does not settle."""
    state = describe(at.water, machine.temperature_C)
    named = replace(at, branch=at.branch.model_copy(update={"name": machine.name}), machine=machine, state=state)
    every = judge_at(scenario, named, role=role)
    scale = next(v for v in every if v.subject == "scale")
    falls = np.maximum(state.machine_ccpp_mg_L_as_CaCO3, 0)
    if np.isnan(falls).any() and not np.isnan(falls).all():  # an unsolved draw takes the middle of the others
        falls = np.where(np.isnan(falls), np.nanmedian(falls), falls)
    falls = np.where(scale_held(at), 0.0, falls)
    low, _, high = percentiles(litres * scenario.by_phase(falls) / 1000, scenario.weights)
    where = f"At {plain(machine.temperature_C)} °C"
    if high < 1:
        laid = f" {where} less than 1 g a year can settle in {machine.name}.{note}"
    else:
        laid = f" {where} {low:,.0f} to {high:,.0f} g a year can settle in {machine.name}.{note}"
    return replace(scale, why=scale.why + laid)
