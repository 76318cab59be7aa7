"""No step of the chain runs twice on equal inputs in one plan; only the log's correction repeats it, on other draws."""

from __future__ import annotations

import sys
from collections import defaultdict
from collections.abc import Callable
from typing import Any

import pytest

from brewwater import plan as story
from brewwater.log.entry import make_reading
from brewwater.planning.document import demo_document

STEPS = {"route": 3, "prepare": 2, "evaluate": 2, "calendar_of": 2}  # the name, and how many arguments make its input


_kept: list[Any] = []  # so that no address is given out twice


def _inputs(values: tuple[Any, ...], count: int) -> tuple[str, ...]:
    found = []
    for value in values[:count]:
        if hasattr(value, "fingerprint"):
            found.append(value.fingerprint())
        elif hasattr(value, "weights") or hasattr(value, "span"):  # a scenario, or draws
            _kept.append(value)
            found.append(str(id(value)))
        else:
            found.append(repr(value))
    return tuple(found)


@pytest.fixture
def counted(monkeypatch: pytest.MonkeyPatch) -> dict[tuple[str, ...], list[str]]:
    """Every call of a step, by its name and inputs, with who called it."""
    calls: dict[tuple[str, ...], list[str]] = defaultdict(list)

    def counting(name: str, step: Callable[..., Any]) -> Callable[..., Any]:
        def call(*values: Any, **more: Any) -> Any:
            calls[name, *_inputs(values, STEPS[name])].append(sys._getframe(1).f_code.co_qualname)
            return step(*values, **more)

        return call

    for name, module in list(sys.modules.items()):
        if name.startswith("brewwater.plan"):
            for step in STEPS:
                function = vars(module).get(step)
                if callable(function) and getattr(function, "__module__", "").startswith("brewwater.planning"):
                    monkeypatch.setattr(module, step, counting(step, function))
    return calls


@pytest.mark.parametrize("readings", [0, 3], ids=["no log", "a log"])
def test_no_step_runs_twice_on_equal_inputs(readings: int, counted: dict[tuple[str, ...], list[str]]) -> None:
    demo = demo_document()
    start = demo.demand.calendar.start
    lines = [
        make_reading({"date": start.replace(day=28), "kind": "hardness", "value": 200 + n, "unit": "mg/L", "where": "source"})
        for n in range(readings)
    ]  # fmt: skip
    small = demo.settings.model_copy(update={"draws": 128})
    story.make_plan(demo.model_copy(update={"readings": tuple(lines), "settings": small}))
    assert len(counted) > 10  # the steps were really watched
    twice = {key[0]: who for key, who in counted.items() if len(who) > 1}
    assert twice == {}
