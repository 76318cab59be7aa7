"""The shelf: read from CSV and back, kept as versions, and re-rated on a water by hand."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from brewwater import cli
from brewwater.errors import InputError
from brewwater.plan import make_plan
from brewwater.planning.document import load_document, mobile_template
from brewwater.planning.shelf_rating import rate
from brewwater.store import Store, make_engine, shelf_csv
from brewwater.treatment.shelf import Shelf, ShelfItem

# Invented cartridges, in the form that sheets have.
EXAMPLE = """\
name;medium;size;rated;reference_alkalinity;reference_hardness;price;life;bypass_steps;in_stock;reference_chlorine_mg_L;rated_for
Tall resin;weak_acid;large;1,200 gal;10 gpg;;145;12;0: 0; 2;;
Short resin;weak_acid;small;400 gal;10 gpg;;70;12 months;;1;;
"""
GPG = 64.79891 / 3.785411784  # grains per US gallon in mg/L, by definition of both


def document(**sheet: Any) -> Any:
    """One certain water, one draw: what the template makes of it can be followed by hand."""
    plain = mobile_template().model_dump(mode="json")
    analysis = {
        "total_hardness": {"value": 290, "unit": "mg/L as CaCO3", "method": "lab"},
        "alkalinity": {"value": 240, "unit": "mg/L as CaCO3", "method": "lab"},
        "free_chlorine": {"value": 1.0, "unit": "mg/L", "method": "lab"},
        "total_chlorine": {"value": 1.0, "unit": "mg/L", "method": "lab"},
    }
    supply = {**plain["supplies"][0], "analysis": analysis, "disinfectant": "free_chlorine"}
    return load_document({**plain, "supplies": [supply], "settings": {"draws": 1, "seed": 1}, **sheet})


def item(medium: str, sheet: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"name": "one", "medium": medium, "sheet": {"life_months": 1000, **sheet}, **more}


# Each by hand. One litre of product draws (1 - bypass) through the bed, which takes there what the sheet counted.
# Leakage of weak acid and softener as each case states it.
CASES: list[tuple[str, dict[str, Any], dict[str, Any], float]] = [
    ("sediment", {"rated_gal": 3000}, {}, 3000),
    ("sediment", {"rated_gal": 800}, {}, 800),
    # carbon: grams of chlorine 2.0 x 1500 against 1.0 here would be 3,000 gal, but never more than its gallons
    ("carbon", {"rated_gal": 1500, "reference_chlorine_mg_L_as_Cl2": 2.0, "rated_for": "free_chlorine"}, {}, 1500),
    # weaker reference water: 0.5 x 1500 / 1.0
    ("carbon", {"rated_gal": 1500, "reference_chlorine_mg_L_as_Cl2": 0.5, "rated_for": "free_chlorine"}, {}, 750),
    # weak acid, nothing by-passed: 1200 x (10 gpg - 10) / (240 - 10)
    ("weak_acid", {"rated_gal": 1200, "reference_alkalinity_mg_L_as_CaCO3": 10 * GPG}, {}, 1200 * (10 * GPG - 10) / 230),
    # the same at 20 % bypass here: only 0.8 of what is served went through
    ("weak_acid", {"rated_gal": 1200, "reference_alkalinity_mg_L_as_CaCO3": 10 * GPG}, {"bypass": 20},
     1200 * (10 * GPG - 10) / 230 / 0.8),
    # three with tables: the head's setting nearest to 20 % is "2" (25 %), rated there with the bypassed share
    ("weak_acid", {"reference_alkalinity_mg_L_as_CaCO3": 178.5}, {"bypass": 20, "steps": [("0", 0, 1000), ("1", 10, 1100),
     ("2", 25, 1330)]}, 1330 * 0.75 * (178.5 - 10) / 230 / 0.75),
    ("weak_acid", {"reference_alkalinity_mg_L_as_CaCO3": 100.0}, {"bypass": 40, "steps": [("A", 0, 2000), ("B", 50, 3900)]},
     3900 * 0.5 * (100 - 10) / 230 / 0.5),
    ("weak_acid", {"rated_gal": 900, "reference_alkalinity_mg_L_as_CaCO3": 120.0}, {"bypass": 12, "steps": [("x", 15, None)]},
     900 * (120 - 10) / 230 / 0.85),
    # grains: 20,000 grains of hardness as CaCO3 against what a softener takes of 290
    ("softening", {"capacity_grains": 20000}, {}, 20000 * 64.79891 / (290 - 5) / 3.785411784),
]  # fmt: skip


@pytest.mark.parametrize(("medium", "sheet", "more", "by_hand"), CASES)
def test_the_sheets_gallons_here_by_hand(
    medium: str, sheet: dict[str, Any], more: dict[str, Any], by_hand: float
) -> None:
    leak = {"weak_acid": 10.0, "softening": 5.0}.get(medium)
    steps = [{"setting": s, "percent": p, "rated_gal": g} for s, p, g in more.get("steps", [])]
    stage = {"name": "it", "medium": medium, "leakage_mg_L_as_CaCO3": leak, "bypass_percent": more.get("bypass", 0)}
    shelf = [item(medium, sheet, bypass_steps=steps)]
    plan = make_plan(document(train=[stage], shelf=shelf), search=False)
    (rated, *_) = plan.shelf
    assert rated.gallons_here is not None
    assert rated.gallons_here[1] == pytest.approx(by_hand, rel=2e-3)
    day = float(plan.scenario.demand.ordinary_day_litres(rated.candidate.main.branch.name)[0]) / 3.785411784
    assert rated.plan_on_gal is not None
    # the policy's margin, once; a change is made on a whole day, before the one that would use it up
    assert 0.8 * by_hand * 0.998 - day <= rated.plan_on_gal <= 0.8 * by_hand * 1.002


def test_without_the_water_it_was_rated_at_it_stays_unknown() -> None:
    stage = {"name": "it", "medium": "weak_acid"}
    plan = make_plan(document(train=[stage], shelf=[item("weak_acid", {"rated_gal": 1200})]), search=False)
    (rated, *_) = plan.shelf
    assert rated.gallons_here is None
    assert rated.price_per_1000_gal is None
    assert "unknown here" in rated.line


def test_what_costs_least_for_a_thousand_gallons_here_is_taken() -> None:
    def resin(name: str, gallons: float, price: float) -> dict[str, Any]:
        sheet = {"rated_gal": gallons, "reference_alkalinity_mg_L_as_CaCO3": 171.0, "price": price, "life_months": 120}
        return {"name": name, "medium": "weak_acid", "sheet": sheet}

    shelf = [resin("dear", 1000, 200), resin("cheap", 1500, 150), resin("middling", 1200, 180)]
    stages = document(train=[{"name": "resin", "medium": "weak_acid", "bypass_percent": 25}], shelf=shelf)
    plan = make_plan(stages, search=False)
    ranked = rate(plan.scenario, plan.candidate.stages, "resin")
    assert [r.item.name for r in ranked if r.arrangement == ranked[0].arrangement][:3] == ["cheap", "middling", "dear"]
    found = make_plan(document(shelf=shelf, settings={"draws": 64, "seed": 1}))
    assert found.recommended
    resins = [s for s in found.candidate.stages if s.medium == "weak_acid"]
    assert resins, "hard and alkaline water asks for weak-acid resin"
    assert {s.sheet.rated_gal for s in resins} <= {1000, 1500, 1200, 2000, 3000, 2400}


def test_csv_and_back() -> None:
    read = shelf_csv.read(EXAMPLE)
    first = read.items[0]
    assert first.name == "Tall resin"
    assert first.as_printed == "1,200 gal at 10 gpg"
    assert first.sheet.reference_alkalinity_mg_L_as_CaCO3 == pytest.approx(10 * GPG, rel=1e-3)
    assert first.in_stock == 2
    assert shelf_csv.read(shelf_csv.write(read)) == read
    steps = (
        shelf_csv.read("name,medium,bypass_steps\nx,weak_acid,0: 0; 1: 15 %; 2: 30 = 1500 gal\n").items[0].bypass_steps
    )
    assert [(s.setting, s.percent, s.rated_gal) for s in steps] == [("0", 0, None), ("1", 15, None), ("2", 30, 1500)]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("name,medium\nx,sponge\n", "line 2, medium"),
        ("name,medium,rated\nx,carbon,1200 barrels\n", "line 2, rated"),
        ("name,medium\nx,carbon\nX,carbon\n", "twice"),
        ("name,colour\nx,red\n", "first line must name columns"),
        ("name,medium,bypass_steps\nx,weak_acid,15\n", "bypass_steps"),
    ],
)
def test_what_is_wrong_is_named(text: str, told: str) -> None:
    with pytest.raises(InputError) as error:
        shelf_csv.read(text)
    assert told in str(error.value)
    assert "\n" not in str(error.value)


def test_kept_as_versions_and_by_the_command(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path))
    (tmp_path / "shelf.csv").write_text(EXAMPLE, encoding="utf-8")
    assert cli.main(["shelf", "add", str(tmp_path / "shelf.csv")]) == 0
    capsys.readouterr()
    assert cli.main(["shelf", "list", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert [one["name"] for one in shown] == ["Tall resin", "Short resin"]
    with Store(make_engine(f"sqlite:///{tmp_path / 'brewwater.sqlite3'}")) as store:
        kept = store.shelf()
        assert kept == shelf_csv.read(EXAMPLE)
        more = Shelf(items=(ShelfItem.model_validate({"name": "tall resin", "medium": "weak_acid", "in_stock": 9}),))
        assert [i.in_stock for i in store.add_to_shelf(more).items] == [9, 1]
        assert store.save_shelf(kept) == kept == store.shelf()
    with Store(make_engine(f"sqlite:///{tmp_path / 'brewwater.sqlite3'}"), "other@example.org") as store:
        assert store.shelf() == Shelf()
