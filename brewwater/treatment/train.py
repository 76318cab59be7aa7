"""Run a stage, and a train of stages in order: waters forward, loads backward."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from brewwater import reference
from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.treatment.media import MEDIA
from brewwater.treatment.media.blend import raw_share
from brewwater.treatment.medium import FloatArray, Load, StageSettings, between, settings_for
from brewwater.treatment.order import DEMINERALISERS
from brewwater.treatment.stage import Stage
from brewwater.water import Water


@dataclass(frozen=True, slots=True)
class StageRun:
    """``outlet`` with bypass mixed in, ``treated`` before it, ``load`` for one litre of outlet."""

    outlet: Water
    treated: Water
    load: Load


@dataclass(frozen=True, slots=True)
class TrainResult:
    """``waters[i]`` stands after stage i; ``loads[i]`` is for one litre that the whole train serves.

    ``reject_L``: litres to waste for that litre, drawn from the source besides it.
    ``inhibited_up_to_mg_L_as_CaCO3``: temporary hardness up to which the train's scale inhibitor is judged to
    hold scale back (``scale_inhibitor.held_back``); 0 without one, or where a later stage takes the phosphate
    out.
    """

    waters: tuple[Water, ...]
    loads: tuple[Load, ...]
    reject_L: FloatArray
    inhibited_up_to_mg_L_as_CaCO3: FloatArray

    @property
    def served(self) -> Water:
        """The water after the last stage."""
        return self.waters[-1]


def bypass_of(stage: Stage, settings: StageSettings) -> FloatArray:
    """Share that goes round the stage, 0 to 1.

    Raises
    ------
    InputError : a bypass in the settings is outside 0 to 1
    """
    if settings.bypass is None:
        return np.array([stage.bypass_percent / 100])
    bypass = np.asarray(settings.bypass, dtype=np.float64)
    if not np.all((bypass >= 0) & (bypass <= 1)):
        raise InputError(
            f"{stage.name} bypass",
            float(bypass.flat[0]),
            "a share from 0 to 1 is needed",
            "Correct the bypass.",
        )
    return bypass


def share_lost(medium: str, used: FloatArray) -> FloatArray:
    """Share of a medium's effect lost when ``used`` of its capacity is used (1: rated end), 0 to 1.

    Linear between the start and the end of the breakthrough in ``reference/breakthrough.csv``: a sharp
    medium has them close together, one that leaks late far apart. Media without an entry lose nothing.
    """
    row = reference.keyed("breakthrough", "medium").get(medium)
    if row is None:
        return np.zeros(np.shape(used))
    ends = [float(row["starts_at_used"]), float(row["ends_at_used"])]
    return np.asarray(np.interp(used, ends, [0.0, 1.0]), dtype=np.float64)


def apply(stage: Stage, water: Water, settings: StageSettings) -> StageRun:
    """One stage on waters of any broadcastable shape.

    Parameters
    ----------
    stage : the medium and its settings
    water : at the stage's inlet
    settings : from ``settings_for(stage, draws, ...)``; draw once, apply often

    Returns
    -------
    StageRun : the outlet conserves every total over treated and bypassed water; at 100 % bypass it is the
        inlet (for a ``blend``: the train's inlet). A used-up share of the medium lets inlet water through.
    """
    medium = MEDIA[stage.medium]
    bypass = bypass_of(stage, settings)
    treated = medium.treat(water, stage, settings)
    load = medium.load(water, treated, stage, settings)
    if settings.used is not None:
        lost = share_lost(stage.medium, settings.used)
        treated = between(treated, water, lost)
        load = replace(load, exchange_eq=load.exchange_eq * (1 - lost))
    if stage.medium == "blend":
        other = water if settings.raw is None else settings.raw
        load = Load(feed_L=1 - bypass, volume_L=1 - bypass)
    else:
        other = water
        through = 1 - bypass
        load = replace(load.times(through), feed_L=load.feed_L * through + bypass)
    if not bypass.any():
        return StageRun(treated, treated, load)
    return StageRun(between(treated, other, bypass), treated, load)


def bypass_for_target(
    stage: Stage,
    water: Water,
    settings: StageSettings,
    target: FloatArray | float,
    measure: Callable[[Water], FloatArray] = lambda water: water.alkalinity_mg_L_as_CaCO3,
) -> FloatArray:
    """Bypass, 0 to 1, that brings a mixed amount of the outlet to ``target``; NaN where none does.

    Parameters
    ----------
    stage, water, settings : as ``apply``; any bypass they state is not read
    target : in the unit of ``measure``, any broadcastable shape
    measure : an amount that mixes by volume (alkalinity by default, hardness, TDS, an ion), never pH
    """
    treated = MEDIA[stage.medium].treat(water, stage, settings)
    return raw_share(measure(water), measure(treated), target)


def run_train(
    stages: Sequence[Stage],
    water: Water,
    draws: Draws,
    *,
    settings: Mapping[str, StageSettings] | None = None,
) -> TrainResult:
    """Run stages in order.

    Parameters
    ----------
    stages : from the source to the fixture; none serves the water as it comes
    water : at the train's inlet
    draws : draws the performance of stages that ``settings`` does not hold
    settings : by stage name, drawn beforehand

    Returns
    -------
    TrainResult : a stage ahead of a membrane is loaded with the membrane's feed (at 25 % recovery four litres
        for each litre of product)
    """
    every = [(settings or {}).get(s.name) or settings_for(s, draws) for s in stages]
    waters: list[Water] = []
    loads: list[Load] = []
    now = water
    inhibited = np.zeros(1)
    for stage, chosen in zip(stages, every, strict=True):
        if stage.medium == "blend" and chosen.raw is None:
            chosen = replace(chosen, raw=water)
        result = apply(stage, now, chosen)
        if stage.medium == "scale_inhibitor":
            limit = chosen.performance["inhibited_up_to_mg_L_as_CaCO3"]
            inhibited = np.where(bypass_of(stage, chosen) < 1, limit, inhibited)
        elif stage.medium in DEMINERALISERS:
            inhibited = np.where(bypass_of(stage, chosen) < 1, 0.0, inhibited)
        now = result.outlet
        waters.append(now)
        loads.append(result.load)
    if not waters:
        waters.append(water)
    wanted = np.ones(1)  # litres wanted from the stage for one litre served
    reject = np.zeros(1)
    for i in reversed(range(len(loads))):
        step = loads[i].feed_L
        loads[i] = loads[i].times(wanted)
        reject = reject + loads[i].reject_L
        wanted = wanted * step
    return TrainResult(tuple(waters), tuple(loads), reject, inhibited)
