"""What it costs to filter each branch, ranked: the table that a pull-down per branch plays with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater.plumbing.fit_tanks import Litres
from brewwater.plumbing.parts import Branch
from brewwater.units import GAL_L, percent

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BranchDecision:
    """One branch, filtered or not. Arrays: shape (n,) or (1,).

    gal_per_service_day : through the branch
    life_share : of the filters' life that it uses (or would use, among those filtered now)
    yearly_cost : of filtering it, in the plan's currency
    if_not_filtered : the verdict on what it then pours
    advice : one sentence
    """

    branch: str
    filtered: bool
    gal_per_service_day: FloatArray
    life_share: FloatArray
    yearly_cost: FloatArray
    if_not_filtered: str
    advice: str


ON_THE_SKIN = frozenset({"rinser", "hand_sink", "sink"})


def decisions(
    branches: Sequence[Branch],
    litres: Litres,
    *,
    service_days_per_year: float,
    cost_per_filtered_litre: FloatArray,
    verdict_if_not: Mapping[str, str] | None = None,
) -> tuple[BranchDecision, ...]:
    """Every branch with what filtering it costs, the dearest first.

    Parameters
    ----------
    litres : per service day and branch, shape (n,) or (1,)
    cost_per_filtered_litre : currency per litre, shape (n,) or (1,)
    verdict_if_not : by branch, the verdict on unfiltered water there
    """
    through = {b.name: np.asarray(litres.get(b.name, np.zeros(1)), dtype=np.float64) for b in branches}
    now = np.asarray(sum((through[b.name] for b in branches if b.filtered), start=np.zeros(1)))
    found = []
    for branch in branches:
        own = through[branch.name]
        whole = now if branch.filtered else now + own
        share = np.where(whole > 0, own / np.where(whole > 0, whole, 1.0), 0.0)
        cost = own * service_days_per_year * cost_per_filtered_litre
        found.append(
            BranchDecision(
                branch.name,
                branch.filtered,
                own / GAL_L,
                share,
                cost,
                (verdict_if_not or {}).get(branch.name, "not judged"),
                _advice(branch, share),
            )
        )
    return tuple(sorted(found, key=lambda d: -float(np.median(d.yearly_cost))))


def _advice(branch: Branch, share: FloatArray) -> str:
    used = float(np.median(share))
    rinses = branch.kind in ON_THE_SKIN
    if rinses and branch.filtered:
        return f"Hang it before the filters: it uses {percent(used)} of their life, for nothing in a rinse."
    if rinses:
        return f"Right before the filters: behind them it would use {percent(used)} of their life."
    if branch.filtered:
        return f"Filtered: {percent(used)} of the filters' life." + (
            "" if branch.machine else " Ask whether its water reaches a cup."
        )
    return (
        f"Not filtered: its water reaches the {'machine' if branch.machine else 'cup'} as it comes; behind the "
        f"filters it would use {percent(used)} of their life."
    )
