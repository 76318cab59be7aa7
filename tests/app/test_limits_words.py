"""A limit says which way it lies, and a date says how much of a capacity it counts on."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

import brewwater.plumbing
from brewwater.changes import Policy
from brewwater.output.result import summary
from brewwater.plumbing import Check
from brewwater.web.pages.branches import _fails_above
from brewwater.web.widgets import facts
from brewwater.web.widgets.words import bound


def names_of_checks() -> set[str]:
    """Every first argument of ``Check(...)`` and ``settled(...)`` in the code of the branches."""
    found = set()
    for file in Path(brewwater.plumbing.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("Check", "settled"):
                found |= {a.value for a in node.args[:1] if isinstance(a, ast.Constant)}
    return found


def test_every_check_knows_which_way_its_limit_lies() -> None:
    names = names_of_checks()
    assert {"pump_flow", "velocity", "tongue"} <= names
    unsaid = {n for n in names - {"tongue"} if bound(n, "1").startswith("near")}
    assert not unsaid


@pytest.mark.parametrize(
    ("value", "limit", "ok", "words"),
    [
        (0.08, 0.1, False, "at least"),
        (0.12, 0.1, True, "at least"),
        (0.2, 0.15, False, "at most"),
        (0.14, 0.15, True, "at most"),
    ],
)
def test_of_two_limits_the_nearer_is_told(value: float, limit: float, ok: bool, words: str) -> None:
    check = Check("tongue", value, limit, "1", ok, "s", "w")
    assert bound("tongue", "x", fails_above=_fails_above(check)) == f"{words} x"


def test_a_word_and_its_verdict_agree(ready) -> None:
    for check in next(iter(ready.desk.extra["found"].values())).candidate.checks:
        if check.ok is None or check.limit is None or check.value is None or check.check == "mains_pressure":
            continue
        said = bound(check.check, "", fails_above=_fails_above(check))
        holds = check.value >= check.limit - 1e-9 if "least" in said else check.value <= check.limit + 1e-9
        assert holds == check.ok, check
    ready.go("tanks")
    assert "(must be at least " in ready.html() or "(must be at most " in ready.html()


def test_used_up_is_explained_on_the_page_and_in_the_text(ready, found) -> None:
    assert "Used up means 80 % of the capacity: 20 % stays in hand." in ready.html()
    assert "count on 80 % of each capacity" in summary(found)

    class Scenario:
        def __init__(self, policy: Policy) -> None:
            self.document = type("D", (), {"policy": policy})()

    assert "nothing in hand" in facts.counted_on(Scenario(Policy(margin=1.0)))
    assert "10 % risk" in facts.counted_on(Scenario(Policy(risk=0.1)))
