"""Does it fit the unit? Each check with its value, its limit, its source and its reason.

A value is the one that nine draws of ten reach or better; ``ok`` follows from it. Where something was not given, the
usual figure stands in and the check is ``assumed``; ``why`` says what is missing. ``ok`` is None where what stands in
may turn it either way, or where nothing can stand in.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from brewwater import reference
from brewwater.ensemble import Draws
from brewwater.plumbing.check import Check, Judge
from brewwater.plumbing.fit_flow import cartridge_checks, membrane_checks, pressure_checks, supply_checks
from brewwater.plumbing.fit_tanks import (
    Litres,
    day_of,
    peak_checks,
    residual_check,
    slope_checks,
    tank_checks,
    weight_checks,
)
from brewwater.plumbing.network import Network, behind
from brewwater.plumbing.parts import Branch, Unit, known
from brewwater.plumbing.problems import tree_problems
from brewwater.plumbing.tree import PlumbingTree
from brewwater.treatment import Stage
from brewwater.verdicts import MachineProfile

FloatArray = NDArray[np.float64]


def fit(
    unit: Unit,
    branches: Sequence[Branch],
    stages: Sequence[Stage] = (),
    *,
    litres: Litres,
    peak_litres: Litres | None = None,
    reject_L_per_L: Litres | None = None,
    machines: Sequence[MachineProfile] = (),
    draws: Draws | None = None,
    weights: FloatArray | None = None,
    residual_mg_L: FloatArray | None = None,
    residual_measured: bool = False,
    tree: PlumbingTree | None = None,
    network: Network | None = None,
    feed_tds_mg_L: Litres | None = None,
) -> tuple[Check, ...]:
    """Hold a unit against what its branches and its train ask of it.

    Parameters
    ----------
    unit, branches, stages : the document's parts; the train from the source on
    litres : served per branch on an ordinary service day, shape (n,) or (1,)
    peak_litres : the same on the busiest day; None: not checked
    reject_L_per_L : litres to waste for each litre served, per branch; nothing where left out
    machines : their least inlet pressure is the limit
    draws, weights : the ensemble; typical flows where left out
    residual_mg_L : total chlorine in the tank at fill; no verdict unless ``residual_measured``
    tree : a pipe tree to check; the unit's own where left out
    network : of the same unit, branches and stages, where it is at hand
    feed_tds_mg_L : dissolved solids at the inlet of each membrane, mg/L, shape (phase, n), (n,) or (1,); the water
        that membranes are rated on where left out

    Returns
    -------
    the checks, those of the tanks only on board

    Raises
    ------
    InputError : a flow is past what is worked
    """
    on, judge = known(unit), Judge(np.ones(draws.n if draws else 1) if weights is None else weights)
    lost = reject_L_per_L or {}
    found: list[Check] = []
    if on.unit.has_tanks:
        day = day_of(branches, litres, lost)
        found += tank_checks(on, day, judge)
        if peak_litres is not None:
            found += peak_checks(on, day_of(branches, peak_litres, lost), judge)
        found += weight_checks(
            on.unit, [s.name for s in stages if s.medium == "reverse_osmosis" and behind(s, branches)]
        )
        found += slope_checks(on.unit)
        if residual_mg_L is not None:
            found.append(residual_check(judge.low(residual_mg_L), residual_measured))
    if network is None:
        network = Network(on, branches, stages, draws=draws, busiest_L=peak_litres or litres)
    found += pressure_checks(network, machines, judge)
    found += supply_checks(network, judge)
    found += cartridge_checks(network, judge)
    found += membrane_checks(network, litres, judge, feed_tds_mg_L)
    shown = tree or unit.tree
    if shown is not None:
        found.append(_plumbing(shown, branches, stages))
    return tuple(found)


def _plumbing(tree: PlumbingTree, branches: Sequence[Branch], stages: Sequence[Stage]) -> Check:
    wrong = [p for p in tree_problems(tree, branches, stages) if not p.advice]
    why = " ".join(p.message for p in wrong) or "Every part is in an order that works."
    return Check("plumbing", float(len(wrong)), 0.0, "1", not wrong, reference.cite("common_practice"), why, "tree")
