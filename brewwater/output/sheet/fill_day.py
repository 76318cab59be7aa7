"""Fill-day advice: for each supply alone in the tank, fill, change the bypass, or do not fill."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from brewwater.ensemble import mean
from brewwater.output.vocabulary import bypass, stage_name
from brewwater.plan import Plan
from brewwater.planning.candidate import Served, judge_at, losses, route, serve
from brewwater.treatment import Stage
from brewwater.verdicts import Verdict

BYPASSED = (
    "weak_acid",
    "softening",
    "calcium_to_magnesium",
    "chloride_anion",
    "reverse_osmosis",
    "mixed_bed",
)
STEPS = tuple(range(0, 101, 10))
BETTER = 0.75  # a new setting must leave less than this share of the harm, or it is not worth a wrench


@dataclass(frozen=True, slots=True)
class Advice:
    """``decision``: fill, fill with care (no supply of the plan is better), change the bypass, test first, or do not
    fill; ``bypass``: the settings to use."""

    supply: str
    decision: str
    bypass: str
    why: str


def fill_advice(plan: Plan) -> tuple[Advice, ...]:
    """What to do with each supply of the plan, the tank full of it alone.

    Another bypass is advised where it leaves less than three quarters of the harm (the plan's worth of being
    out of goal). A supply is refused where its water must not be served, or where it stays bad at every
    bypass while another supply does not.
    """
    found = [_Case(plan, index) for index in range(len(plan.scenario.supplies))]
    some_good = any(case.worst in ("ok", "watch") for case in found)
    return tuple(case.advice(some_good) for case in found)


class _Case:
    def __init__(self, plan: Plan, index: int) -> None:
        scenario, stages = plan.scenario, plan.candidate.stages
        supply = scenario.supplies[index]
        self.name = supply.name
        self.alone = replace(
            scenario,
            supplies=(supply,),
            waters=scenario.supply_waters[index].each(np.atleast_2d),
            phase_names=(supply.name,),
            phase_share=np.ones(1),
        )
        self.branches = plan.candidate.branches
        self.valve = next((s for s in stages if s.medium in BYPASSED), None)
        self.stages, self.verdicts = stages, self._judged(stages)
        self.changed = False
        if self.valve is not None and self.worst in ("watch", "act"):
            self._try_bypass(stages)

    def _try_bypass(self, stages: Sequence[Stage]) -> None:
        assert self.valve is not None
        options = [_set(stages, self.valve.name, percent) for percent in STEPS]
        harm = [self._harm(option) for option in options]
        best = int(np.argmin(harm))
        if harm[best] < BETTER * self._harm(stages):
            self.stages, self.changed = options[best], True
            self.verdicts = self._judged(options[best])

    def _served(self, stages: Sequence[Stage]) -> tuple[Served, ...]:
        return serve(self.alone, self.branches, route(self.alone, stages, self.branches))

    def _harm(self, stages: Sequence[Stage]) -> float:
        found = losses(self.alone, self._served(stages))
        return float(sum(mean(loss, self.alone.weights) for loss in found.values()))

    def _judged(self, stages: Sequence[Stage]) -> list[Verdict]:
        return [v for at in self._served(stages) for v in judge_at(self.alone, at)]

    @property
    def worst(self) -> str:
        """The worst status over cup, scale and corrosion, a stop on safety before all."""
        met = {v.status for v in self.verdicts if v.subject != "safety" or v.status == "stop"}
        return next((s for s in ("stop", "act", "watch", "unknown") if s in met), "ok")

    def advice(self, some_good: bool) -> Advice:
        """The card's line for this supply."""
        valves = [s for s in self.stages if s.medium in BYPASSED]
        where = [f" at {stage_name(s)}" if len(valves) > 1 else "" for s in valves]
        setting = ", ".join(f"{bypass(s.bypass_percent)}{at}" for s, at in zip(valves, where, strict=True)) or "none"
        reasons = [v.why for v in self.verdicts if v.status == self.worst and v.status != "ok"]
        why = reasons[0] if reasons else "In range."
        if self.worst == "stop" or (self.worst == "act" and some_good):
            return Advice(self.name, "do not fill", "–", why)
        if self.worst == "unknown":
            return Advice(self.name, "test first", setting, why)
        plain = "fill with care" if self.worst == "act" else "fill"
        return Advice(self.name, "change the bypass" if self.changed else plain, setting, why)


def _set(stages: Sequence[Stage], name: str, percent: float) -> tuple[Stage, ...]:
    change = {"bypass_percent": float(percent)}
    return tuple(s.model_copy(update=change) if s.name == name else s for s in stages)
