"""The panel: waters and what a good specialist would do with each, as data with the reason beside it.

Common practice, no source. What a row neither asks for nor forbids is allowed. ``only`` is the train behind the
sediment filter and the carbon; ``first_of`` are trains of which one must be chosen and the others listed.
"""

from __future__ import annotations

import re
import runpy
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from brewwater.plan import Plan, make_plan
from brewwater.planning.document import load_document
from brewwater.planning.search import cost_over_years
from brewwater.planning.steam import draw_offs
from brewwater.treatment.classes import SIZES

AT = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("recommend_scenarios.py"))))
CARBON = ("sediment", "carbon")
GOOD = {"total_hardness": 75, "alkalinity": 55, "total_dissolved_solids": 130, "chloride": 10, "ph": 7.4}
HARD = {"total_hardness": 205, "alkalinity": 154, "total_dissolved_solids": 310}
STEAM = {"total_hardness": 120, "calcium": 36, "alkalinity": 100, "chloride": 45, "ph": 7.5}
STEAMER = {"boiler_temperature_C": 120, "steam_fraction": 0.8, "chloride_max_mg_L": 50}
CHLORAMINE = {"total_hardness": 70, "alkalinity": 50, "total_chlorine": 3.0, "free_chlorine": 0.1}
IRON = {"total_hardness": 220, "alkalinity": 200, "iron": 0.6, "manganese": 0.12, "ph": 7.2}


@dataclass(frozen=True)
class Row:
    """One water, one use and what is required and never; ``why`` is the panel's own reason.

    served, bypass : medium of the served water and of the train's bypass that must lie between two figures
    worst : no verdict of the served water on this subject may be worse
    behind : kinds of fixture hung behind the filters; ``like``: the row without them, whose kind of train it keeps
    hot_scale : the water as it comes is out of goal in what drops out of it when heated, and the verdict on the
        served water names that
    """

    id: str
    water: Mapping[str, float]
    why: str
    drinks: float = 120
    facts: Mapping[str, Any] = field(default_factory=lambda: {"disinfectant": "free_chlorine"})
    machine: Mapping[str, Any] = field(default_factory=dict)
    unit: Mapping[str, Any] = field(default_factory=dict)
    weekdays: tuple[str, ...] = ()
    train: tuple[str, ...] | None = None
    one_of: tuple[tuple[str, ...], ...] = ()
    listed: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    served: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    bypass: tuple[float, float] | None = None
    worst: Mapping[str, str] = field(default_factory=dict)
    warns: tuple[str, ...] = ()
    unwarned: tuple[str, ...] = ()
    governed: str | None = None
    behind: tuple[str, ...] = ()
    like: str | None = None
    hot_scale: bool = False


WEAK, MEMBRANE, MINERALS = "weak_acid", "reverse_osmosis", "mineral_dose"
DEEP = ("softening", MEMBRANE)
ROWS = (
    Row("good", GOOD, "inside every goal: leave it alone", 90, train=CARBON),
    Row(
        "good-2",
        {"total_hardness": 62, "alkalinity": 46, "total_dissolved_solids": 118, "chloride": 12},
        "a goal is a goal, not its middle",
        train=CARBON,
    ),
    Row("zero", GOOD, "nothing is served", 0, train=()),
    Row(
        "few",
        GOOD,
        "small cartridges; time governs",
        12,
        weekdays=("wed", "thu", "fri", "sat"),
        train=CARBON,
        governed="time",
    ),
    Row(
        "hard-alk",
        {"total_hardness": 290, "alkalinity": 240, "total_dissolved_solids": 420},
        "the classic",
        one_of=((WEAK,),),
        bypass=(15, 35),
        served={"alkalinity": (45, 75)},
    ),
    Row(
        "hard-alk-ph",
        {**HARD, "ph": 7.6},
        "a pH between 7 and 8.3 must not turn the decision; a CO2-rich line asks for non-metallic pipe",
        one_of=((WEAK,),),
        bypass=(20, 45),
        never=("mixed_bed",),
        warns=("carbon_dioxide_in_brass",),
    ),
    Row("hard-alk-no-ph", HARD, "the same train without a pH", one_of=((WEAK,),), bypass=(20, 45)),
    Row(
        "very-hard",
        {"total_hardness": 420, "alkalinity": 330, "total_dissolved_solids": 620, "chloride": 25},
        "the cup's floor before the last grain of hardness; both ways are told",
        200,
        one_of=((WEAK,), DEEP, (*DEEP, MINERALS)),
        listed=(WEAK, "softening reverse_osmosis"),
        served={"alkalinity": (35, 75)},
    ),
    Row(
        "permanent",
        {
            "total_hardness": 280,
            "alkalinity": 45,
            "sulfate": 210,
            "chloride": 25,
            "total_dissolved_solids": 520,
        },
        "no buffer to take: a membrane with blend",
        one_of=((MEMBRANE,), (MEMBRANE, MINERALS), DEEP, (*DEEP, MINERALS)),
        never=(WEAK,),
        served={"alkalinity": (35, 75)},
    ),
    Row(
        "soft",
        {"total_hardness": 34, "alkalinity": 34, "chloride": 8, "total_dissolved_solids": 60},
        "minerals for the cup may not cost the metal",
        one_of=((), (MINERALS,)),
        listed=(MINERALS,),
        never=(WEAK, "softening", "calcium_to_magnesium", "chloride_anion"),
        worst={"corrosion": "unknown"},
    ),
    Row(
        "chloride",
        {
            "total_hardness": 180,
            "alkalinity": 120,
            "chloride": 250,
            "sodium": 140,
            "total_dissolved_solids": 700,
        },
        "only a membrane (or anion bed) takes chloride",
        150,
        one_of=((MEMBRANE, MINERALS), (*DEEP, MINERALS), ("other_water",)),
        never=(),
        served={"chloride": (0, 50)},
    ),
    Row("chloride-28", {**GOOD, "chloride": 28}, "no cliff at a goal's edge", 90, train=CARBON),
    Row(
        "chloride-32",
        {**GOOD, "chloride": 32},
        "no cliff at a goal's edge",
        90,
        train=CARBON,
        worst={"corrosion": "watch"},
    ),
    Row(
        "iron",
        IRON,
        "fouling: iron is taken out first, at base, or another supply is filled; germs are tested before",
        facts={"disinfectant": "none", "kind": "well"},
        warns=("untested_well",),
        one_of=(("iron_manganese", WEAK), ("iron_manganese", MEMBRANE), ("iron_manganese",), ("other_water",)),
    ),
    Row(
        "chloramine",
        CHLORAMINE,
        "the limit must not come from its own assumption; larger or two in series if short",
        200,
        facts={"disinfectant": "chloramine"},
        train=("sediment", "catalytic_carbon", "catalytic_carbon"),
    ),
    Row(
        "house-softened",
        {"total_hardness": 28, "alkalinity": 245, "sodium": 120, "total_dissolved_solids": 380},
        "sodium bicarbonate water: ask for the tap before the softener, else a membrane",
        one_of=((MEMBRANE,), (MEMBRANE, MINERALS)),
        never=(WEAK, "softening"),
        warns=("house_softener",),
    ),
    Row(
        "gypsum",
        {"total_hardness": 400, "alkalinity": 60, "sulfate": 300, "total_dissolved_solids": 700},
        "permanent hardness: a membrane after softening or at low recovery, gypsum warned",
        one_of=(DEEP, (*DEEP, MINERALS), (MEMBRANE,), (MEMBRANE, MINERALS)),
        never=(WEAK, "scale_inhibitor"),
    ),
    Row(
        "hopeless",
        {"total_hardness": 1500, "alkalinity": 300, "total_dissolved_solids": 3000, "chloride": 1200},
        "nothing aboard mends it: fill elsewhere or haul, priced",
        one_of=(("other_water",),),
        warns=("other_water",),
    ),
    Row(
        "lime-softened",
        {
            "total_hardness": 175,
            "alkalinity": 109,
            "ph": 8.85,
            "sulfate": 116,
            "chloride": 26,
            "sodium": 52,
            "total_dissolved_solids": 417,
        },
        "pH falls in the cup by itself: no acid for the pH alone",
        one_of=((WEAK,), (MEMBRANE,), (MEMBRANE, MINERALS)),
        hot_scale=True,
    ),
    Row(
        "steam",
        STEAM,
        "chloride in the boiler is told, and what to draw off",
        150,
        machine=STEAMER,
        warns=("boiler_draw_off",),
    ),
    Row(
        "recovery",
        {"total_hardness": 205, "alkalinity": 100},
        "an edge, not a wall: recovery is searched",
        listed=(MEMBRANE,),
    ),
    Row(
        "shop",
        {"total_hardness": 300, "alkalinity": 250},
        "a shop has a drain: a regenerating softener, weak acid and a membrane are compared",
        400,
        unit={"kind": "shop"},
        one_of=((WEAK,), (MEMBRANE,), DEEP, (*DEEP, MINERALS)),
        listed=(WEAK, "softening", MEMBRANE),
    ),
    Row("big-flow", GOOD, "size before chemistry", 90, behind=("rinser", "sink"), like="good"),
    Row(
        "big-flow-hard",
        {"total_hardness": 290, "alkalinity": 240, "total_dissolved_solids": 420},
        "size before chemistry",
        behind=("rinser", "sink"),
        like="hard-alk",
    ),
)


def _document(row: Row, draws: int = 64) -> Any:
    values = dict(row.water)
    if row.facts["disinfectant"] == "free_chlorine":
        values.setdefault("free_chlorine", 0.5)
    made = AT.document(values, drinks=row.drinks, draws=draws, **row.facts).model_dump()
    made["machines"][0].update(row.machine)
    made["unit"].update(row.unit)
    if row.weekdays:
        made["demand"]["calendar"]["weekdays"] = list(row.weekdays)
    for branch in made["branches"]:
        branch["filtered"] |= branch["kind"] in row.behind
    return load_document(made)


@cache
def _plan(row_id: str) -> Plan:
    return make_plan(_document(next(r for r in ROWS if r.id == row_id)))


def _aside(stages: Any) -> tuple[str, ...]:
    return tuple(m for m in AT.media(stages) if m not in {"sediment", "carbon", "catalytic_carbon"})


def _shown(made: Plan) -> str:
    return f"{AT.media(made.candidate.stages)} {AT.served(made)} {sorted(AT.codes(made))}"


@pytest.mark.parametrize("row", ROWS, ids=lambda r: r.id)
def test_the_panel(row: Row) -> None:
    made = _plan(row.id)
    media, shown = AT.media(made.candidate.stages), _shown(made)
    if row.train is not None:
        assert media == row.train, shown
    first = ("other_water",) if "other_water" in AT.codes(made) else _aside(made.candidate.stages)
    if row.one_of:
        assert first in row.one_of, shown
    names = [" ".join(_aside(a.candidate.stages)) for a in made.alternatives]
    for wanted in row.listed:
        assert any(n.startswith(wanted) for n in names), names
    assert not set(row.never) & set(media), shown
    water = AT.served(made)
    for quantity, (low, high) in row.served.items():
        assert low <= water[quantity] <= high, shown
    if row.bypass:
        assert row.bypass[0] <= max(s.bypass_percent for s in made.candidate.stages) <= row.bypass[1], shown
    rank = ("ok", "unknown", "watch", "act", "stop")
    for subject, worst in row.worst.items():
        assert rank.index(AT.verdict(made.candidate.verdicts, subject).status) <= rank.index(worst), shown
    assert set(row.warns) <= AT.codes(made), shown
    if row.governed:
        assert {life.governs for life in made.candidate.calendar.lives.values()} == {row.governed}, shown
    if row.hot_scale:
        as_it_comes = AT.measure(AT.verdict(made.source_verdicts, "scale"), "hot_ccpp")
        assert as_it_comes.status in {"watch", "act"}, as_it_comes
        assert "calcite that drops out at 93 °C" in AT.verdict(made.candidate.verdicts, "scale").why
    if row.like:
        assert media == AT.media(_plan(row.like).candidate.stages), shown


@pytest.mark.parametrize("row", [r for r in ROWS if r.behind], ids=lambda r: r.id)
def test_a_rinser_behind_the_filters_is_moved_before_a_size_is_paid_for(row: Row) -> None:
    twin = next(r for r in ROWS if r.id == row.like)
    behind, before = _plan(row.id), _plan(twin.id)
    assert behind.warnings[0].code == "rinse_behind_filters"
    told = behind.warnings[0].message
    assert "Behind the filters hang: Pitcher rinser, Three-basin sink. Hang them before the filters first" in told
    assert "rinse_behind_filters" not in AT.codes(before)
    steps = [
        (SIZES.index(a.size), SIZES.index(b.size))
        for a, b in zip(before.candidate.stages, behind.candidate.stages, strict=True)
    ]
    assert all(small <= large for small, large in steps) and any(small < large for small, large in steps)
    flows = [c for c in behind.candidate.checks if c.check == "cartridge_flow"]
    assert len(flows) == len(steps) and all(c.ok for c in flows)
    # with free water all that the move saves is what the same kind of train costs less in smaller sizes
    free = {"money": {"prices": {"water_gal": 0}}}
    kind = AT.media(before.candidate.stages)
    plans = (make_plan(load_document({**_document(r).model_dump(), **free})) for r in (row, twin))
    dear, cheap = (
        next(cost_over_years(p.scenario, a) for a in p.alternatives if AT.media(a.candidate.stages) == kind)
        for p in plans
    )
    priced = re.search(r"cost \$([\d,]+) a year", told)
    assert priced is not None, told
    assert float(priced[1].replace(",", "")) == pytest.approx(dear - cheap, rel=0.1)


def test_the_ranking_stands_behind_the_stop_and_the_limit() -> None:
    assert _plan("iron").alternatives[0].why.startswith("Not before the stop on safety of Mill Street is lifted.")
    assert _plan("hopeless").alternatives[0].why.startswith("No train here brings this water within the limits")


def _scale_g(share: float) -> float:
    made = _document(next(r for r in ROWS if r.id == "steam"), draws=16).model_dump()
    made["machines"][0]["steam_fraction"] = share
    plan = make_plan(load_document(made), search=False)
    lines = {line.name: float(line.amount) for line in plan.candidate.cost.lines}
    return lines["Descaling"]


def test_scale_grows_with_the_share_of_steam() -> None:
    laid = [_scale_g(share) for share in (0.0, 0.5, 0.95)]
    assert laid[0] < laid[1] < laid[2]


def test_what_a_boiler_holds_and_what_to_draw_off() -> None:
    """By hand: cycles 1 / (1 - 0.8) = 5, so 45 mg/L of chloride in is 225; at 3 cycles B = E / (C - 1) = E / 2."""
    document = _document(next(r for r in ROWS if r.id == "steam"), draws=16)
    made = make_plan(document.model_copy(update={"train": ()}), search=False)
    (told,) = draw_offs(made.scenario, made.candidate)
    feed = float(np.mean(made.scenario.day_litres("Espresso machine")[0]))
    assert told.cycles == pytest.approx(5)
    assert told.chloride_mg_L == pytest.approx(225, rel=0.02)
    assert told.now_L == pytest.approx(0.2 * feed, rel=0.02)
    assert told.needed_L == pytest.approx(0.8 * feed / 2, rel=0.02)
    assert "scald" in told.note


def test_more_drinks_never_buy_worse_water() -> None:
    hard = next(r for r in ROWS if r.id == "hard-alk")
    served = [AT.served(make_plan(_document(replace(hard, drinks=d), draws=32))) for d in (60, 500, 5000)]
    assert all(after["hardness"] <= before["hardness"] + 2 for before, after in pairwise(served))
    assert all(after["hardness"] <= 120 for after in served)
