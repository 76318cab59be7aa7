"""Capacity of a cartridge: data sheets re-rated, class figures, and what is not known."""

from __future__ import annotations

import numpy as np
import pytest

from brewwater import reference
from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.treatment import MEDIA, DataSheet, Stage, capacity, medium_class, usual_sheet
from brewwater.treatment.classes import SIZES, classes

ONE, MANY = Draws(1), Draws(2048)
GAL = 3.785411784


def codes(found: object) -> set[str]:
    return {w.code for w in found.warnings}  # type: ignore[attr-defined]


def test_gallons_at_a_reference_alkalinity_become_equivalents() -> None:
    stage = Stage(
        name="bed",
        medium="weak_acid",
        leakage_mg_L_as_CaCO3=0,
        sheet=DataSheet(rated_gal=1000, reference_alkalinity_mg_L_as_CaCO3=100, reference_hardness_mg_L_as_CaCO3=250),
    )
    found = capacity(stage, ONE)
    assert found.basis == "sheet"
    assert found.known
    assert float(found.exchange_eq[0]) == pytest.approx(1000 * GAL * 0.1 / 50.04345)  # alkalinity, not hardness
    assert np.isinf(found.volume_L).all()
    half = stage.model_copy(update={"sheet": stage.sheet.model_copy(update={"reference_bypass_percent": 50})})
    assert float(capacity(half, ONE).exchange_eq[0]) == pytest.approx(float(found.exchange_eq[0]) / 2)


def test_a_hardness_reference_for_a_decarbonising_bed_is_doubted() -> None:
    stage = Stage(name="bed", medium="weak_acid", sheet=DataSheet(rated_gal=1000, reference_hardness_mg_L_as_CaCO3=100))
    found = capacity(stage, MANY)
    assert codes(found) == {"reference_is_hardness"}
    full = 1000 * GAL * 0.1 / 50.04345
    assert np.quantile(found.exchange_eq, 0.9) < full
    assert np.quantile(found.exchange_eq, 0.1) > 0.4 * full


def test_grains_come_before_gallons() -> None:
    stage = Stage(
        name="soft",
        medium="softening",
        sheet=DataSheet(capacity_grains=10_000, rated_gal=5, reference_hardness_mg_L_as_CaCO3=1),
    )
    assert float(capacity(stage, ONE).exchange_eq[0]) == pytest.approx(10_000 * 0.06479891 / 50.04345, rel=1e-6)


def test_gallons_without_a_reference_are_unknown() -> None:
    stage = Stage(name="bed", medium="weak_acid", sheet=DataSheet(rated_gal=1500))
    found = capacity(stage, MANY)
    assert not found.known
    assert codes(found) == {"capacity_unknown"}
    usual = medium_class("weak_acid", "medium").exchange_eq
    assert usual is not None
    assert np.quantile(found.exchange_eq, 0.9) > 1.2 * np.quantile(found.exchange_eq, 0.1)
    assert usual.low * 0.8 < found.exchange_eq.min() < found.exchange_eq.max() < usual.high * 1.2


def test_free_chlorine_rating_on_chloramine_is_unknown() -> None:
    sheet = DataSheet(rated_gal=1500, reference_chlorine_mg_L_as_Cl2=2, rated_for="free_chlorine")
    stage = Stage(name="block", medium="carbon", sheet=sheet)
    right = capacity(stage, ONE, disinfectant="free_chlorine")
    assert right.basis == "sheet"
    assert float(right.volume_L[0]) == pytest.approx(1500 * GAL)
    assert float(right.chlorine_g[0]) == pytest.approx(1500 * GAL * 2 / 1000)
    wrong = capacity(stage, MANY, disinfectant="chloramine")
    assert wrong.basis == "unknown"
    assert "capacity_unknown" in codes(wrong)
    assert np.median(wrong.chlorine_g) < 0.3 * float(right.chlorine_g[0])
    assert np.quantile(wrong.chlorine_g, 0.9) > 3 * np.quantile(wrong.chlorine_g, 0.1)
    unsaid = capacity(stage, ONE)
    assert "disinfectant_unknown" in codes(unsaid)


def test_chloramine_rating_stands_for_chloramine() -> None:
    sheet = DataSheet(rated_gal=800, reference_chlorine_mg_L_as_Cl2=3, rated_for="chloramine")
    found = capacity(Stage(name="cat", medium="catalytic_carbon", sheet=sheet), ONE, disinfectant="chloramine")
    assert found.basis == "sheet"
    assert not found.warnings
    assert float(found.chlorine_g[0]) == pytest.approx(800 * GAL * 3 / 1000)


def test_time_limit_is_a_rule_and_the_sheet_wins() -> None:
    stated = capacity(Stage(name="c", medium="carbon", sheet=DataSheet(life_months=6)), MANY)
    assert stated.days.shape == (1,)
    assert float(stated.days[0]) == pytest.approx(182.6, abs=0.1)
    assert float(capacity(Stage(name="c", medium="carbon"), MANY).days[0]) == pytest.approx(9 * 30.4375)
    assert np.isinf(capacity(Stage(name="b", medium="blend"), ONE).days).all()


def test_cartridges_differ_and_share_their_makes_doubt() -> None:
    stage = Stage(name="bed", medium="weak_acid", sheet=DataSheet(capacity_grains=5000))
    first, second = capacity(stage, MANY, 0).exchange_eq, capacity(stage, MANY, 1).exchange_eq
    assert first.shape == (2048,)
    assert np.corrcoef(first, second)[0, 1] > 0.5
    assert np.std(first / second) == pytest.approx(0.05 * 2**0.5, rel=0.1)
    again = [capacity(stage, Draws(2048), 0).exchange_eq for _ in range(2)]
    np.testing.assert_array_equal(*again)  # the same seed and questions, the same draws


def test_every_currency_that_can_exhaust_a_medium_has_a_figure() -> None:
    names = {
        "volume": "volume_L",
        "exchange": "exchange_eq",
        "chlorine": "chlorine_g",
        "consumed": "consumed_g",
        "time": "days",
    }
    for key, medium in MEDIA.items():
        for size in SIZES:
            found = capacity(Stage(name="x", medium=medium.id, size=size), ONE, disinfectant="free_chlorine")
            for currency, name in names.items():
                finite = bool(np.isfinite(getattr(found, name)).all())
                assert finite == (currency in medium.exhausted_by or (key == "mineral_dose" and name == "days"))


def test_classes_grow_with_size_and_cover_every_medium() -> None:
    assert {key for key, _ in classes()} == set(MEDIA)
    for medium in MEDIA:
        for name in ("volume_gal", "exchange_eq", "chlorine_g", "price", "service_flow_gpm"):
            spans = [getattr(medium_class(medium, size), name) for size in SIZES]
            if spans[0] is not None:
                middles = [span.middle for span in spans]
                assert middles == sorted(middles), (medium, name)
    with pytest.raises(InputError, match="size: 'huge'"):
        medium_class("carbon", "huge")


def test_usual_sheet_claims_no_capacity() -> None:
    sheet = usual_sheet("carbon", "medium")
    assert sheet.rated_gal is None
    assert sheet.capacity_grains is None
    assert sheet.service_flow_gpm == 1.5
    assert sheet.price is None  # a price in a sheet is somebody's own
    assert usual_sheet("reverse_osmosis", "small").rated_output_gal_per_day == 75


def test_every_second_source_is_a_known_one_and_no_price_claims_authority() -> None:
    known = reference.sources()
    assert {row["price_source"] for row in reference.table("media")} == {"placeholder"}
    assert {row["ceiling_source"] for row in reference.table("salts")} <= set(known)


def test_two_side_by_side_hold_twice_and_share_the_flow() -> None:
    one, two = (Stage(name="x", medium="weak_acid", size=size) for size in ("large", "two large"))
    single, pair = (capacity(s, ONE, disinfectant="free_chlorine") for s in (one, two))
    np.testing.assert_allclose(pair.exchange_eq, 2 * single.exchange_eq)
    np.testing.assert_allclose(pair.days, single.days)
    sheets = [usual_sheet("weak_acid", size) for size in ("large", "two large")]
    assert sheets[1].service_flow_gpm == 2 * sheets[0].service_flow_gpm
    assert sheets[1].clean_pressure_drop_psi == sheets[0].clean_pressure_drop_psi
    prices = [medium_class("weak_acid", size).price.middle for size in ("large", "two large")]
    assert prices[1] == 2 * prices[0]
