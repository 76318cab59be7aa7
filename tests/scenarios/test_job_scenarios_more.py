"""Fifteen more waters and units with other numbers: which train, which setting, and why not the others."""

from __future__ import annotations

import runpy
from pathlib import Path
from types import SimpleNamespace

import pytest

from brewwater.plan import make_plan
from brewwater.planning.document import load_document
from brewwater.planning.search import stage
from brewwater.verdicts import judge

AT = SimpleNamespace(**runpy.run_path(str(Path(__file__).with_name("recommend_scenarios.py"))))
CITY = {"disinfectant": "free_chlorine"}


def test_nothing_at_all_for_a_good_spring() -> None:
    made = AT.plan({"total_hardness": 80, "alkalinity": 55, "total_dissolved_solids": 130}, disinfectant="none")
    assert made.candidate.stages == ()
    assert "Buy nothing for scale" in made.alternatives[0].why


@pytest.mark.parametrize(
    ("hardness", "alkalinity", "solids"), [(70, 50, 120), (95, 60, 160), (110, 52, 170), (66, 50, 115)]
)
def test_carbon_only_for_good_city_water(hardness: float, alkalinity: float, solids: float) -> None:
    values = {"total_hardness": hardness, "alkalinity": alkalinity, "total_dissolved_solids": solids}
    made = AT.plan(values, **CITY)
    assert AT.media(made.candidate.stages) == ("sediment", "carbon")
    assert "Buy nothing for scale" in made.alternatives[0].why
    assert AT.verdict(made.candidate.verdicts, "scale").status == "ok"


def test_catalytic_carbon_only_where_chloramine_is_possible() -> None:
    made = AT.plan({"total_hardness": 75, "alkalinity": 52, "total_dissolved_solids": 125})
    assert AT.media(made.candidate.stages) == ("sediment", "catalytic_carbon")
    plain = next(a for a in made.alternatives if AT.media(a.candidate.stages) == ("sediment", "carbon"))
    assert "chlorine may pass" in plain.why


def test_minerals_alone_for_very_soft_pure_water() -> None:
    made = AT.plan({"total_hardness": 14, "alkalinity": 11, "total_dissolved_solids": 32}, **CITY)
    assert AT.chosen(made) == ("mineral_dose",)
    water = AT.served(made)
    assert 50 <= water["hardness"] <= 120
    assert 40 <= water["alkalinity"] <= 70
    assert "sodium_added" not in AT.codes(made)


@pytest.mark.parametrize(
    ("hardness", "alkalinity", "bypass"), [(200, 170, (25, 36)), (215, 180, (22, 36)), (230, 190, (22, 34))]
)
def test_weak_acid_with_its_bypass(hardness: float, alkalinity: float, bypass: tuple[float, float]) -> None:
    made = AT.plan({"total_hardness": hardness, "alkalinity": alkalinity, "chloride": 15, "sulfate": 20}, **CITY)
    assert AT.chosen(made) == ("weak_acid",)
    percent = AT.stage(made, "weak_acid").bypass_percent
    assert bypass[0] <= percent <= bypass[1]
    by_hand = 10 + percent / 100 * (alkalinity - 10)
    assert AT.served(made)["alkalinity"] == pytest.approx(by_hand, abs=3)
    assert 45 <= AT.served(made)["alkalinity"] <= 68


@pytest.mark.parametrize("chloride", [70.0, 140.0])
def test_chloride_is_for_a_membrane_never_for_a_softener(chloride: float) -> None:
    values = {"total_hardness": 60, "alkalinity": 45, "chloride": chloride, "sulfate": 15, "ph": 7.3}
    made = AT.plan(values, **CITY)
    assert {"reverse_osmosis", "mixed_bed"} & set(AT.chosen(made))
    assert AT.served(made)["chloride"] < 30
    assert AT.listed(made, "softening").why.startswith("Refused: This medium leaves chloride")


def test_hard_and_salty_may_soften_but_is_told_that_chloride_stays() -> None:
    values = {"total_hardness": 260, "alkalinity": 180, "chloride": 85, "sulfate": 40}
    made = AT.plan(values, **CITY)
    assert AT.served(made)["chloride"] < 30
    softened = AT.listed(made, "softening")
    assert "corrosion: chloride" in softened.why
    assert "no_cure_for_chloride" in {p.code for p in softened.candidate.problems}


def test_a_membrane_on_hard_water_is_refused_for_its_scaling() -> None:
    made = AT.plan({"total_hardness": 310, "alkalinity": 260, "chloride": 20, "sulfate": 35}, **CITY)
    bare = [
        a
        for a in made.alternatives
        if "reverse_osmosis" in AT.media(a.candidate.stages) and "softening" not in AT.media(a.candidate.stages)
    ]
    assert bare and not any(a.fits for a in bare)
    assert all("the membrane scales" in a.why for a in bare)


def test_an_inhibitor_counts_in_a_brewer_but_not_where_steam_is_made() -> None:
    document = AT.document(
        {"total_hardness": 112, "alkalinity": 100, "total_dissolved_solids": 170}, disinfectant="none"
    ).model_dump()
    train = (stage("sediment"), stage("scale_inhibitor"))
    outcomes = {}
    for kind in ("brewer", "espresso", "steam_boiler"):
        document["machines"][0]["kind"] = kind
        made = make_plan(load_document(document), search=False, train=train)
        bare = make_plan(load_document(document), search=False, train=())
        falls = {line.name: line.amount for line in made.candidate.cost.lines}.get("Descaling", 0)
        without = {line.name: line.amount for line in bare.candidate.cost.lines}.get("Descaling", 0)
        temporary = AT.measure(AT.verdict(made.candidate.verdicts, "scale"), "temporary_hardness")
        outcomes[kind] = (float(falls), float(without), temporary.status, temporary.note)
    assert outcomes["brewer"][0] < 0.05 * outcomes["brewer"][1]
    assert outcomes["brewer"][2] == "ok" and "hold back up to" in outcomes["brewer"][3]
    for steams in ("espresso", "steam_boiler"):
        assert outcomes[steams][0] == pytest.approx(outcomes[steams][1], rel=0.02) and outcomes[steams][1] > 0
        assert outcomes[steams][2] == "watch" and "none of it is counted" in outcomes[steams][3]


def test_an_inhibitor_is_chosen_for_a_brewer_where_scale_is_all_that_is_wrong() -> None:
    document = AT.document({"total_hardness": 118, "alkalinity": 110, "total_dissolved_solids": 180}, **CITY)
    made_of = document.model_dump()
    made_of["machines"][0]["kind"] = "brewer"
    made_of["worth"] = {"cup": 0.0, "scale": 1500.0, "corrosion": 0.0}
    made = make_plan(load_document(made_of))
    assert AT.chosen(made) == ("scale_inhibitor",)
    espresso = make_plan(document.model_copy(update={"worth": load_document(made_of).worth}))
    assert AT.chosen(espresso) != ("scale_inhibitor",)
    assert AT.listed(espresso, "scale_inhibitor").why.startswith("Refused: Heat degrades")


def test_what_the_cup_is_worth_decides() -> None:
    document = AT.document({"total_hardness": 60, "alkalinity": 150, "total_dissolved_solids": 230}, **CITY)
    poor = document.model_copy(update={"worth": document.worth.model_copy(update={"cup": 0.0})})
    rich, cheap = make_plan(document), make_plan(poor)
    assert AT.chosen(rich) != ()
    assert float(cheap.candidate.cost.expected) < float(rich.candidate.cost.expected)
    assert AT.verdict(rich.candidate.verdicts, "cup").status != "act"


def test_a_busier_shop_takes_the_next_size_up() -> None:
    values = {"total_hardness": 290, "alkalinity": 240, "chloride": 15, "sulfate": 20}
    small, large = (AT.plan(values, drinks=d, **CITY) for d in (8, 150))
    order = ("small", "medium", "large")
    sizes = [order.index(AT.stage(m, "weak_acid").size) for m in (small, large) if "weak_acid" in AT.chosen(m)]
    assert len(sizes) == 2 and sizes[0] < sizes[1]


def test_the_document_keeps_its_own_train_and_hears_of_a_better_one() -> None:
    document = AT.document({"total_hardness": 240, "alkalinity": 200, "chloride": 15, "sulfate": 20}, **CITY)
    own = (stage("sediment"), stage("carbon"), stage("softening"))
    made = make_plan(document.model_copy(update={"train": own}))
    assert made.candidate.stages == own and not made.recommended
    assert AT.media(made.alternatives[0].candidate.stages)[-1] == "weak_acid"
    assert "the cup: alkalinity" in AT.listed(made, "softening").why


def test_one_setting_for_three_towns_shows_the_worst() -> None:
    waters = {
        "Low": ({"total_hardness": 70, "alkalinity": 60}, CITY),
        "Middle": ({"total_hardness": 120, "alkalinity": 100}, CITY),
        "High": ({"total_hardness": 190, "alkalinity": 160}, CITY),
    }
    fills = [{"supply": "Low"}, {"supply": "Middle", "weekdays": ["wed"]}, {"supply": "High", "weekdays": ["fri"]}]
    made = make_plan(AT.towns(waters, fills=fills, draws=64))
    served = made.candidate.main
    for verdict in made.candidate.verdicts[:2]:
        assert verdict.phase in made.scenario.phase_names
        shares = {}
        for row, name in enumerate(made.scenario.phase_names):
            alone = served.water.each(lambda a, row=row: a[row] if a.ndim > 1 and len(a) > 1 else a)
            found = judge(
                alone,
                known=made.scenario.known,
                weights=made.scenario.weights,
                role="served",
                machine=served.machine,
                supplies=made.scenario.supplies,
            )
            shares[name] = AT.verdict(found, verdict.subject).share
        assert verdict.share == shares[verdict.phase] == min(shares.values())
