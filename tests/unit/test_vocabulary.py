"""Every code that a reader could meet has a word, in one module; its origin stands beside it."""

from __future__ import annotations

from typing import get_args

import pytest

from brewwater.changes.wear import Governs
from brewwater.log.entry import Kind as LogKind
from brewwater.log.entry import Method
from brewwater.output import vocabulary as words
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import demo_document, mobile_template
from brewwater.plumbing.parts import FixtureKind, UnitKind
from brewwater.plumbing.tree import NodeKind
from brewwater.reference import table
from brewwater.reports.analysis import Disinfectant
from brewwater.treatment.stage import Medium, Stage
from brewwater.verdicts.machine import Kind as MachineKind
from brewwater.verdicts.machine import LineMaterial, Metal
from brewwater.verdicts.measure import Status, Subject

CODES = [
    (words.STATUS, get_args(Status)),
    (words.SUBJECT, get_args(Subject)),
    (words.MEDIA, get_args(Medium)),
    (words.GOVERNS, get_args(Governs)),
    (words.METHODS, get_args(Method)),
    (words.LOG, get_args(LogKind)),
    (words.DISINFECTANTS, get_args(Disinfectant)),
    (words.PARTS, get_args(NodeKind)),
    (words.FIXTURES, get_args(FixtureKind)),
    (words.UNIT_KINDS, get_args(UnitKind)),
    (words.MACHINES, get_args(MachineKind)),
    (words.METALS, get_args(Metal)),
    (words.LINES, get_args(LineMaterial)),
    (words.RULES, [row["key"] for row in table("waste_tank_rules")]),
    (words.EDITIONS, [row["edition"] for row in table("targets")]),
    (words.SALTS, [row["key"] for row in table("salts")]),
    (words.DRINKS, [row["key"] for row in table("drink_water")]),
    (words.MEASURES, [row["measure"] for row in table("flip_tests") if row["measure"] != "safety"]),
]


@pytest.mark.parametrize(("group", "codes"), CODES, ids=[g.name for g, _ in CODES])
def test_every_code_has_a_word(group: words.Group, codes: list[str]) -> None:
    assert set(codes) <= set(group)


def test_no_word_is_a_code() -> None:
    for group in words.GROUPS:
        for word in group.values():
            assert "_" not in word.text + word.inside, word
            assert word.text and word.origin in ("standard", "trade", "plain")
    for table_ in (words.DOES, words.TAKES):
        assert set(table_) == set(get_args(Medium))


@pytest.fixture(scope="module")
def plan() -> Plan:
    return make_plan(demo_document(), search=False, train=[Stage(name="Reverse osmosis", medium="reverse_osmosis")])


def test_checks_and_measures_of_a_plan_have_words(plan: Plan) -> None:
    mobile = make_plan(mobile_template(), search=False)
    for one in (plan, mobile):
        assert one.candidate.checks
        assert {c.check for c in one.candidate.checks} <= set(words.CHECKS)
        found = {
            m.name for v in (*one.source_verdicts, *one.candidate.verdicts) if v.subject != "safety" for m in v.measures
        }
        assert found <= set(words.MEASURES)


def test_a_stage_is_called_by_its_word_or_its_owners_name() -> None:
    assert words.stage_name(Stage(name="Reverse osmosis", medium="reverse_osmosis")) == "Membrane"
    assert words.stage_part(Stage(name="Sediment filter", medium="sediment")) == "sediment filter"
    assert words.stage_name(Stage(name="Blue housing", medium="sediment")) == "Blue housing"


def test_an_inhibitor_ahead_of_a_membrane_is_told_as_its_guard() -> None:
    hold, membrane = (Stage(name=m, medium=m) for m in ("scale_inhibitor", "reverse_osmosis"))
    ahead, alone = words.told_of((hold, membrane), 0), words.told_of((membrane, hold), 1)
    assert "membrane" in ahead[1]
    assert "boiler" not in " ".join(ahead)  # no boiler meets it
    assert alone == (words.TAKES["scale_inhibitor"], words.DOES["scale_inhibitor"], words.CARE["scale_inhibitor"])
    assert "steam boiler" in alone[2]
