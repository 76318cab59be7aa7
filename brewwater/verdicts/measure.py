"""One measure behind a verdict, as it is shown."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from brewwater.reference import keyed

Subject = Literal["cup", "scale", "corrosion", "safety"]
Status = Literal["ok", "watch", "act", "stop", "unknown"]
Role = Literal["source", "served"]


def rule(key: str) -> float:
    """A figure of ``reference/verdict_rule.csv``: how much doubt one acts on."""
    return float(keyed("verdict_rule")[key]["value"])


def assumed_words(holds: bool) -> str:
    """How a verdict, or a check of the fit, is called that rests on something that was not given."""
    return "Holds on assumed values" if holds else "Fails on assumed values"


@dataclass(frozen=True, slots=True)
class Measure:
    """One measure behind a verdict, in the water that decides it.

    ``p10``, ``p50``, ``p90`` in ``unit`` (None: not solved); ``goal`` the range in goal, each end None where
    it does not bind; ``share`` of the waters in goal; both None, and status ``unknown``, where it was not
    measured and the figures only show what the report leaves open. A measure without a goal is there to be
    read and has status ``ok``.
    """

    name: str
    label: str
    unit: str
    p10: float | None
    p50: float | None
    p90: float | None
    goal: tuple[float | None, float | None]
    status: Status
    share: float | None
    source: str
    note: str = ""
