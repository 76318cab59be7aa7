"""The fill-day card: fill, change the bypass, test first, do not fill."""

from __future__ import annotations

from typing import Any

from brewwater.output.sheet.fill_day import Advice, fill_advice
from brewwater.plan import make_plan
from brewwater.planning.document import load_document, mobile_template


def measured(low: float, typical: float, high: float, unit: str = "mg/L") -> dict[str, Any]:
    return {"value": [low, typical, high], "unit": unit, "method": "lab"}


def supply(name: str, hardness: float, alkalinity: float, **more: Any) -> dict[str, Any]:
    return {
        "name": name,
        "disinfectant": "none",
        "analysis": {
            "total_hardness": measured(0.97 * hardness, hardness, 1.03 * hardness, "ppm"),
            "alkalinity": measured(0.97 * alkalinity, alkalinity, 1.03 * alkalinity, "ppm"),
            "chloride": measured(4, 5, 6),
            "sulfate": measured(8, 10, 12),
            "ph": measured(7.4, 7.6, 7.8, "1"),
            "sodium": measured(4, 6, 8),
            "free_chlorine": measured(0, 0.02, 0.04),
            "total_chlorine": measured(0, 0.02, 0.04),
            **more,
        },
    }


def advice(supplies: list[dict[str, Any]], train: list[dict[str, Any]]) -> dict[str, Advice]:
    document = mobile_template().model_dump(mode="json")
    document |= {"supplies": supplies, "train": train, "fill": {"fills": [{"supply": s["name"]} for s in supplies]}}
    document["settings"]["draws"] = 64
    document["machines"][0]["wetted_metal"] = "stainless"
    return {a.supply: a for a in fill_advice(make_plan(load_document(document), search=False))}


RESIN = [{"name": "Resin", "medium": "weak_acid", "bypass_percent": 30, "sheet": {"capacity_grains": 6000}}]


def test_good_water_is_filled() -> None:
    found = advice([supply("Good", 80, 60)], [])
    assert found["Good"].decision == "fill"
    assert found["Good"].bypass == "none"


def test_one_bypass_cannot_suit_two_towns() -> None:
    # at 30 % bypass: soft 60/40 is left with alkalinity near 19, hard 300/220 with near 73
    found = advice([supply("Soft", 60, 40), supply("Hard", 300, 220)], RESIN)
    assert found["Soft"].decision == "change the bypass"
    percent = float(found["Soft"].bypass.removeprefix("bypass ").removesuffix("%"))
    assert percent >= 60


def test_bad_water_without_a_better_one_is_filled_with_care() -> None:
    assert advice([supply("Hard", 300, 220)], [])["Hard"].decision == "fill with care"


def test_water_that_nobody_tested() -> None:
    assert advice([{"name": "Unknown"}], RESIN)["Unknown"].decision == "test first"


def test_nitrate_past_the_law_is_not_filled() -> None:
    found = advice([supply("Well", 80, 60, nitrate=measured(90, 100, 110)), supply("Good", 80, 60)], [])
    assert found["Well"].decision == "do not fill"
    assert "itrate" in found["Well"].why
    assert found["Good"].decision == "fill"


def test_bad_water_is_refused_where_there_is_a_better_one() -> None:
    salty = supply("Salty", 80, 60, chloride=measured(190, 200, 210), sodium=measured(110, 122, 135))
    assert advice([salty, supply("Good", 80, 60)], [])["Salty"].decision == "do not fill"
