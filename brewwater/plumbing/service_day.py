"""A service day hour by hour: what comes in, what is drawn, what the tanks do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from brewwater.errors import InputError
from brewwater.plumbing.fit_tanks import Litres
from brewwater.plumbing.parts import Branch, Unit, known
from brewwater.plumbing.tree import PlumbingTree
from brewwater.units import GAL_L

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ServiceDay:
    """Litres in each hour; arrays (hour, draw), ``fixtures`` (branch, hour, draw), tank levels at the hour's end.
    ``hot_share`` of each branch is drawn hot.

    ``inlet`` = fixtures + reject + rise of the fresh tank. ``to_waste`` = emptied + rise of the waste tank.
    ``short``: asked for and not there, with its reject. ``spilled``: came to a waste tank that was full and
    could not be emptied again: service must stop.
    """

    branches: tuple[str, ...]
    hot_share: tuple[float, ...]
    inlet: FloatArray
    fixtures: FloatArray
    reject: FloatArray
    fresh: FloatArray
    to_waste: FloatArray
    emptied: FloatArray
    waste: FloatArray
    short: FloatArray
    spilled: FloatArray
    fills: FloatArray

    def through(self, tree: PlumbingTree) -> dict[str, FloatArray]:
        """Litres through every part of a tree in each hour, (hour, draw): what its fixtures draw, the cold side
        of a sink by its own way. Reject is not in it: it leaves at the membrane."""
        found = {node.name: np.zeros(self.inlet.shape) for node in tree.in_order()}
        own = {name: (self.fixtures[i], self.hot_share[i]) for i, name in enumerate(self.branches)}
        for node in (n for n in tree.nodes if n.kind == "fixture"):
            drawn, hot = own[node.name]
            found[node.name] = drawn
            here = drawn if node.cold_from is None else drawn * hot
            for part in tree.upstream(node.name):
                found[part.name] = found[part.name] + here
            if node.cold_from is not None:
                for part in (tree.by_name[node.cold_from], *tree.upstream(node.cold_from)):
                    found[part.name] = found[part.name] + (drawn - here)
        return found


def service_day(
    unit: Unit,
    branches: Sequence[Branch],
    litres: Litres,
    reject_L_per_L: Litres | None = None,
    *,
    hourly_share: ArrayLike | None = None,
    start_share: float = 1.0,
) -> ServiceDay:
    """Follow the tanks through a service day.

    Parameters
    ----------
    litres, reject_L_per_L : per branch, shape (n,) or (1,), as ``fit``
    hourly_share : share of the day in each hour, adding to 1; even over the unit's service hours where left out
    start_share : how full the fresh tank starts, 0 to 1

    The tank is filled, and the waste tank emptied, when an hour asks more than is there (or would overflow it),
    ``fills_per_day - 1`` times after the first fill. A plumbed unit draws from the mains and drains to the
    sewer.

    Raises
    ------
    InputError : shares that do not add to 1, or a start outside 0 to 1
    """
    on = known(unit).unit
    hours = int(np.ceil(on.hours_per_service_day or 24))
    share = np.full(hours, 1 / hours) if hourly_share is None else np.asarray(hourly_share, dtype=np.float64)
    if share.ndim != 1 or np.any(share < 0) or abs(share.sum() - 1) > 1e-9:
        raise InputError(
            "hourly_share", float(share.sum()), "shares of the day, not negative, add to 1", "Correct them."
        )
    if not 0 <= start_share <= 1:
        raise InputError("start_share", start_share, "it lies from 0 to 1", "Correct how full the tank starts.")
    lost = reject_L_per_L or {}
    names = tuple(b.name for b in branches)
    zero = np.zeros(1)
    n = max([1, *(np.size(litres.get(b, zero)) for b in names), *(np.size(lost.get(b, zero)) for b in names)])
    asked = np.array([np.broadcast_to(litres.get(b, zero), n) for b in names]).reshape(len(names), n)
    ratio = np.array([np.broadcast_to(lost.get(b, zero), n) for b in names]).reshape(len(names), n)
    to_waste = np.array([b.waste_share for b in branches]).reshape(-1, 1) + ratio

    if on.has_tanks:
        assert on.fresh_tank_gal is not None
        assert on.waste_tank_gal is not None
        full, holds = on.fresh_tank_gal * GAL_L, on.waste_tank_gal * GAL_L
        least = full * (1 - (on.usable_fresh_share or 1.0))
    else:
        full = least = holds = 0.0
    shape = (len(share), n)
    out = {
        key: np.zeros(shape) for key in ("inlet", "reject", "fresh", "to_waste", "emptied", "waste", "short", "spilled")
    }
    fixtures = np.zeros((len(names), *shape))
    level, gray, left = np.full(n, full * start_share), np.zeros(n), np.full(n, on.fills_per_day - 1.0)
    for hour, part in enumerate(share):
        want = asked * part
        need = (want * (1 + ratio)).sum(axis=0)
        if on.has_tanks:
            fill = (left >= 1) & (
                (level - least < need - 1e-12) | (gray + (want * to_waste).sum(axis=0) > holds + 1e-12)
            )
            left = left - fill
            out["inlet"][hour] = np.where(fill, full - level, 0.0)
            out["emptied"][hour] = np.where(fill, gray, 0.0)
            level, gray = np.where(fill, full, level), np.where(fill, 0.0, gray)
            there = np.maximum(level - least, 0)
            served = np.divide(there, need, out=np.ones(n), where=need > there)
        else:
            served = np.ones(n)
        drawn = want * served
        fixtures[:, hour], out["reject"][hour] = drawn, (drawn * ratio).sum(axis=0)
        taken = drawn.sum(axis=0) + out["reject"][hour]
        out["short"][hour] = need - taken
        out["to_waste"][hour] = (drawn * to_waste).sum(axis=0)
        if on.has_tanks:
            level = level - taken
            gray = gray + out["to_waste"][hour]
            out["spilled"][hour] = np.maximum(gray - holds, 0)
            gray = np.minimum(gray, holds)
        else:
            out["inlet"][hour], out["emptied"][hour] = taken, out["to_waste"][hour]
        out["fresh"][hour], out["waste"][hour] = level, gray
    hot = tuple(b.usual.hot_share for b in branches)
    return ServiceDay(branches=names, hot_share=hot, fixtures=fixtures, fills=on.fills_per_day - left, **out)
