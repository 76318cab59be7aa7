"""What every medium is: a change to the water, what that change uses up, and how it fails.

Each medium has its own file with one ``MEDIUM``; ``media.py`` lists them. Everything here works on arrays of
any broadcastable shape whose last axis is the draw.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from brewwater import reference
from brewwater.chemistry import Totals
from brewwater.ensemble import Draws
from brewwater.records import Span
from brewwater.treatment.stage import Medium as MediumId
from brewwater.treatment.stage import Stage
from brewwater.water import MINOR, Water

FloatArray = NDArray[np.float64]
Performance = Mapping[str, FloatArray]

NOTHING: FloatArray = np.zeros(1)
CL2_G_PER_MOL = 70.906


def treatment_limit(key: str) -> float:
    """A figure of ``reference/treatment_limits.csv``."""
    return float(reference.keyed("treatment_limits")[key]["value"])


@dataclass(frozen=True, slots=True)
class Load:
    """What one litre served by the branch uses of a stage; arrays of any broadcastable shape.

    volume_L : litres that pass through the medium (product, for a membrane)
    feed_L : litres the stage draws from what stands before it, bypass and reject included
    exchange_eq : equivalents exchanged
    chlorine_g : g Cl2 (free and combined) brought to the medium
    reject_L : litres sent to the waste tank
    consumed_g : g of the medium itself used up (mineral salts, calcite)
    """

    volume_L: FloatArray = field(default_factory=lambda: np.ones(1))
    feed_L: FloatArray = field(default_factory=lambda: np.ones(1))
    exchange_eq: FloatArray = field(default_factory=lambda: NOTHING)
    chlorine_g: FloatArray = field(default_factory=lambda: NOTHING)
    reject_L: FloatArray = field(default_factory=lambda: NOTHING)
    consumed_g: FloatArray = field(default_factory=lambda: NOTHING)

    def times(self, factor: FloatArray) -> Load:
        """The same load, each figure multiplied by ``factor``."""
        return Load(*(getattr(self, f.name) * factor for f in fields(self)))


@dataclass(frozen=True, slots=True)
class StageSettings:
    """What a stage is run with.

    performance : drawn figures of the medium (``performance``), by quantity
    bypass : share 0 to 1 that goes round the stage, any broadcastable shape; None: the stage's own
    peak_flow_gpm : US gal/min through the medium while everything draws (``plumbing.Network.flow_gpm``); None: not
        known, then no flow is reckoned with
    raw : the train's inlet water, which a ``blend`` stage mixes back
    doses : mg/L of pure salt by salt, any broadcastable shape, in place of the stage's doses (purity then 1)
    used : share of the cartridge's capacity already used, 0 or more; None: a fresh to mid-life cartridge
    """

    performance: Performance = field(default_factory=dict)
    bypass: FloatArray | None = None
    peak_flow_gpm: FloatArray | None = None
    raw: Water | None = None
    doses: Mapping[str, FloatArray] | None = None
    used: FloatArray | None = None


@dataclass(frozen=True, slots=True)
class Medium:
    """A medium: its id, ``treat`` (the water through it, before any bypass), ``load`` (what one litre through
    it uses, from inlet and treated water) and the currencies that can exhaust it."""

    id: MediumId
    treat: Callable[[Water, Stage, StageSettings], Water]
    load: Callable[[Water, Water, Stage, StageSettings], Load]
    exhausted_by: frozenset[Literal["volume", "exchange", "chlorine", "time", "pressure", "consumed"]]


@cache
def usual(medium: str) -> Mapping[str, Span]:
    """The usual performance of a medium by quantity, from ``reference/media_performance.csv``."""
    return {
        row["quantity"]: Span(low=float(row["low"]), typical=float(row["typical"]), high=float(row["high"]))
        for row in reference.table("media_performance")
        if row["medium"] == medium
    }


def quantity(stage: Stage, name: str, draws: Draws | None) -> FloatArray:
    """One figure of a stage's performance: what the stage states, else the usual one of the medium, drawn (its
    typical value without ``draws``); shape ``(n,)``, or ``(1,)`` where it is certain."""
    stated = {"leakage_mg_L_as_CaCO3": stage.leakage_mg_L_as_CaCO3, "recovery": stage.recovery}.get(name)
    if stated is not None:
        return np.array([float(stated)])
    span = usual(stage.medium)[name]
    return np.array([span.middle]) if draws is None else draws.span(f"{stage.name}: {name}", span)


def performance(stage: Stage, draws: Draws) -> dict[str, FloatArray]:
    """The performance of a stage, each ``quantity`` of its medium. Draw this once per stage."""
    return {name: quantity(stage, name, draws) for name in usual(stage.medium)}


def settings_for(
    stage: Stage,
    draws: Draws,
    *,
    bypass: FloatArray | None = None,
    peak_flow_gpm: FloatArray | None = None,
    raw: Water | None = None,
    doses: Mapping[str, FloatArray] | None = None,
    used: FloatArray | None = None,
) -> StageSettings:
    """Settings of a stage with its performance drawn."""
    return StageSettings(performance(stage, draws), bypass, peak_flow_gpm, raw, doses, used)


def changed(water: Water, **change: FloatArray) -> Water:
    """The water with ``change`` (mol/L; eq/L for alkalinity) added to its totals."""
    new = {name: getattr(water.totals, name) + amount for name, amount in change.items()}
    return water.with_(totals=replace(water.totals, **new))


def between(treated: Water, other: Water, share: FloatArray) -> Water:
    """``(1 - share)`` of ``treated`` with ``share`` of ``other``: every amount is conserved."""
    rest = 1 - share

    def mixed(a: FloatArray, b: FloatArray) -> FloatArray:
        return a if a is b else rest * a + share * b

    totals = Totals(*(mixed(getattr(treated.totals, f.name), getattr(other.totals, f.name)) for f in fields(Totals)))
    return Water.of(
        totals,
        mixed(treated.temperature_C, other.temperature_C),
        **{name: mixed(getattr(treated, name), getattr(other, name)) for name in MINOR},
    )


def same(water: Water, stage: Stage, settings: StageSettings) -> Water:
    """A medium that leaves the dissolved water as it is."""
    return water


def volume_only(inlet: Water, treated: Water, stage: Stage, settings: StageSettings) -> Load:
    """One litre through the medium, nothing else used."""
    return Load()
