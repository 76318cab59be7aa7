"""Order rules at their limits, and the trains beside which each rule must be silent."""

from __future__ import annotations

import math
from typing import Any

import pytest

from brewwater.treatment import BrokenRule, Context, DataSheet, Dose, Stage, order_problems
from brewwater.treatment.order import membrane_left, membrane_life

FREE, AMINE, NONE = (Context(disinfectant=d) for d in ("free_chlorine", "chloramine", "none"))  # type: ignore[arg-type]


def train(*media: str, **bypass: float) -> tuple[Stage, ...]:
    return tuple(Stage(name=m, medium=m, bypass_percent=bypass.get(m, 0)) for m in media)  # type: ignore[arg-type]


def problem(stages: tuple[Stage, ...], context: Context, code: str) -> BrokenRule | None:
    return next((p for p in order_problems(stages, context) if p.code == code), None)


def water(hard: float | None, alkaline: float | None, **more: Any) -> Context:
    return Context(disinfectant="none", hardness_mg_L_as_CaCO3=hard, alkalinity_mg_L_as_CaCO3=alkaline, **more)


MEMBRANE = train("sediment", "carbon", "reverse_osmosis")


@pytest.mark.parametrize(
    ("stages", "context", "code", "broken"),
    [
        # a stage behind the membrane does not shield it
        (train("carbon", "reverse_osmosis", "sediment"), FREE, "membrane_without_sediment", True),
        # any share that goes round counts, and no share does not
        (train("carbon", carbon=0.5), FREE, "carbon_bypassed", True),
        (train("carbon", carbon=20), NONE, "carbon_bypassed", False),
        (train("carbon", "blend", blend=0.5), FREE, "blend_not_dechlorinated", True),
        (train("carbon", "blend"), FREE, "blend_not_dechlorinated", False),
        (train("blend", blend=20), NONE, "blend_not_dechlorinated", False),
        (train("mixed_bed", mixed_bed=0.5), FREE, "blend_not_dechlorinated", True),
        (train("mixed_bed"), FREE, "blend_not_dechlorinated", False),
        # chloride at the limit itself is within it
        (train("softening"), Context(chloride_mg_L=30), "no_cure_for_chloride", False),
        (train("softening"), Context(chloride_mg_L=31), "no_cure_for_chloride", True),
        # what a resin needs of its water
        (train("weak_acid"), water(120, 60), "low_alkalinity", False),
        (train("weak_acid"), water(120, 59.9), "low_alkalinity", True),
        (train("weak_acid"), water(160, 80), "permanent_hardness", False),
        (train("weak_acid"), water(161, 80), "permanent_hardness", True),
        (train("weak_acid"), water(80, 160), "sodium_alkalinity", False),
        (train("weak_acid"), water(80, 161), "sodium_alkalinity", True),
        (train("weak_acid"), water(None, 20), "low_alkalinity", False),
        (train("weak_acid"), water(200, None), "low_alkalinity", False),
        (train("softening"), water(50, 60), "already_soft", False),
        (train("softening"), water(49.9, 60), "already_soft", True),
        (train("weak_acid", "reverse_osmosis"), water(280, 45), "low_alkalinity", True),
        (train("reverse_osmosis", "weak_acid"), water(280, 45), "low_alkalinity", False),
        (train("reverse_osmosis", "calcite", "softening"), water(20, 45), "already_soft", False),
        (train("softening", "reverse_osmosis"), NONE, "pointless_stage", False),
        # an inhibitor whose phosphate is taken out, and one whose is not
        (train("scale_inhibitor", "mixed_bed"), NONE, "pointless_stage", True),
        (train("softening", "scale_inhibitor", "reverse_osmosis"), NONE, "pointless_stage", True),
        (train("scale_inhibitor", "reverse_osmosis"), NONE, "pointless_stage", False),
        (train("scale_inhibitor", "carbon"), NONE, "pointless_stage", False),
        # minerals before what takes them out
        (train("calcite", "mixed_bed"), NONE, "minerals_removed_again", True),
        # brass: a bed that nothing passes, blended water and minerals right after it spare it
        (train("weak_acid", weak_acid=100), Context(brass_after_treatment=True), "carbon_dioxide_in_brass", False),
        (train("mixed_bed", mixed_bed=100), Context(brass_after_treatment=True), "demineralised_in_brass", False),
        (train("mixed_bed", mixed_bed=0.5), Context(brass_after_treatment=True), "demineralised_in_brass", False),
        (train("mixed_bed", "calcite"), Context(brass_after_treatment=True), "demineralised_in_brass", False),
        (train("mixed_bed", "carbon"), Context(brass_after_treatment=True), "demineralised_in_brass", True),
        (train("calcite", "mixed_bed"), Context(brass_after_treatment=True), "demineralised_in_brass", True),
    ],
)
def test_a_rule_at_its_limit(stages: tuple[Stage, ...], context: Context, code: str, broken: bool) -> None:
    assert (problem(stages, context, code) is not None) is broken


def concentrate(feed_index: float) -> Context:
    """A feed of this calcite index; all ions but CO2 rejected, so that it rises by three logs of the factor."""
    return Context(concentrate_calcite=lambda recovery: (feed_index - 3 * math.log10(1 - recovery), 9.0))


@pytest.mark.parametrize(
    ("stages", "context", "broken"),
    [
        # recovery a quarter, as usual: 0.375 more in the concentrate, refused above 1.05
        (MEMBRANE, concentrate(0.87), False),
        (MEMBRANE, concentrate(0.88), True),
        (MEMBRANE, Context(), False),
        (train("softening", "reverse_osmosis"), concentrate(2.0), False),
        (train("weak_acid", "reverse_osmosis"), concentrate(2.0), False),
        (train("reverse_osmosis", "softening"), concentrate(2.0), True),
        (train("scale_inhibitor", "reverse_osmosis"), concentrate(1.22), False),
        (train("scale_inhibitor", "reverse_osmosis"), concentrate(1.23), True),
        (train("softening", "carbon"), concentrate(2.0), False),
    ],
)
def test_a_membrane_scales_by_its_concentrate(stages: tuple[Stage, ...], context: Context, broken: bool) -> None:
    found = problem(stages, context, "membrane_scales")
    assert (found is not None and not found.advice) is broken
    if found is not None:
        assert found.stage == "reverse_osmosis"


def test_an_edge_not_a_wall() -> None:
    """Above saturation a shorter life and a warning, up to the index at which it is refused."""
    warned = problem(MEMBRANE, concentrate(0.45), "membrane_scales")
    assert warned is not None
    assert warned.advice
    assert "about 57 % of its life" in warned.message  # 0.2 to the power 0.225 / 0.65
    assert problem(MEMBRANE, concentrate(0.2), "membrane_scales") is None
    assert [membrane_life(x) for x in (-1.0, 0.6, 0.825, 1.05, 2.0)] == pytest.approx(
        [1, 1, 0.2 ** (9 / 26), 0.2 ** (9 / 13), 0.2 ** (28 / 13)]
    )


def test_what_spares_a_membrane_stands_before_it_and_is_passed() -> None:
    index = concentrate(0.875).concentrate_calcite  # 1.25 at the usual recovery
    assert index is not None
    for media, left in (
        (("reverse_osmosis",), 0.2),
        (("scale_inhibitor", "reverse_osmosis"), 1.0),
        (("softening", "reverse_osmosis"), 1.0),
        (("reverse_osmosis", "softening"), 0.2),
        (("carbon", "reverse_osmosis"), 0.2),
    ):
        stages = train(*media)
        membrane = next(s for s in stages if s.medium == "reverse_osmosis")
        assert membrane_left(stages, membrane, index) == pytest.approx(left, rel=0.01)
    passed = train("scale_inhibitor", "reverse_osmosis", scale_inhibitor=100)
    assert membrane_left(passed, passed[1], index) == pytest.approx(0.2, rel=0.01)


def test_more_recovery_scales_a_membrane_sooner() -> None:
    half = (Stage(name="membrane", medium="reverse_osmosis", recovery=0.5),)
    found = problem(half, concentrate(0.4), "membrane_scales")
    assert found is not None
    assert not found.advice
    assert "At 50 % recovery the calcite index of the concentrate is +1.30 (limit +1.25)" in found.message
    assert problem(half, concentrate(-0.4), "membrane_scales") is None
    lower = problem(MEMBRANE, concentrate(0.4), "membrane_scales")
    assert lower is not None
    assert lower.advice


@pytest.mark.parametrize(
    ("stages", "iron", "manganese", "broken"),
    [
        (("reverse_osmosis",), 0.11, 0.0, True),
        (("reverse_osmosis",), 0.0, 0.06, True),
        (("reverse_osmosis",), 0.09, 0.04, False),
        (("weak_acid",), 0.29, 0.0, False),
        (("softening",), 0.25, 0.06, True),
        (("mixed_bed",), 0.6, 0.1, True),
        (("iron_manganese", "reverse_osmosis"), 0.6, 0.1, False),
        (("carbon",), 0.6, 0.1, False),
    ],
)
def test_iron_comes_out_before_what_it_fouls(
    stages: tuple[str, ...], iron: float, manganese: float, broken: bool
) -> None:
    found = problem(train(*stages), Context(iron_mg_L=iron, manganese_mg_L=manganese), "iron_fouls")
    assert (found is not None) is broken


def test_iron_media_want_a_ph_and_a_drain() -> None:
    aboard = problem(train("iron_manganese"), Context(on_board=True, ph=7.2), "iron_media_at_base")
    assert aboard is not None and aboard.advice
    assert problem(train("iron_manganese"), Context(on_board=False), "iron_media_at_base") is None
    sour = problem(train("iron_manganese"), Context(ph=6.6), "iron_media_ph")
    assert sour is not None and not sour.advice


def test_messages_name_what_is_reached_and_how_much() -> None:
    bypassed = train("sediment", "carbon", carbon=20)
    to_cup = problem(bypassed, FREE, "carbon_bypassed")
    assert to_cup is not None
    assert "cup" in to_cup.message
    named = Stage(name="thin film", medium="reverse_osmosis")
    to_membrane = problem((*bypassed, named), FREE, "carbon_bypassed")
    assert to_membrane is not None
    assert "thin film" in to_membrane.message
    permanent = problem(train("weak_acid"), water(280, 100), "permanent_hardness")
    assert permanent is not None
    assert "Of 280 mg/L hardness 180 is permanent" in permanent.message
    sodium = problem(train("weak_acid"), water(100, 280), "sodium_alkalinity")
    assert sodium is not None
    assert sodium.message.startswith("180 mg/L of the alkalinity is sodium bicarbonate")


def test_an_empty_train_leaves_chloramine_and_names_no_stage() -> None:
    assert [(p.code, p.stage) for p in order_problems((), AMINE)] == [("chloramine_not_treated", "")]


def test_fifty_microns_is_a_strainer() -> None:
    on_suction = Context(before_pump=frozenset({"strainer"}))
    for micron, broken in ((50.0, False), (49.0, True), (None, True)):
        stage = Stage(name="strainer", medium="sediment", sheet=DataSheet(micron=micron))
        assert (problem((stage,), on_suction, "fine_media_on_suction") is not None) is broken


def test_hard_water_makes_a_resin_advice_beside_chloride() -> None:
    for hard, advice in ((None, False), (120.0, False), (121.0, True)):
        found = problem(
            train("softening"), Context(chloride_mg_L=95, hardness_mg_L_as_CaCO3=hard), "no_cure_for_chloride"
        )
        assert found is not None
        assert found.advice is advice


def test_carbon_dioxide_in_brass_is_advice_and_demineralised_water_is_not() -> None:
    brass = Context(brass_after_treatment=True)
    acid = problem(train("weak_acid"), brass, "carbon_dioxide_in_brass")
    bare = problem(train("mixed_bed"), brass, "demineralised_in_brass")
    assert (acid is not None and acid.advice) is True
    assert (bare is not None and bare.advice) is False


def test_doses_at_and_over_the_usual_top() -> None:
    def dosed(mg_L: float, medium: Any = "mineral_dose") -> tuple[Stage, ...]:
        return (Stage(name="salts", medium=medium, doses=(Dose(salt="sodium_bicarbonate", mg_L=mg_L),)),)

    assert problem(dosed(120), NONE, "high_dose") is None
    over = problem(dosed(121), NONE, "high_dose")
    assert over is not None
    assert over.stage == "salts"
    sodium = problem(dosed(120), NONE, "sodium_added")
    assert sodium is not None
    assert sodium.stage == "salts"
    assert "adds 33 mg/L of sodium" in sodium.message  # 120 x 22.990 / 84.007
    assert order_problems(dosed(200, "carbon"), NONE) == ()  # doses are not read of a stage that doses nothing
