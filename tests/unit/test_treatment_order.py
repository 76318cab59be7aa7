"""Order rules: each rule broken is found, named with its stage, and silent where it is kept."""

from __future__ import annotations

import pytest

from brewwater.treatment import Context, DataSheet, Dose, Stage, order_problems

FREE, AMINE, NONE = (Context(disinfectant=d) for d in ("free_chlorine", "chloramine", "none"))  # type: ignore[arg-type]


def train(*media: str, **more: float) -> tuple[Stage, ...]:
    return tuple(Stage(name=m, medium=m, bypass_percent=more.get(m, 0)) for m in media)  # type: ignore[arg-type]


def found(stages: tuple[Stage, ...], context: Context) -> set[tuple[str, str]]:
    return {(p.code, p.stage) for p in order_problems(stages, context)}


DOSED = Stage(name="dose", medium="mineral_dose", doses=({"salt": "potassium_bicarbonate", "mg_L": 20},))  # type: ignore[arg-type]
MEMBRANE = train("sediment", "carbon", "reverse_osmosis")


@pytest.mark.parametrize(
    ("stages", "context", "code", "stage"),
    [
        (train("sediment", "reverse_osmosis", "carbon"), FREE, "membrane_without_carbon", "reverse_osmosis"),
        (train("carbon", "reverse_osmosis"), FREE, "membrane_without_sediment", "reverse_osmosis"),
        (train("sediment", "carbon", carbon=20), FREE, "carbon_bypassed", "carbon"),
        ((*MEMBRANE, *train("blend", blend=20)), FREE, "blend_not_dechlorinated", "blend"),
        (train("sediment", "mixed_bed", mixed_bed=20), FREE, "blend_not_dechlorinated", "mixed_bed"),
        (train("sediment", "carbon"), AMINE, "chloramine_not_treated", "carbon"),
        (train("sediment"), AMINE, "chloramine_not_treated", "sediment"),
        (
            (Stage(name="block", medium="carbon", sheet=DataSheet(rated_for="free_chlorine", rated_gal=1500)),),
            AMINE,
            "free_chlorine_rating",
            "block",
        ),
        (train("carbon"), Context(before_pump=frozenset({"carbon"})), "fine_media_on_suction", "carbon"),
        (
            train("sediment"),
            Context(before_pump=frozenset({"sediment"})),
            "fine_media_on_suction",
            "sediment",
        ),
        (train("weak_acid"), Context(alkalinity_known=False), "alkalinity_unknown", "weak_acid"),
        (train("softening"), Context(alkalinity_known=False), "alkalinity_unknown", "softening"),
        (train("softening"), Context(chloride_mg_L=95), "no_cure_for_chloride", "softening"),
        (train("weak_acid"), Context(chloride_mg_L=95), "no_cure_for_chloride", "weak_acid"),
        (train("chloride_anion"), Context(chloride_mg_L=95), "adds_chloride", "chloride_anion"),
        (
            train("weak_acid"),
            Context(hardness_mg_L_as_CaCO3=280, alkalinity_mg_L_as_CaCO3=45),
            "permanent_hardness",
            "weak_acid",
        ),
        (
            train("weak_acid"),
            Context(hardness_mg_L_as_CaCO3=280, alkalinity_mg_L_as_CaCO3=45),
            "low_alkalinity",
            "weak_acid",
        ),
        (
            train("weak_acid"),
            Context(hardness_mg_L_as_CaCO3=25, alkalinity_mg_L_as_CaCO3=260),
            "sodium_alkalinity",
            "weak_acid",
        ),
        (
            train("softening"),
            Context(hardness_mg_L_as_CaCO3=25, alkalinity_mg_L_as_CaCO3=260),
            "already_soft",
            "softening",
        ),
        (train("scale_inhibitor"), Context(steam_boiler=True), "inhibitor_in_steam", "scale_inhibitor"),
        ((*MEMBRANE, *train("softening")), FREE, "pointless_stage", "softening"),
        ((*MEMBRANE, *train("weak_acid")), FREE, "pointless_stage", "weak_acid"),
        (train("softening", "scale_inhibitor"), FREE, "pointless_stage", "scale_inhibitor"),
        (
            MEMBRANE,
            Context(disinfectant="free_chlorine", brass_after_treatment=True),
            "demineralised_in_brass",
            "reverse_osmosis",
        ),
        (train("weak_acid"), Context(brass_after_treatment=True), "carbon_dioxide_in_brass", "weak_acid"),
        ((DOSED, *train("mixed_bed")), NONE, "minerals_removed_again", "dose"),
        (train("mineral_dose"), NONE, "no_dose", "mineral_dose"),
        (train("carbon", "carbon"), FREE, "name_twice", "carbon"),
    ],
)
def test_broken_rule_is_named(stages: tuple[Stage, ...], context: Context, code: str, stage: str) -> None:
    assert (code, stage) in found(stages, context)
    message = next(p.message for p in order_problems(stages, context) if p.code == code)
    assert message.endswith(".")
    assert len(message) > 20


@pytest.mark.parametrize(
    ("stages", "context"),
    [
        ((), FREE),
        (train("sediment", "carbon"), FREE),
        (MEMBRANE, FREE),
        (train("sediment", "carbon", "reverse_osmosis", reverse_osmosis=30), FREE),
        (
            (*train("sediment", "catalytic_carbon", "reverse_osmosis", reverse_osmosis=30), DOSED),
            Context(disinfectant="chloramine", brass_after_treatment=True, chloride_mg_L=95),
        ),
        (
            train("sediment", "carbon", "weak_acid", weak_acid=22),
            Context(
                disinfectant="free_chlorine",
                hardness_mg_L_as_CaCO3=290,
                alkalinity_mg_L_as_CaCO3=240,
                chloride_mg_L=20,
            ),
        ),
        (train("sediment", "reverse_osmosis"), NONE),
        (
            (*train("sediment", "reverse_osmosis", "blend", blend=20), *train("carbon")),
            Context(disinfectant="none"),
        ),
        (
            (Stage(name="strainer", medium="sediment", sheet=DataSheet(micron=150)),),
            Context(before_pump=frozenset({"strainer"})),
        ),
        ((Stage(name="block", medium="carbon", sheet=DataSheet(rated_for="chloramine")),), AMINE),
    ],
)
def test_good_trains_break_no_rule(stages: tuple[Stage, ...], context: Context) -> None:
    assert found(stages, context) == set()


def test_bypassing_a_membrane_wholly_is_no_demineralising() -> None:
    stages = train("sediment", "carbon", "reverse_osmosis", "softening", reverse_osmosis=100)
    assert ("pointless_stage", "softening") not in found(stages, FREE)


def test_what_may_still_be_right_is_advice() -> None:
    hard = Context(hardness_mg_L_as_CaCO3=290, alkalinity_mg_L_as_CaCO3=240, chloride_mg_L=45)
    soft = Context(hardness_mg_L_as_CaCO3=60, alkalinity_mg_L_as_CaCO3=70, chloride_mg_L=95)
    assert [(p.code, p.advice) for p in order_problems(train("weak_acid"), hard)] == [("no_cure_for_chloride", True)]
    assert ("no_cure_for_chloride", False) in [(p.code, p.advice) for p in order_problems(train("softening"), soft)]


def test_sodium_of_a_dose_and_a_high_dose_are_said() -> None:
    stage = Stage(name="dose", medium="mineral_dose", doses=(Dose(salt="sodium_bicarbonate", mg_L=150),))
    problems = order_problems((stage,), NONE)
    assert [(p.code, p.advice) for p in problems] == [("high_dose", True), ("sodium_added", True)]
    assert "adds 41 mg/L of sodium" in problems[1].message
