"""The terminal: one screen in words, the same figures as the plan, plain where it is piped."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from brewwater.output import vocabulary
from brewwater.output.answer import answer
from brewwater.output.numbers import Words
from brewwater.output.terminal import text
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import PlanDocument, demo_document, mobile_template


def few(document: PlanDocument, **more: object) -> PlanDocument:
    settings = document.settings.model_copy(update={"draws": 64})
    return document.model_copy(update={"settings": settings, **more})


@pytest.fixture(scope="module")
def demo() -> Plan:
    return make_plan(few(demo_document()), search=False, train=())


@pytest.mark.parametrize("metric", [False, True])
@pytest.mark.parametrize("document", [demo_document(), mobile_template()], ids=["demo", "mobile"])
def test_a_screen_holds_it(document: PlanDocument, metric: bool) -> None:
    long = few(document, name="The Old Harbour Coffee Cart and Trailer Company of Greater Saltmarsh " * 1)
    told = text(answer(make_plan(long, search=False), Words(metric)))
    assert len(told.splitlines()) <= 24
    assert max(map(len, told.splitlines())) <= 80
    for wanted in ("Buy", "Change", "Money", "Cup", "Scale", "Corrosion", "Safe?"):
        assert re.search(rf"^{re.escape(wanted)}", told, re.M), wanted


def test_no_code_word_and_no_hash(demo: Plan) -> None:
    told = text(answer(demo, Words()))
    assert "_" not in told
    assert demo.stamp not in told
    codes = {key for group in vocabulary.GROUPS for key in group if "_" in key}
    assert not [c for c in codes if c in told]


def test_the_figures_are_the_plans(demo: Plan) -> None:
    told = text(answer(demo, Words()))
    assert f"${float(demo.candidate.cost.expected):,.0f} a year" in told
    for name in ("Chalkworth", "Saltmarsh End"):
        assert name in told
    row = next(line for line in told.splitlines() if line.startswith("Hardness"))
    raw = [s.hardness_mg_L_as_CaCO3 for s in demo.scenario.supply_waters]
    for water in raw:
        middle = sorted(water)[len(water) // 2] / 17.118
        assert any(abs(float(x) - middle) < 0.35 for x in re.findall(r"[\d.]+", row)), (row, middle)


def test_letters_that_a_terminal_lacks_are_replaced(demo: Plan) -> None:
    text(answer(demo, Words()), ascii_only=True).encode("ascii")


def test_piped_it_is_plain(tmp_path: Path) -> None:
    document = tmp_path / "unit.json"
    document.write_text(few(demo_document(), train=()).to_json(), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "brewwater", "plan", str(document)], capture_output=True, text=True, check=True
    )
    assert "\x1b" not in done.stdout
    assert len(done.stdout.splitlines()) <= 24
    assert "$" in done.stdout
