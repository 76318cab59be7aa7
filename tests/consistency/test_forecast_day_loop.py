"""Change dates against a plain loop over days, written from the document alone, and the closed form."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from brewwater.changes import GOVERNS, Changes, Policy, changes, moves_of, stops_of
from brewwater.changes.wear import ledger, wear
from brewwater.demand import DemandInput, demand
from brewwater.ensemble import Draws
from brewwater.supply.tank_days import FillCalendar, tank_days
from brewwater.treatment.medium import Load
from brewwater.treatment.rating import Capacity

NAMES = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
GAL_L, FL_OZ_L = 3.785411784, 3.785411784 / 128
DRAWS = 2


def dates(rng: np.random.Generator, start: dt.date, longest: int) -> dict[str, str]:
    first = start + dt.timedelta(days=int(rng.integers(-20, 700)))
    return {"start": str(first), "end": str(first + dt.timedelta(days=int(rng.integers(0, longest))))}


def random_document(rng: np.random.Generator) -> tuple[dict[str, Any], dict[str, Any]]:
    start = dt.date(2026, 1, 1) + dt.timedelta(days=int(rng.integers(0, 1500)))
    weekdays = [w for w in NAMES if rng.random() < 0.7] or ["sat"]
    events: list[dict[str, Any]] = []
    for number in range(int(rng.integers(0, 4))):
        measure = (
            {"multiplier": float(rng.uniform(0.5, 4))}
            if rng.random() < 0.5
            else {"drinks_per_day": float(rng.uniform(50, 500))}
        )
        events.append({"name": f"event {number}", **dates(rng, start, 6), **measure})
    closures = [
        {
            **dates(rng, start, 100),
            "kind": str(rng.choice(["closed", "stored"])),
            "frozen": bool(rng.random() < 0.3),
            "drained": bool(rng.random() < 0.5),
        }
        for _ in range(int(rng.integers(0, 3)))
    ]
    calendar = {
        "start": str(start),
        "months": int(rng.integers(24, 30)),
        "weekdays": weekdays,
        "events": events,
        "closures": closures,
        "growth_per_year": float(rng.choice([0, 0.25])),
        "suspensions": [dates(rng, start, 8)] if rng.random() < 0.3 else [],
        "seasons": [{"months": [6, 7, 8], "multiplier": 1.5}] if rng.random() < 0.5 else [],
    }
    cup = {"name": "cup", "per_service_day": float(rng.uniform(20, 200)), "fl_oz": float(rng.uniform(4, 12))}
    document = {
        "calendar": calendar,
        "drinks": [cup],
        "fixed": [{"name": "flush", "branch": "machine", "gal_per_service_day": float(rng.uniform(0, 2))}],
    }
    fills = [{"supply": "a"}, {"supply": "b", "weekdays": weekdays[::2]}]
    return document, {"fills": fills}


@dataclass
class Case:
    document: dict[str, Any]
    fills: dict[str, Any]
    per_litre: np.ndarray[Any, Any]  # (supply, draw) equivalents
    volume: np.ndarray[Any, Any]  # (cartridge, draw) litres
    exchange: np.ndarray[Any, Any]
    life: float

    def by_the_house(self) -> Changes:
        inputs = DemandInput.model_validate(self.document)
        draws = Draws(DRAWS)
        days = demand(inputs, ["machine"], draws)
        tank = tank_days(FillCalendar.model_validate(self.fills), days, inputs.calendar)
        per_supply = self.per_litre[[0 if n == "a" else 1 for n in tank.names]]
        on = wear(ledger(days, tank), days, {"machine": Load(exchange_eq=tank.shares @ per_supply)})

        def bears(number: int) -> Capacity:
            row, life = number % len(self.volume), np.array([self.life])
            return Capacity(volume_L=self.volume[row], exchange_eq=self.exchange[row], days=life)

        moves = moves_of(inputs.calendar, Policy())
        return changes(on, bears, stops=stops_of(inputs.calendar), moves=moves)


def overlaps(items: list[dict[str, Any]], day: dt.date) -> list[dict[str, Any]]:
    return [i for i in items if i["start"] <= str(day) <= i["end"]]


def day_loop(case: Case, draw: int) -> list[tuple[int, str]]:
    """The same rules, one day at a time."""
    calendar = case.document["calendar"]
    start = dt.date.fromisoformat(calendar["start"])
    month = start.month - 1 + calendar["months"]
    end = dt.date(start.year + month // 12, month % 12 + 1, 1)
    while end.day < start.day and (end + dt.timedelta(days=1)).month == end.month:
        end += dt.timedelta(days=1)
    count = (end - start).days
    days = [start + dt.timedelta(days=i) for i in range(count)]
    closed = calendar["closures"] + calendar["suspensions"]
    is_open, litres, use = [], [], []
    tank = None
    waters = {"a": case.per_litre[0, draw], "b": case.per_litre[1, draw]}
    for i, day in enumerate(days):
        name = NAMES[day.weekday()]
        events = overlaps(calendar["events"], day)
        serving = (name in calendar["weekdays"] or bool(events)) and not overlaps(closed, day)
        cup = case.document["drinks"][0]
        drinks = cup["per_service_day"] * (1 + calendar["growth_per_year"] * i / 365.25)
        for season in calendar["seasons"]:
            drinks *= season["multiplier"] if day.month in season["months"] else 1
        if events and "multiplier" in events[-1]:
            drinks *= events[-1]["multiplier"]
        elif events:
            drinks = events[-1]["drinks_per_day"]
        poured = drinks * cup["fl_oz"] * FL_OZ_L
        poured += case.document["fixed"][0]["gal_per_service_day"] * GAL_L
        if serving:
            tank = "b" if name in case.fills["fills"][1]["weekdays"] else "a"
        is_open.append(serving)
        litres.append(poured if serving else 0.0)
        use.append(litres[-1] * waters[tank or "a"])

    def index(text: str, later: int = 0) -> int:
        return min(max((dt.date.fromisoformat(text) - start).days + later, 0), count)

    stops = []
    for stop in calendar["closures"]:
        if index(stop["end"], 1) > 0 and index(stop["start"]) < count:
            if stop["frozen"] and not stop["drained"]:
                stops.append((index(stop["start"]), index(stop["end"], 1), "freeze"))
            elif stop["kind"] == "stored":
                stops.append((index(stop["start"]), index(stop["end"], 1), "lay-up"))
    for stop in calendar["suspensions"]:
        if index(stop["end"], 1) > 0 and index(stop["start"]) < count:
            stops.append((index(stop["end"], 1), index(stop["end"], 1), "notice"))
    stops.sort()
    eve: dict[int, int] = {}
    for event in sorted(calendar["events"], key=lambda e: e["start"]):
        first = index(event["start"])
        if first > 0:
            target = eve.get(first - 1, first - 1)
            eve.update(dict.fromkeys(range(first, index(event["end"], 1)), target))

    def service_from(day: int) -> int:
        while day < count and not is_open[day]:
            day += 1
        return day

    found = []
    installed = service_from(0)
    while installed < count:
        number = len(found) % len(case.volume)
        room = 0.8 * case.volume[number, draw], 0.8 * case.exchange[number, draw]
        used = [0.0, 0.0]
        reason, day = "", installed
        while day < count and not reason:
            if day - installed >= int(case.life) and day > installed:
                reason = "time"
            elif used[0] + litres[day] > room[0] * (1 + 1e-12) and day > installed:
                reason = "volume"
            elif used[1] + use[day] > room[1] * (1 + 1e-12) and day > installed:
                reason = "exchange"
            else:
                used = [used[0] + litres[day], used[1] + use[day]]
                day += 1
        if eve.get(day, day) > installed:
            day = eve.get(day, day)
        back = service_from(day)
        for out, again, why in stops:
            if installed < out <= day:
                day, back, reason = out, again, why
                for later_out, later_again, _ in stops:  # one stop that runs into the next
                    if out <= later_out <= back:
                        back = max(back, later_again)
                break
        if day >= count:
            break
        found.append((day, reason))
        installed = back
    return found


def random_case(seed: int) -> Case:
    rng = np.random.default_rng(seed)
    document, fills = random_document(rng)
    return Case(
        document,
        fills,
        per_litre=rng.uniform(0.001, 0.008, (2, DRAWS)),
        volume=rng.uniform(500, 8000, (5, DRAWS)),
        exchange=rng.uniform(2, 30, (5, DRAWS)),
        life=float(rng.choice([60.5, 182.6, 365.25])),
    )


@pytest.mark.parametrize("block", range(10))
def test_same_dates_as_a_day_loop(block: int) -> None:
    for seed in range(20 * block, 20 * block + 20):
        case = random_case(seed)
        found = case.by_the_house()
        horizon = len(found.days)
        for draw in range(DRAWS):
            rows = zip(found.day[:, draw], found.governs[:, draw], strict=True)
            ours = [(int(d), GOVERNS[g]) for d, g in rows if d < horizon]
            assert ours == day_loop(case, draw), f"seed {seed}, draw {draw}"


@pytest.mark.parametrize("gal", [0.7, 3.0, 11.3])
@pytest.mark.parametrize("capacity_gal", [150.0, 777.0, 3000.0])
def test_closed_form_at_constant_demand(gal: float, capacity_gal: float) -> None:
    inputs = DemandInput.model_validate(
        {
            "calendar": {"start": "2026-01-01", "weekdays": NAMES},
            "drinks": [{"name": "cup", "per_service_day": gal * 16, "fl_oz": 8}],
        }
    )
    days = demand(inputs, ["machine"], Draws(1))
    tank = tank_days(FillCalendar.model_validate({"fills": [{"supply": "a"}]}), days, inputs.calendar)
    on = wear(ledger(days, tank), days, {"machine": Load()})
    found = changes(on, lambda number: Capacity(volume_L=np.array([capacity_gal * GAL_L])))
    each = int(0.8 * capacity_gal / gal)
    expected = [min(each * (k + 1), len(days.days)) for k in range(len(found.day))]
    assert found.day[:, 0].tolist() == expected


def test_the_random_plans_meet_every_cause() -> None:
    met = {reason for seed in range(60) for _, reason in day_loop(random_case(seed), 0)}
    assert met == {"volume", "exchange", "time", "lay-up", "freeze", "notice"}
