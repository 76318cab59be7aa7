"""Laws that hold for any plan document: what moves no date, and what moves it one way only."""

from __future__ import annotations

import datetime as dt
import os
from collections.abc import Callable, Iterator
from itertools import islice
from typing import Any

import pytest
from random_documents import Chance, random_document

from brewwater.log.entry import ANALYTE_OF, EVENTS
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import load_document
from brewwater.records import Span
from brewwater.units import from_plan_units, to_plan_units

# How many documents each law is tried on; the house's own test takes three times as many.
MANY = max(int(os.environ.get("BREWWATER_RANDOM_DOCUMENTS", "12")) // 3, 1)
FIRST = int(os.environ.get("BREWWATER_RANDOM_FIRST", "0"))
Document = dict[str, Any]
Changed = Callable[[Document], Document]


def treated(seed: int, readings: bool = False) -> Document | None:
    """A random document whose train treats some water, each change made for itself; None where it has none.

    Grouped changes may part when one of them moves, so that the other goes back to a later date of its own.
    """
    document = random_document(seed)
    stages = document.get("train")
    if not stages or not any(b.filtered for b in load_document(document).branches):
        return None
    document["policy"] = {**document["policy"], "group_days": 0}
    document["settings"] = {"draws": 64, "seed": document["settings"]["seed"]}
    return document if readings else {**document, "readings": []}


def some(readings: bool = False, fits: Callable[[Document], bool] = bool) -> Iterator[tuple[int, Document]]:
    """Documents for a law, by seed."""
    found = ((seed, treated(seed, readings)) for seed in range(FIRST, FIRST + 1000 * MANY))
    return islice(((seed, d) for seed, d in found if d is not None and fits(d)), MANY)


def dates(plan: Plan) -> dict[str, list[dt.date]]:
    return {c.stage.name: [d.date for d in plan.calendar.of(c.stage.name)] for c in plan.candidate.cartridges}


def planned(document: Document) -> Plan:
    return make_plan(document, search=False)


def sooner_or_same(one: Plan, other: Plan, seed: int) -> None:
    """No change of ``other`` is later than the same one of ``one``, and it has as many."""
    before, after = dates(one), dates(other)
    assert before.keys() == after.keys()
    for name, days in before.items():
        assert len(after[name]) >= len(days), (seed, name)
        late = [(a, b) for a, b in zip(days, after[name], strict=False) if b > a]
        assert not late, (seed, name, late[:3])


def same(one: Plan, other: Plan, seed: int) -> None:
    assert dates(one) == dates(other), seed
    assert float(other.cost.expected) == pytest.approx(float(one.cost.expected), abs=0.02), seed
    judged = [{(v.branch, v.subject): v.status for v in p.candidate.verdicts} for p in (one, other)]
    assert judged[0] == judged[1], seed


def times(span: Any, factor: float) -> dict[str, float | None]:
    own = Span.model_validate(span)
    typical = None if own.typical is None else own.typical * factor
    return {"low": own.low * factor, "typical": typical, "high": own.high * factor}


def busier(document: Document) -> Document:
    demand = dict(document["demand"])
    if "drinks_per_service_day" in demand:
        demand["drinks_per_service_day"] = times(demand["drinks_per_service_day"], 1.4)
    if "drinks" in demand:
        demand["drinks"] = [d | {"per_service_day": times(d["per_service_day"], 1.4)} for d in demand["drinks"]]
    return document | {"demand": demand}


def test_more_drinks_never_delay_a_change() -> None:
    for seed, document in some():
        sooner_or_same(planned(document), planned(busier(document)), seed)


def rated(document: Document, factor: float) -> Document:
    """Every stage with a rating at a stated water, so many times what it is."""
    reference = {
        "reference_hardness_mg_L_as_CaCO3": 150,
        "reference_alkalinity_mg_L_as_CaCO3": 120,
        "reference_chlorine_mg_L_as_Cl2": 1,
    }
    stages = []
    for number, stage in enumerate(document["train"]):
        sheet = {**stage["sheet"], **reference, "rated_gal": 400 * (number + 1) * factor}
        if "capacity_grains" in sheet:
            sheet["capacity_grains"] = sheet["capacity_grains"] * factor
        stages.append(stage | {"sheet": sheet})
    return document | {"train": stages}


def test_a_larger_rated_capacity_never_brings_a_change_forward() -> None:
    for seed, document in some():
        sooner_or_same(planned(rated(document, 1.5)), planned(rated(document, 1.0)), seed)


OTHER = {"total_hardness": "gpg", "alkalinity": "dH", "calcium": "mmol/L", "iron": "ug/L", "conductivity": "mS/m"}
OTHER_READ = {"meter_gal": ("L", 3.785411784), "pressure_in_psi": ("kPa", 6.894757293168361)}


def in_other_units(document: Document) -> Document:
    supplies = []
    for supply in load_document(document).supplies:
        plain = supply.model_dump(mode="json")
        for analyte, unit in OTHER.items():
            if analyte in supply.analysis:
                own = supply.analysis[analyte].in_plan_units(analyte)
                ends = {k: None if v is None else from_plan_units(v, unit, analyte) for k, v in own}
                plain["analysis"][analyte] |= {"value": ends, "unit": unit, "basis": None}
        supplies.append(plain)
    lines = []
    for line in document["readings"]:
        if line["kind"] in OTHER_READ and line["unit"] in ("gal", "psi"):
            unit, factor = OTHER_READ[line["kind"]]
            line = line | {"value": line["value"] * factor, "unit": unit}
        elif line["kind"] == "hardness" and line["kind"] not in EVENTS:
            own = to_plan_units(line["value"], line["unit"], ANALYTE_OF["hardness"])
            line = line | {"value": from_plan_units(own, "dH", "total_hardness"), "unit": "dH"}
        lines.append(line)
    return document | {"supplies": supplies, "readings": lines, "units": "metric"}


def unlike(document: Document) -> Document:
    """The same in another order: branches, supplies, machines, and the lines of each day of the log."""
    chance = Chance(1)
    lines = list(document["readings"])
    chance.shuffle(lines)
    return document | {
        "branches": document["branches"][::-1],
        "supplies": document["supplies"][::-1],
        "machines": document["machines"][::-1],
        "readings": sorted(lines, key=lambda line: line["date"]),
    }


def with_an_unused_supply(document: Document) -> Document:
    unused = random_document(4)["supplies"][0] | {"name": "Nobody fills here"}
    return document | {"supplies": [unused, *document["supplies"]]}


@pytest.mark.parametrize("changed", [in_other_units, unlike, with_an_unused_supply])
def test_what_says_the_same_moves_nothing(changed: Changed) -> None:
    for seed, document in some(readings=True, fits=lambda d: len(d["readings"]) <= 20):
        same(planned(document), planned(changed(document)), seed)


def metered(document: Document, pace: float) -> Document:
    """With a meter of all that is filtered, read each week from the start on: so many gallons a day."""
    start = dt.date.fromisoformat(document["demand"]["calendar"]["start"])
    lines = [
        {
            "id": f"{week:032x}",
            "date": (start + dt.timedelta(days=7 * week)).isoformat(),
            "kind": "meter_gal",
            "where": "",
            "value": 1000 + 7 * week * pace,
            "unit": "gal",
        }
        for week in range(5)
    ]
    return document | {"readings": lines, "settings": {"draws": 256}}


def test_a_faster_meter_never_delays_a_change() -> None:
    for seed, document in some():
        litres = planned(document).scenario.demand
        filtered = [b.name for b in load_document(document).branches if b.filtered]
        usual = sum(float(litres.ordinary_day_litres(b).mean()) for b in filtered) / 3.785
        if usual > 0.5:
            slow, fast = (planned(metered(document, usual * x)) for x in (0.8, 4.0))
            sooner_or_same(slow, fast, seed)
