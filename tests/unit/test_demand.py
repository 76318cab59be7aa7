"""Drinks and uses become litres on branches and days."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

from brewwater.demand import DemandInput, demand, months_later, usual_drink, usual_mix, usual_mixes
from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.units import FL_OZ_L, GAL_L

MONDAY = "2026-01-05"
EVERY_DAY = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


def made(calendar: dict[str, Any], n: int = 1, **fields: Any) -> Any:
    document = {"calendar": {"start": MONDAY, **calendar}, **fields}
    if "drinks" not in fields and "drinks_per_service_day" not in fields:
        document["drinks"] = [{"name": "cup", "per_service_day": 100, "fl_oz": 8}]
    return demand(DemandInput.model_validate(document), ["machine", "rinser", "sink"], Draws(n))


def day_litres(found: Any, branch: str) -> Any:
    return found.curves.T @ found.branch_amounts(branch)


def test_150_mixed_drinks_take_about_8_gal() -> None:
    found = made({}, drinks_per_service_day=150)
    assert found.ordinary_day_litres("machine")[0] / GAL_L == pytest.approx(8, abs=0.2)


def test_usual_mixes_add_to_one_and_name_known_drinks() -> None:
    mixes = usual_mixes()
    assert len(mixes) >= 4
    for mix in mixes.values():
        assert sum(mix.values()) == pytest.approx(1)
        assert all(usual_drink(drink).high > 0 for drink in mix)
    brewed = made({}, drinks_per_service_day=100, mix=mixes["brewed"]).ordinary_day_litres("machine")[0]
    assert brewed > made({}, drinks_per_service_day=100, mix=mixes["milk"]).ordinary_day_litres("machine")[0]
    with pytest.raises(InputError, match="soup"):
        usual_mix("soup")


def test_rinses_stand_on_their_own_branch() -> None:
    found = made(
        {},
        drinks=[{"name": "milk_drink", "per_service_day": 120}],
        uses_per_drink=[{"name": "rinse", "branch": "rinser", "fl_oz": 5, "per_drink": 1.3}],
    )
    assert found.ordinary_day_litres("rinser")[0] / GAL_L == pytest.approx(6.09, abs=0.01)
    assert found.ordinary_day_litres("machine")[0] / GAL_L == pytest.approx(120 * 5.5 / 128)


def test_rinse_of_named_drinks_only() -> None:
    drinks = [{"name": "milk", "per_service_day": 40, "fl_oz": 5}, {"name": "tea", "per_service_day": 60, "fl_oz": 12}]
    use = {"name": "rinse", "branch": "rinser", "fl_oz": 4, "drinks": ["milk"]}
    assert made({}, drinks=drinks, uses_per_drink=[use]).ordinary_day_litres("rinser")[0] == pytest.approx(
        160 * FL_OZ_L
    )
    with pytest.raises(InputError, match="cocoa"):
        made({}, drinks=drinks, uses_per_drink=[{**use, "drinks": ["cocoa"]}])


def test_weekdays() -> None:
    found = made({"weekdays": ["mon", "sat"]})
    assert [str(d) for d in found.days[found.open][:3]] == ["2026-01-05", "2026-01-10", "2026-01-12"]
    assert not day_litres(found, "machine")[1:5].any()


def test_start_on_a_closed_day() -> None:
    found = made({"start": "2026-01-03", "weekdays": ["mon"]})  # a Saturday
    assert str(found.days[0]) == "2026-01-03"
    assert str(found.days[int(np.argmax(found.open))]) == "2026-01-05"


def test_nothing_open_is_an_error() -> None:
    for end in ("2029-01-01", "2027-01-04"):
        with pytest.raises(InputError, match="service day"):
            made({"closures": [{"start": "2026-01-01", "end": end}]})


def test_29_february() -> None:
    assert months_later(dt.date(2028, 2, 29), 12) == dt.date(2029, 2, 28)
    assert months_later(dt.date(2027, 11, 30), 3) == dt.date(2028, 2, 29)
    found = made({"start": "2027-06-01", "weekdays": EVERY_DAY})
    assert np.datetime64("2028-02-29") in found.days
    assert found.year() == 366
    assert len(found.days) == 366 + 365


def test_event_opens_days_and_counts_drinks() -> None:
    event = {"name": "fair", "start": "2026-01-10", "end": "2026-01-11", "drinks_per_day": 450}
    found = made({"events": [event]})
    litres = day_litres(found, "machine")[:, 0] / FL_OZ_L / 8
    assert litres[:7] == pytest.approx([100, 100, 100, 100, 100, 450, 450])
    assert found.drinks_between(0, 7)[0] == pytest.approx(1400)
    assert found.peak_day_litres()[0] == pytest.approx(450 * 8 * FL_OZ_L)


def test_event_multiplies_over_the_season() -> None:
    event = {"name": "fair", "start": "2026-01-06", "end": "2026-01-06", "multiplier": 3}
    found = made({"events": [event], "seasons": [{"months": [1], "multiplier": 0.5}]})
    assert found.curves[0, :3] == pytest.approx([0.5, 1.5, 0.5])


def test_season_leaves_fixed_uses_alone() -> None:
    found = made(
        {"seasons": [{"months": [1], "multiplier": 0}]},
        fixed=[{"name": "wash", "branch": "sink", "gal_per_service_day": 4}],
    )
    assert day_litres(found, "sink")[0, 0] == pytest.approx(4 * GAL_L)
    assert day_litres(found, "machine")[0, 0] == 0


def test_closures_and_notices_stop_service_events_too() -> None:
    span = {"start": "2026-01-06", "end": "2026-01-07"}
    event = {"name": "fair", "start": "2026-01-07", "end": "2026-01-08", "multiplier": 2}
    for stop in ({"closures": [span]}, {"suspensions": [span]}):
        found = made({"events": [event], **stop})
        assert found.open[:5].tolist() == [True, False, False, True, True]


def test_growth_is_a_straight_line() -> None:
    found = made({"weekdays": EVERY_DAY, "growth_per_year": 0.2})
    litres = day_litres(found, "machine")[:, 0]
    assert litres[0] == pytest.approx(800 * FL_OZ_L)
    assert litres[365] / litres[0] == pytest.approx(1 + 0.2 * 365 / 365.25)


def test_list_is_scaled_to_a_total() -> None:
    found = made(
        {},
        drinks_per_service_day=50,
        drinks=[{"name": "a", "per_service_day": 3, "fl_oz": 10}, {"name": "b", "per_service_day": 1, "fl_oz": 2}],
    )
    assert found.ordinary_day_litres("machine")[0] == pytest.approx((37.5 * 10 + 12.5 * 2) * FL_OZ_L)
    assert found.drinks[0, 0] == pytest.approx(50)


def test_sums_agree_with_days() -> None:
    event = {"name": "fair", "start": "2026-03-10", "end": "2026-03-12", "drinks_per_day": 300}
    found = made(
        {"events": [event], "growth_per_year": [0, 0.3]},
        n=16,
        drinks=[{"name": "milk_drink", "per_service_day": [50, 70, 110]}],
        fixed=[{"name": "backflush", "branch": "machine"}],
    )
    days = day_litres(found, "machine")
    assert days.shape == (len(found.days), 16)
    assert found.litres("machine", 10, 200) == pytest.approx(days[10:200].sum(axis=0))
    assert found.peak_day_litres("machine") == pytest.approx(days.max(axis=0))
    assert found.litres_per_service_day("machine") == pytest.approx(days.sum(axis=0) / found.open.sum())


def test_unknown_branch_and_unlisted_drink() -> None:
    with pytest.raises(InputError, match=r"attic.*machine, rinser, sink"):
        made({}, fixed=[{"name": "wash", "branch": "attic", "gal_per_service_day": 4}])
    with pytest.raises(InputError, match="fl_oz"):
        made({}, drinks=[{"name": "soup", "per_service_day": 4}])


@pytest.mark.parametrize(
    "bad",
    [
        {"drinks": []},
        {"drinks_per_service_day": 10, "mix": {"tea": 0.5}},
        {"drinks": [{"name": "tea", "per_service_day": 1}], "mix": {"tea": 1}},
        {"drinks_per_service_day": 10, "calendar": {"start": MONDAY, "months": 12}},
        {"drinks_per_service_day": 10, "calendar": {"start": MONDAY, "weekdays": []}},
        {
            "drinks_per_service_day": 10,
            "calendar": {"start": MONDAY, "events": [{"name": "x", "start": MONDAY, "end": MONDAY}]},
        },
        {
            "drinks_per_service_day": 10,
            "calendar": {"start": MONDAY, "closures": [{"start": "2026-02-02", "end": "2026-02-01"}]},
        },
    ],
)
def test_refused(bad: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        DemandInput.model_validate({"calendar": {"start": MONDAY}, **bad})


def test_no_drinks_cost_nothing() -> None:
    found = made({}, drinks_per_service_day=0)
    assert found.peak_day_litres()[0] == 0
    assert found.drinks_between()[0] == 0
