"""An invented fleet with a year of logs, the same for a seed: what a firm that looks after many units would have.

    from fleet import fleet, keep

    units = fleet(60)              # documents, logs, and the truth that the logs were made from
    refs = keep(store, units)      # in a store

The units of a firm share a truth that no plan knows (``water_factor``: how much more water a drink takes than the
usual figure), and each has its own about it. The meters, the counts, the changes and the strips of the log follow from
that truth with the errors of instruments. Everything is invented; nothing here is a value to check against.
"""

from __future__ import annotations

import datetime as dt
import math
import random
import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from brewwater.log.entry import Reading
from brewwater.planning.document import mobile_template
from brewwater.store import Store

SEED = 25
TOWNS = (("Larkmere", 180, 120), ("Ottery Flats", 95, 60), ("Quarrybank", 310, 220), ("Tidewell", 45, 30))
COLOURS = ("Amber", "Blue", "Copper", "Dun", "Ember", "Fawn", "Green", "Hazel", "Indigo", "Jet", "Khaki", "Lilac")
SHAPES = ("barge", "cart", "hatch", "kiosk", "trailer", "truck", "van")
GAL_PER_DRINK = 0.085  # water that passes the filters for a drink, flushes in it, where nothing is known of a firm
CHANGE_GAL = {"sediment": 2600.0, "carbon": 1900.0}


@dataclass(frozen=True)
class InventedUnit:
    """One unit. ``truth``: ``drinks`` a service day, ``gal`` through its filters on one, ``factor`` over what its
    drinks would take by ``GAL_PER_DRINK``; ``changes`` the days on which each cartridge was really changed."""

    name: str
    town: str
    document: dict[str, Any]
    readings: tuple[Reading, ...]
    truth: dict[str, float]
    changes: dict[str, tuple[dt.date, ...]]


def fleet(
    number: int = 60,
    *,
    seed: int = SEED,
    last: dt.date = dt.date(2026, 12, 1),
    days: int = 365,
    water_factor: float = 1.25,
    spread: float = 0.2,
    draws: int = 64,
) -> list[InventedUnit]:
    """``number`` units with logs of the ``days`` up to ``last``; ``spread`` is that of the units about the firm's
    ``water_factor``, in the natural logarithm."""
    return [
        _unit(n, random.Random(f"{seed}/{n}"), last - dt.timedelta(days=days), last, water_factor, spread, draws)
        for n in range(number)
    ]


def keep(store: Store, units: Iterable[InventedUnit]) -> list[str]:
    """Save every unit with its plan and log; returns their refs in order."""
    refs = []
    for unit in units:
        ref = store.create_unit(unit.name).ref
        store.save_plan(ref, unit.document, 0)
        store.add_readings(ref, unit.readings)
        refs.append(ref)
    return refs


def _unit(
    n: int, dice: random.Random, first: dt.date, last: dt.date, water_factor: float, spread: float, draws: int
) -> InventedUnit:
    name = f"{COLOURS[n % len(COLOURS)]} {SHAPES[n // len(COLOURS) % len(SHAPES)]} {n + 1}"
    town, hardness, alkalinity = TOWNS[dice.randrange(len(TOWNS))]
    drinks = round(dice.uniform(60, 260))
    factor = water_factor * math.exp(dice.gauss(0, spread))
    gal = drinks * GAL_PER_DRINK * factor
    weekdays = ["mon", "tue", "wed", "thu", "fri", *(["sat"] if dice.random() < 0.5 else [])]
    train = [{"name": "grit", "medium": "sediment"}, {"name": "carbon", "medium": "carbon"}]
    document: dict[str, Any] = mobile_template().model_dump(mode="json")
    document["demand"]["calendar"] |= {"start": first.isoformat(), "months": 36, "weekdays": weekdays}
    document["demand"]["drinks_per_service_day"] = drinks
    document["supplies"] = [{
        "name": town,
        "analysis": {
            "total_hardness": {"value": hardness, "unit": "mg/L", "method": "report"},
            "alkalinity": {"value": alkalinity, "unit": "mg/L", "method": "report"},
        },
    }]  # fmt: skip
    document["fill"]["fills"] = [{"supply": town}]
    document |= {"name": name, "train": train, "settings": {"draws": draws, "seed": 1}}
    lines: list[Reading] = []
    changes: dict[str, list[dt.date]] = {"grit": [], "carbon": []}
    lives = {"grit": CHANGE_GAL["sediment"], "carbon": CHANGE_GAL["carbon"]}
    since = dict.fromkeys(lives, 0.0)
    meter = 0.0
    for day in _days(first, last):
        if ("mon", "tue", "wed", "thu", "fri", "sat", "sun")[day.weekday()] in weekdays:
            today = gal * math.exp(dice.gauss(0, 0.15))
            meter += today
            since = {part: passed + today for part, passed in since.items()}
        for part, life in lives.items():
            if since[part] >= life * math.exp(dice.gauss(0, 0.05)):
                changes[part].append(day)
                since[part] = 0.0
                lines.append(_line(n, len(lines), date=day, kind="changed_cartridge", where=part))
        if day.weekday() == 4:
            lines.append(_line(n, len(lines), date=day, kind="meter_gal", value=round(meter), unit="gal"))
            sold = round(drinks * math.exp(dice.gauss(0, 0.1)))
            lines.append(_line(n, len(lines), date=day, kind="drinks_sold", value=sold, unit="drinks"))
        if day.day == 1:
            used = since["grit"] / lives["grit"]
            before = 52 + dice.gauss(0, 2)
            drop = 4 + 8 * used**2
            for kind, psi in (("pressure_in_psi", before), ("pressure_out_psi", before - drop)):
                lines.append(_line(n, len(lines), date=day, kind=kind, value=round(psi), unit="psi"))
            for kind, truth, step in (("hardness", hardness, 20), ("alkalinity", alkalinity, 20)):
                seen = max(0, step * round(truth * math.exp(dice.gauss(0, 0.1)) / step))
                lines.append(
                    _line(n, len(lines), date=day, kind=kind, value=seen, unit="mg/L", where="served", method="strip")
                )
    truth = {"drinks": float(drinks), "gal": gal, "factor": factor}
    made = {part: tuple(found) for part, found in changes.items()}
    return InventedUnit(name, town, document, tuple(lines), truth, made)


def _days(first: dt.date, last: dt.date) -> Iterator[dt.date]:
    return (first + dt.timedelta(days=n) for n in range((last - first).days + 1))


def _line(of: int, number: int, **fields: Any) -> Reading:
    return Reading(id=uuid.uuid5(uuid.NAMESPACE_OID, f"{of}/{number}").hex, **fields)
