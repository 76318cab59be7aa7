"""What a steam boiler holds, and how much to draw off it a day."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from brewwater.ensemble import mean, percentiles
from brewwater.planning.candidate import Candidate
from brewwater.planning.scenario import Scenario
from brewwater.reference import keyed
from brewwater.verdicts.corrosion import stainless_chloride_max_mg_L
from brewwater.verdicts.machine import MachineProfile


@dataclass(frozen=True, slots=True)
class DrawOff:
    """Hot water to draw off a boiler on an ordinary service day.

    cycles, chloride : salts in the boiler over those of the feed now, and chloride there, mg/L, of the worst water
    limit : chloride that it may hold, mg/L, and whose word that is; None: only ``most_cycles`` holds
    now_L, needed_L : litres a day drawn now, and needed; None where no draw-off reaches the limit
    """

    machine: str
    cycles: float
    chloride_mg_L: float
    limit_mg_L: float | None
    whose: str
    now_L: float
    needed_L: float | None

    @property
    def note(self) -> str:
        """What it comes to, in a sentence, with the caution at the step."""
        text = (
            f"{self.machine}: its boiler holds {self.cycles:.1f} times the salts of its feed, {self.chloride_mg_L:.0f} "
        )
        text += "mg/L chloride"
        text += "" if self.limit_mg_L is None else f" (limit {self.limit_mg_L:.0f}, {self.whose})"
        if self.needed_L is None:
            return f"{text}; the feed alone is past it: no draw-off mends that."
        if self.needed_L <= self.now_L * 1.001:
            return f"{text}; the {self.now_L:.1f} L drawn a day are enough."
        return (
            f"{text}; draw off {self.needed_L:.1f} L a day instead of {self.now_L:.1f}, as the manual says: boiling "
            "water and steam scald."
        )


def draw_offs(scenario: Scenario, candidate: Candidate) -> Iterator[DrawOff]:
    """For each machine whose share of steam is stated: what its boiler holds and what to draw off it."""
    for at in candidate.served:
        machine = at.machine
        if machine is None or not machine.steam_fraction:
            continue
        rows = at.water.chloride_mg_L.reshape(-1, at.water.chloride_mg_L.shape[-1])
        chloride = max(float(percentiles(row, scenario.weights)[1]) for row in rows)
        feed = float(mean(scenario.day_litres(at.branch.name)[0], scenario.weights))
        steam = feed * machine.steam_fraction
        limit, whose = _limit(machine)
        cycles = float(keyed("steam")["most_cycles"]["value"])
        if limit is not None and chloride > 0:
            cycles = min(cycles, limit / chloride)
        needed = steam / (cycles - 1) if cycles > 1 else None
        yield DrawOff(machine.name, machine.cycles, chloride * machine.cycles, limit, whose, feed - steam, needed)


def _limit(machine: MachineProfile) -> tuple[float | None, str]:
    if machine.chloride_max_mg_L is not None and machine.chloride_limit_at == "boiler":
        return machine.chloride_max_mg_L, "the machine's manual"
    if machine.wetted_metal == "stainless":
        grade = "304" if machine.stainless_grade == "unknown" else machine.stainless_grade
        return stainless_chloride_max_mg_L(grade, machine.temperature_C)[0], f"stainless {grade}"
    return None, ""
