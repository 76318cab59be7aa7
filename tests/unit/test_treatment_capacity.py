"""What a cartridge can bear, by its sheet or its class, worked by hand; molar masses are written out here."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from brewwater.ensemble import Draws
from brewwater.treatment import DataSheet, Stage, capacity, medium_class, usual_sheet

ONE, MANY = Draws(1), Draws(2048)
GAL = 3.785411784


def stage_of(medium: Any, **more: Any) -> Stage:
    return Stage(name="stage", medium=medium, **more)


def one(value: Any) -> float:
    return float(np.ravel(value)[0])


def bears(
    medium: Any, draws: Draws = ONE, disinfectant: Any = "free_chlorine", leak: float | None = None, **sheet: Any
) -> Any:
    stage = stage_of(medium, sheet=DataSheet(**sheet), leakage_mg_L_as_CaCO3=leak)
    return capacity(stage, draws, disinfectant=disinfectant)


def test_a_sheet_re_rated_in_equivalents() -> None:
    litres = 1000 * GAL / 1000 / 50.04345  # equivalents for each mg/L as CaCO3
    anion = bears("chloride_anion", rated_gal=1000, reference_alkalinity_mg_L_as_CaCO3=100)
    assert one(anion.exchange_eq) == pytest.approx(100 * litres)
    soft = bears("softening", rated_gal=1000, reference_hardness_mg_L_as_CaCO3=100)
    assert one(soft.exchange_eq) == pytest.approx(95 * litres)  # usual leakage 5
    assert one(bears("softening", leak=0, rated_gal=1000, reference_hardness_mg_L_as_CaCO3=100).exchange_eq) == (
        pytest.approx(100 * litres)
    )
    nothing = bears("softening", rated_gal=1000, reference_hardness_mg_L_as_CaCO3=3)  # under the usual leakage
    assert not nothing.known and one(nothing.exchange_eq) > 0


def test_gallons_with_a_bypass_and_gallons_of_a_plain_filter() -> None:
    half = bears("carbon", rated_gal=1000, reference_chlorine_mg_L_as_Cl2=2, reference_bypass_percent=20)
    assert one(half.volume_L) == pytest.approx(800 * GAL)
    assert one(half.chlorine_g) == pytest.approx(800 * GAL * 2 / 1000)
    plain = bears("sediment", rated_gal=3000)
    assert (plain.basis, one(plain.volume_L)) == ("sheet", pytest.approx(3000 * GAL))


def test_a_rating_holds_on_average() -> None:
    # the doubt about a rating has mean 1, so the mean capacity is the rating; of its reciprocal it would be 0.7 % more
    rated = {"rated_gal": 1000, "reference_chlorine_mg_L_as_Cl2": 2}
    carbon = bears("carbon", MANY, **rated)
    assert carbon.chlorine_g.mean() == pytest.approx(2 * GAL, rel=2.5e-3)
    assert carbon.volume_L.mean() == pytest.approx(1000 * GAL, rel=2.5e-3)
    assert bears("sediment", MANY, rated_gal=1000).volume_L.mean() == pytest.approx(1000 * GAL, rel=2.5e-3)
    resin = bears("softening", MANY, capacity_grains=10_000)
    assert resin.exchange_eq.mean() == pytest.approx(10_000 * 0.06479891 / 50.04345, rel=2.5e-3)


def test_the_usual_cartridge_of_a_class() -> None:
    sediment = bears("sediment")
    assert one(sediment.volume_L) == pytest.approx(6000 * GAL)
    assert np.isinf(sediment.exchange_eq).all()
    assert [(w.code, w.stage, w.advice) for w in sediment.warnings] == [("capacity_class_figure", "stage", True)]
    assert len(sediment.warnings[0].message) > 20
    assert one(bears("carbon").chlorine_g) == pytest.approx(15)
    powder = bears("mineral_dose")
    assert (one(powder.consumed_g), powder.warnings) == (1000, ())
    stage = stage_of("mineral_dose")
    np.testing.assert_array_equal(capacity(stage, MANY, 1).consumed_g, capacity(stage, MANY, 2).consumed_g)
    assert bears("blend").warnings == ()


def test_carbon_on_chloramine() -> None:
    def codes(**sheet: Any) -> tuple[str, list[str], str]:
        found = bears(sheet.pop("medium", "carbon"), disinfectant=sheet.pop("disinfectant", "chloramine"), **sheet)
        said = found.warnings[0].message if found.warnings else ""
        return found.basis, [w.code for w in found.warnings], said

    basis, said, message = codes()
    assert (basis, said) == ("unknown", ["capacity_unknown"])
    assert message.startswith("No rating is stated")
    basis, said, message = codes(rated_gal=1500)
    assert (basis, said) == ("unknown", ["capacity_unknown"])
    assert message.startswith("1,500 gal are not a chloramine rating")
    assert codes(medium="catalytic_carbon", rated_gal=1500)[:2] == ("unknown", ["capacity_unknown"])
    assert codes(medium="catalytic_carbon")[:2] == ("class", ["capacity_class_figure"])
    assert codes(disinfectant="unknown", rated_for="chloramine")[1] == ["capacity_class_figure"]
    assert codes(disinfectant="free_chlorine")[:2] == ("class", ["capacity_class_figure"])
    # plain carbon bears a tenth as much chloramine as free chlorine
    assert one(bears("carbon", disinfectant="chloramine").chlorine_g) == pytest.approx(1.5)
    assert one(bears("catalytic_carbon", disinfectant="chloramine").chlorine_g) == pytest.approx(12)


def test_doubts_of_one_stage_are_drawn_apart_and_the_first_cartridge_is_the_default() -> None:
    bed = stage_of("weak_acid", sheet=DataSheet(capacity_grains=5000))
    np.testing.assert_array_equal(capacity(bed, MANY).exchange_eq, capacity(bed, MANY, 0).exchange_eq)
    assert not np.array_equal(capacity(bed, MANY).exchange_eq, capacity(bed, MANY, 1).exchange_eq)


@pytest.mark.parametrize(
    ("medium", "claim"),
    [("carbon", "free_chlorine"), ("catalytic_carbon", "chloramine"), ("weak_acid", "unknown"), ("blend", "unknown")],
)
def test_the_usual_sheet_is_the_table_and_claims_no_capacity(medium: str, claim: str) -> None:
    table = Path(__file__).parents[2] / "reference" / "media.csv"
    with table.open(encoding="utf-8", newline="") as handle:
        row = next(r for r in csv.DictReader(handle) if r["medium"] == medium and r["size"] == "small")

    def typical(column: str) -> float | None:
        return float(row[column].split()[1]) if row[column] else None

    sheet = usual_sheet(medium, "small")
    assert sheet.rated_for == claim
    assert sheet.service_flow_gpm == sheet.drop_at_flow_gpm == typical("service_flow_gpm")
    assert sheet.clean_pressure_drop_psi == typical("clean_pressure_drop_psi")
    assert sheet.bed_volume_L == typical("bed_volume_L")
    assert sheet.life_months == typical("life_months")
    assert sheet.flush_gal is not None
    assert sheet.flush_gal.typical == typical("flush_gal")
    assert sheet.rated_gal is sheet.capacity_grains is None
    price = medium_class(medium, "small").price
    assert price is not None
    assert (price.low, price.typical, price.high) == tuple(float(x) for x in row["price"].split())
