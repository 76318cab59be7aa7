"""A decision does not turn on what an instrument cannot see: ``STABLE_WATERS`` sets how many (200 by hand).

Each measured input of a random water is moved by its own error, up and down, one at a time. The train (its media) may
change in fewer than a tenth of these cases, and where it does the plan had said before that a test of it might. As a
script it prints the figures: ``STABLE_WATERS=200 python tests/consistency/test_decisions_stable.py``.
"""

from __future__ import annotations

import os
import runpy
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from brewwater.plan import Plan, make_plan
from brewwater.planning.document import load_document
from brewwater.reports.instruments import instrument

AT = SimpleNamespace(**runpy.run_path(str(Path(__file__).parents[1] / "scenarios" / "recommend_scenarios.py")))
LAWS = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("test_decision_laws.py"))))
COUNT = int(os.environ.get("STABLE_WATERS", "3"))
DRINKS = (40, 120, 400)


@dataclass(frozen=True)
class Case:
    """One input moved: the trains before and after, and whether a test of it was said to be able to change them."""

    seed: int
    analyte: str
    moved: float
    before: tuple[str, ...]
    after: tuple[str, ...]
    said: bool


def planned(seed: int, values: dict[str, float]) -> Plan:
    drinks = DRINKS[seed % len(DRINKS)]
    made = AT.document(values, drinks=drinks, draws=128, disinfectant="free_chlorine").model_dump()
    made["unit"] = {"kind": "kiosk"}
    return make_plan(load_document(made))


def error(analyte: str, value: float) -> float:
    found = instrument(analyte, "report")
    return float(np.hypot(found.relative_sd * value, found.absolute_sd))


def moved(seed: int) -> Iterator[Case]:
    values = LAWS.random_water(seed)
    plan = planned(seed, values)
    before = AT.media(plan.candidate.stages)
    told = {t.analyte for t in plan.next_tests if t.changes > 0}
    for analyte in (a for a in values if a != "free_chlorine"):
        for sign in (-1, 1):
            step = sign * error(analyte, values[analyte])
            after = AT.media(planned(seed, values | {analyte: values[analyte] + step}).candidate.stages)
            yield Case(seed, analyte, step, before, after, analyte in told)


@cache
def cases(count: int) -> tuple[Case, ...]:
    return tuple(case for seed in range(count) for case in moved(seed))


def test_the_train_stays_where_an_input_moves_by_its_own_error() -> None:
    found = cases(COUNT)
    changed = [c for c in found if c.before != c.after]
    assert len(changed) < 0.1 * len(found) or COUNT < 20
    unsaid = [c for c in changed if not c.said]
    assert not unsaid, unsaid


if __name__ == "__main__":
    every = cases(COUNT)
    other = [c for c in every if c.before != c.after]
    print(f"{COUNT} waters, {len(every)} cases, {len(other)} other trains ({len(other) / len(every):.1%})")
    print(f"  of them not said before: {sum(not c.said for c in other)}")
    for c in other:
        print(f"  {c.seed} {c.analyte} {c.moved:+.3g}: {c.before} -> {c.after}{'' if c.said else '  NOT SAID'}")
