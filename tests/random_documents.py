"""Random valid plan documents: whatever a document may hold, at its extremes too, the same for a seed.

    from random_documents import documents, random_document

``random_document(seed)`` is a plain mapping for ``load_document``; ``documents()`` a hypothesis strategy over
seeds. ``PARTS`` are the parts it is put together from, each a function of a ``Chance`` that a test of one room may
call by itself. Everything in it is invented; nothing here is a value to check against.
"""

from __future__ import annotations

import datetime as dt
import random
import string
from collections.abc import Sequence
from typing import Any, TypeVar, get_args

from hypothesis import strategies as st

from brewwater.log.entry import EVENTS, KINDS
from brewwater.plumbing.parts import FixtureKind, UnitKind
from brewwater.reference import keyed, table
from brewwater.treatment.stage import Medium
from brewwater.units import from_plan_units

T = TypeVar("T")
Document = dict[str, Any]

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
MEDIA: tuple[str, ...] = get_args(Medium)
METHODS = ("report", "lab", "drop_kit", "meter", "strip", "typed", "unknown")
# What a report may print of a water, with other units for the same figure, and what is usual: low, high.
ANALYTES: dict[str, tuple[tuple[str, ...], float, float]] = {
    "total_hardness": (("mg/L", "gpg", "dH", "fH", "mmol/L"), 0, 600),
    "alkalinity": (("mg/L", "dH", "meq/L"), 0, 450),
    "total_dissolved_solids": (("mg/L",), 20, 1500),
    "conductivity": (("uS/cm", "mS/m"), 30, 2200),
    "calcium": (("mg/L", "mmol/L"), 0, 180),
    "magnesium": (("mg/L",), 0, 60),
    "sodium": (("mg/L",), 0, 250),
    "potassium": (("mg/L",), 0, 20),
    "chloride": (("mg/L", "mmol/L"), 0, 300),
    "sulfate": (("mg/L",), 0, 300),
    "nitrate": (("mg/L",), 0, 50),
    "silica": (("mg/L",), 0, 60),
    "iron": (("mg/L", "ug/L"), 0, 2),
    "manganese": (("mg/L", "ug/L"), 0, 0.5),
    "ph": (("1",), 5.5, 9.5),
    "free_chlorine": (("mg/L",), 0, 3),
    "total_chlorine": (("mg/L",), 0, 4),
    "chloramine": (("mg/L",), 0, 4),
    "temperature": (("degC", "degF"), 3, 30),
    "lead": (("ug/L", "mg/L"), 0, 0.02),
    "e_coli": (("count",), 0, 3),
}
# Units of a reading by kind, and the usual range in the first of them.
READ: dict[str, tuple[tuple[str, ...], float, float]] = {
    "meter_gal": (("gal", "L", "m3"), 0, 20000),
    "drinks_sold": (("drinks", ""), 0, 400),
    "pressure_in_psi": (("psi", "kPa", "bar"), 0, 90),
    "pressure_out_psi": (("psi", "kPa", "bar"), 0, 90),
    "hardness": (("mg/L", "gpg", "dH"), 0, 500),
    "alkalinity": (("mg/L", "dH"), 0, 400),
    "conductivity": (("uS/cm",), 10, 1800),
    "tds": (("mg/L",), 5, 1000),
    "total_chlorine": (("mg/L",), 0, 4),
    "free_chlorine": (("mg/L",), 0, 4),
    "chloride": (("mg/L",), 0, 300),
    "ph": (("1", ""), 4, 10),
}
_AWKWARD = ("<b>&", "Überlauf № 2", '"x"', "-", "a,b;c", "日本 3", "%d {0}", "CON", "  x y  ".strip(), "é" * 40)


class Chance(random.Random):
    """A seeded source of choices that now and then goes to the end of a range."""

    def maybe(self, share: float = 0.5) -> bool:
        """True with this probability."""
        return self.random() < share

    def one(self, values: Sequence[T]) -> T:
        """One of them."""
        return self.choice(values)

    def some(self, values: Sequence[T], least: int = 0) -> list[T]:
        """Some of them, in any order."""
        return self.sample(list(values), self.randint(least, len(values)))

    def number(self, low: float, high: float, digits: int = 4) -> float:
        """Inside a range, an end of it with probability 0.2; ``digits`` significant ones."""
        if self.maybe(0.2):
            return self.one((low, high))
        if low >= 0 and high > 0 and self.maybe(0.3):  # small ones too
            at = low + (high - low) * self.random() ** 4
        else:
            at = self.uniform(low, high)
        return min(max(float(f"{at:.{digits}g}"), low), high)

    def span(self, low: float, high: float) -> Any:
        """A Span in one of the forms a document may use."""
        ends = sorted(self.number(low, high) for _ in range(3))
        return self.one((ends[1], ends[1], [ends[0], ends[2]], ends, {"low": ends[0], "high": ends[2]}))

    def near(self, value: float) -> Any:
        """A Span around a value."""
        wide = self.one((0.0, 0.05, 0.2, 0.6))
        if not wide:
            return value
        low, high = (float(f"{value * (1 + s * wide):.4g}") for s in (-1, 1))
        return self.one(([min(low, value), value, max(high, value)], [min(low, value), max(high, value)]))

    def name(self, stem: str, number: int) -> str:
        """A name of its own, now and then one that is hard to print."""
        return f"{stem}{number}" if self.maybe(0.85) else f"{self.one(_AWKWARD)} {stem}{number}"

    def day(self, start: dt.date, first: int, last: int) -> dt.date:
        """A day between so many days from ``start``."""
        return start + dt.timedelta(days=self.randint(first, last))

    def identity(self) -> str:
        """An id of a reading."""
        return "".join(self.choices(string.hexdigits[:16], k=32))


def measurement(chance: Chance, analyte: str) -> Document:
    """One figure of a report, in one of the units reports use."""
    units, low, high = ANALYTES[analyte]
    unit = chance.one(units)
    value = chance.number(low, high)

    def turned(x: float) -> float:
        shown = x if unit == units[0] and analyte != "lead" else from_plan_units(x, unit, analyte)
        return max(float(f"{shown:.6g}"), 0.0)

    wide = chance.one((0.0, 0.0, 0.05, 0.3))
    ends = [turned(max(low, value * (1 - wide))), turned(value), turned(min(high, value * (1 + wide)))]
    entry: Document = {"value": ends[1] if not wide else ends, "unit": unit, "method": chance.one(METHODS)}
    if chance.maybe(0.1) and analyte not in ("ph", "temperature"):
        entry |= {"value": [0, ends[2]], "below_detection": True}
    if chance.maybe(0.3):
        entry |= {"date": "2026", "page": 1, "text": chance.one(("as printed", "<i>x</i>"))}
    return entry


def supply(chance: Chance, name: str) -> Document:
    """A supply of which anything from nothing to everything is known."""
    known = chance.one(((), ("total_hardness", "alkalinity"), None, None))
    if known is None:
        known = chance.some(list(ANALYTES))
    return {
        "name": name,
        "analysis": {analyte: measurement(chance, analyte) for analyte in known},
        "disinfectant": chance.one(("free_chlorine", "chloramine", "none", "unknown")),
        "kind": chance.one(("public", "public", "well", "hauled")),
        "notice": chance.one(("none",) * 8 + ("boil_water", "do_not_drink")),
        "violation_reported": chance.maybe(0.1),
        **({"water_price_per_1000_gal": chance.span(0, 30)} if chance.maybe(0.3) else {}),
    }


def fill(chance: Chance, supplies: Sequence[str], start: dt.date) -> Document:
    """Which supply fills the tank when; some supplies may never."""
    fills = []
    for name in chance.some(supplies, least=1):
        entry: Document = {"supply": name}
        if chance.maybe(0.5):
            entry["weekdays"] = chance.some(DAYS, least=1)
        if chance.maybe(0.2):
            entry["start"] = chance.day(start, -100, 500).isoformat()
        if chance.maybe(0.2):
            entry["end"] = chance.day(start, 0, 900).isoformat()
        fills.append(entry)
    return {"fills": fills, "heel": chance.one((0, 0, 0.15, 0.5, 0.95))}


def calendar(chance: Chance) -> Document:
    """A calendar whose first twelve months have a service day: nothing closes its first fortnight."""
    start = dt.date(2026, 1, 1) + dt.timedelta(days=chance.randint(0, 1500))

    def dated(most: int, first: int = 14) -> Document:
        at = chance.day(start, first, 800)
        return {"start": at.isoformat(), "end": (at + dt.timedelta(days=chance.randint(0, most))).isoformat()}

    many = chance.one((0, 1, 1, 3))
    return {
        "start": start.isoformat(),
        "months": chance.one((24, 24, 30, 36)),
        "weekdays": chance.some(DAYS, least=1),
        "events": [
            {"name": chance.name("Fair ", i), **dated(10, -30)}
            | (chance.one(({"multiplier": chance.number(0, 10)}, {"drinks_per_day": chance.number(0, 3000)})))
            for i in range(many)
        ],
        "closures": [
            {
                "name": chance.name("Closed ", i),
                "kind": chance.one(("closed", "stored")),
                "drained": chance.maybe(),
                "frozen": chance.maybe(0.3),
            }
            | dated(chance.one((3, 20, 150)))
            for i in range(chance.one((0, 0, 1, 3)))
        ],
        "suspensions": [
            {"replace_cartridges": chance.maybe(0.7)} | dated(10) for _ in range(chance.one((0, 0, 0, 1, 2)))
        ],
        "seasons": [
            {"months": chance.some(range(1, 13), least=1), "multiplier": chance.number(0.1, 4)}
            for _ in range(chance.one((0, 0, 1, 2)))
        ],
        "growth_per_year": chance.one((0, 0, 0.1, [0, 0.1, 0.5])),
    }


def branch(chance: Chance, name: str, machines: Sequence[str], filtered: bool | None) -> Document:
    """One fixture; ``filtered`` None leaves it to its kind."""
    found: Document = {"name": name, "kind": chance.one(get_args(FixtureKind))}
    if filtered is not None:
        found["filtered"] = filtered
    if chance.maybe(0.6):
        found["machine"] = chance.one(machines)
    if chance.maybe(0.3):
        found["flow_gpm"] = chance.span(0.05, 4)
    if chance.maybe(0.2):
        found["at_once"] = chance.maybe()
    if chance.maybe(0.2):
        found["to_waste_share"] = chance.number(0, 1)
    if chance.maybe(0.2):
        found["connection"] = chance.one([row["key"] for row in table("thread_sizes")])
    if chance.maybe(0.2):
        found["pipe"] = {
            "size": chance.one(("1/2", "3/4", "1")),
            "length_ft": chance.number(0, 120),
            "elbows": chance.randint(0, 12),
            "rise_ft": chance.number(-10, 20),
        }
    return found


def machine(chance: Chance, name: str) -> Document:
    """A machine whose manual says anything from nothing to everything."""
    found: Document = {
        "name": name,
        "kind": chance.one(("espresso", "steam_boiler", "brewer", "hot_water", "ice", "other")),
        "wetted_metal": chance.one(("copper_brass", "stainless", "unknown")),
        "stainless_grade": chance.one(("304", "316", "unknown")),
    }
    for quantity, most in (("hardness", 200), ("alkalinity", 150)):
        low, high = sorted(chance.number(0, most) for _ in range(2))
        if chance.maybe(0.3):
            found[f"{quantity}_min_mg_L_as_CaCO3"] = low
        if chance.maybe(0.3):
            found[f"{quantity}_max_mg_L_as_CaCO3"] = high
    for field, low, high in (
        ("chloride_max_mg_L", 0, 200),
        ("tds_max_mg_L", 0, 800),
        ("minimum_conductivity_uS_cm", 0, 100),
        ("minimum_inlet_psi", 1, 60),
        ("boiler_temperature_C", 0, 130),
        ("steam_fraction", 0, 0.9),
    ):
        if chance.maybe(0.25):
            found[field] = chance.number(low, high)
    return found


def demand(chance: Chance, branches: Sequence[str], when: Document) -> Document:
    """From no drink at all to thousands, by a list or by a number with a mix."""
    usual = [row["key"] for row in table("drink_water")]
    most = chance.one((30, 150, 400, 5000))
    found: Document = {"calendar": when, "main_branch": chance.one(branches)}
    names = chance.some(usual, least=1)
    if chance.maybe(0.5):
        found["drinks_per_service_day"] = chance.span(0, most)
        if chance.maybe():
            shares = [1.0] if len(names) == 1 else [0.5, *([0.5 / (len(names) - 1)] * (len(names) - 1))]
            found["mix"] = dict(zip(names, shares, strict=True))
        else:
            names = [row["drink"] for row in table("drink_mixes") if row["mix"] == "mobile"]
    else:
        found["drinks"] = [
            {"name": n, "per_service_day": chance.span(1, most)}
            | ({"branch": chance.one(branches)} if chance.maybe(0.5) else {})
            | ({"fl_oz": chance.span(0.5, 40)} if chance.maybe(0.3) else {})
            for n in names
        ]
        if chance.maybe(0.2):
            found["drinks_per_service_day"] = chance.span(0, most)
    found["uses_per_drink"] = [
        {
            "name": chance.name("Rinse ", i),
            "branch": chance.one(branches),
            "fl_oz": chance.span(0, 12),
            "per_drink": chance.number(0, 2),
        }
        | ({"drinks": chance.some(names, least=1)} if chance.maybe(0.3) else {})
        for i in range(chance.one((0, 1, 2)))
    ]
    found["fixed"] = [
        {"name": chance.name("Wash ", i), "branch": chance.one(branches), "gal_per_service_day": chance.span(0, 60)}
        for i in range(chance.one((0, 1, 2)))
    ] + [{"name": "hand_wash", "branch": chance.one(branches)}] * chance.maybe(0.2)
    return found


def sheet(chance: Chance) -> Document:
    """A data sheet that states anything from nothing to everything."""
    limits: dict[str, tuple[float, float]] = {
        "rated_gal": (10, 20000),
        "reference_hardness_mg_L_as_CaCO3": (10, 400),
        "reference_alkalinity_mg_L_as_CaCO3": (10, 400),
        "reference_chlorine_mg_L_as_Cl2": (0.1, 4),
        "reference_bypass_percent": (0, 60),
        "capacity_grains": (50, 60000),
        "service_flow_gpm": (0.05, 10),
        "clean_pressure_drop_psi": (0, 25),
        "drop_at_flow_gpm": (0.1, 5),
        "end_pressure_drop_psi": (1, 40),
        "bed_volume_L": (0.05, 40),
        "rated_output_gal_per_day": (10, 300),  # more, at several times its pressure, and no pipe here feeds it
        "rated_pressure_psi": (35, 90),
        "life_months": (0.5, 60),
        "micron": (0.2, 100),
    }
    some = chance.one((0.0, 0.0, 0.4, 1.0))
    found: Document = {key: chance.number(*ends) for key, ends in limits.items() if chance.maybe(some)}
    if chance.maybe(some):
        found["rated_for"] = chance.one(("free_chlorine", "chloramine", "unknown"))
        found["price"] = chance.span(0, 600)
        found["flush_gal"] = chance.span(0, 12)
    return found


def stage(chance: Chance, number: int, branches: Sequence[str]) -> Document:
    """One stage anywhere: on the trunk or on a branch, filtered or not."""
    medium = chance.one(MEDIA)
    found: Document = {"name": chance.name(f"S{number} {medium} ", number), "medium": medium}
    if chance.maybe(0.35):
        found["branch"] = chance.one(branches)
    if chance.maybe(0.4):
        found["bypass_percent"] = chance.number(0, 100)
    found["size"] = chance.one(("small", "medium", "large"))
    found["sheet"] = sheet(chance)
    if medium == "reverse_osmosis" and chance.maybe():
        found["recovery"] = chance.number(0.15, 0.9)
        found["temperature_curve"] = chance.one(("exponential", "army_table", "three_percent"))
    if medium == "reverse_osmosis" and chance.maybe(0.3):
        found["rejection"] = {ion: chance.number(0, 1) for ion in ("calcium", "sodium", "chloride")}
    if medium == "mineral_dose":
        found["doses"] = [
            {
                "salt": salt["key"],
                "mg_L": chance.number(0, float(salt["ceiling_mg_L"])),
                "purity": chance.number(0.5, 1),
            }
            for salt in chance.some(table("salts"))[:3]
        ]
    if medium == "calcium_to_magnesium" and chance.maybe():
        found["exchange_target"] = chance.number(0, 120)
    if chance.maybe(0.2):
        found["leakage_mg_L_as_CaCO3"] = chance.number(0, 30)
    return found


def unit(chance: Chance) -> Document:
    """A unit of which anything from its kind alone to everything is known."""
    found: Document = {"kind": chance.one(get_args(UnitKind))}
    if chance.maybe(0.3):
        found["on_board"] = chance.maybe()
    for field, low, high in (
        ("fresh_tank_gal", 1, 400),
        ("waste_tank_gal", 1, 500),
        ("hours_per_service_day", 0.5, 24),
        ("regulator_psi", 20, 80),
        ("product_tank_gal", 0.5, 60),
        ("waste_tank_length_in", 10, 90),
        ("waste_tank_fall_in", 0, 4),
        ("water_C", 0, 40),
    ):
        if chance.maybe(0.3):
            found[field] = chance.number(low, high)
    if chance.maybe(0.3):
        found["fills_per_day"] = chance.randint(1, 24)
    if chance.maybe(0.3):
        found["mains_psi"] = chance.span(5, 120)
    if chance.maybe(0.3):
        found["jurisdiction"] = chance.one([row["key"] for row in table("waste_tank_rules")])
    for field in ("pump", "repump"):
        if chance.maybe(0.25):
            low = chance.number(5, 50)
            found[field] = {
                "cut_in_psi": low,
                "cut_out_psi": low + chance.number(1, 40),
                "flow_gpm": chance.number(0.2, 8),
            }
    if chance.maybe(0.2):
        found["accumulator"] = {"volume_gal": chance.number(0.1, 5), "precharge_psi": chance.number(5, 60)}
    if chance.maybe(0.2):
        found["heater"] = {"volume_gal": chance.number(1, 20), "power_W": chance.number(300, 6000)}
    if chance.maybe(0.2):
        found["weights"] = {"empty_lb": chance.number(50, 20000)}
        if chance.maybe():
            found["weights"] |= {"gross_limit_lb": chance.number(100, 26000), "hitch_in": 120, "track_in": 70}
    return found


def policy(chance: Chance) -> Document:
    """How dates are chosen, from the usual to the odd."""
    if chance.maybe(0.3):
        return {}
    return {
        "margin": chance.number(0.05, 1),
        "before_events": chance.maybe(),
        "visit_weekday": chance.one((None, *DAYS)),
        "visit_every_weeks": chance.one((1, 2, 8, 52)),
        "risk": chance.one((None, None, 0, 0.1, 0.5, 1)),
        "group_days": chance.one((0, 0, 7, 60, 90)),
        "lead_days": chance.one((0, 7, 365)),
        "buffer_days": chance.one((0, 14, 365)),
        "shelf_months": chance.one((1, 24, 120)),
    }


def money(chance: Chance) -> Document:
    """Prices and purses, some of them nothing."""
    if chance.maybe(0.3):
        return {}
    keys = [row["key"] for row in table("price_placeholders")]
    found: Document = {
        "currency": chance.one(("USD", "EUR", "JPY")),
        "visits_paid": chance.maybe(),
        "hauled": chance.maybe(0.3),
        "prices": {key: chance.span(0, 900) for key in keys if chance.maybe(0.2)},
        "price_rise_per_year": chance.one((0, 0.05, [0, 0.3])),
        "test_kits_per_year": chance.one((0, 2, 50)),
        "head_life_years": chance.one((0.5, 5, 30)),
        "scale_g_per_descale": chance.one((60, [1, 30, 90], 10000)),
        "downtime_days_per_year": chance.one((0, 0, [0, 2, 9])),
        "damages": [{"name": "Boiler", "cost": [200, 900], "times_per_year": [0, 0.5]}] * chance.maybe(0.2),
    }
    for field in ("plumbing_budget", "filtration_budget"):
        if chance.maybe(0.3):
            found[field] = chance.number(0, 5000)
    if chance.maybe(0.3):
        found["plumbing_cost"] = chance.span(0, 2000)
    return found


def readings(chance: Chance, start: dt.date, places: Sequence[str], most: int = 300) -> list[Document]:
    """A log of any length: good figures, nonsense, lines that correct and take back others."""
    found: list[Document] = []
    for _ in range(chance.one((0, 0, 1, 2, 6, 20, 80, most))):
        kind = chance.one(KINDS if chance.maybe(0.7) else ("meter_gal", "hardness", "changed_cartridge"))
        line: Document = {
            "id": chance.identity(),
            "date": chance.day(start, -300, 950).isoformat(),
            "kind": kind,
            "where": chance.one(places),
            "method": chance.one(METHODS),
        }
        if kind not in EVENTS:
            units, low, high = READ[kind]
            line |= {"unit": chance.one(units), "value": chance.number(low, high)}
        if kind == "taste_note":
            line["note"] = chance.one(("salty", "<b>x</b>", ""))
        if found and (kind == "withdrawn" or chance.maybe(0.05)):
            line["corrects"] = chance.one(found)["id"]
        elif kind == "withdrawn":
            continue
        found.append(line)
    if chance.maybe(0.5):
        found += meter(chance, start, chance.one(places))
    return found


def meter(chance: Chance, start: dt.date, place: str) -> list[Document]:
    """A meter that counts up through the plan, at any pace."""
    count, pace = chance.number(0, 5000), chance.number(0.5, 120)
    found = []
    for number in range(chance.randint(1, 8)):
        line = {
            "id": chance.identity(),
            "date": (start + dt.timedelta(days=7 * number)).isoformat(),
            "kind": "meter_gal",
            "where": place,
            "value": float(f"{count + 7 * number * pace:.6g}"),
            "unit": "gal",
        }
        found.append(line)
    return found


def random_document(seed: int) -> Document:
    """A random valid plan document, the same for a seed: a mapping for ``load_document``."""
    chance = Chance(seed)
    when = calendar(chance)
    start = dt.date.fromisoformat(when["start"])
    towns = [chance.name("Town ", i) for i in range(chance.one((1, 1, 2, 3)))]
    outlets = [chance.name("B", i) for i in range(chance.one((1, 2, 2, 4, 7)))]
    machines = [chance.name("M", i) for i in range(chance.one((1, 1, 2, 4)))]
    filtered = chance.one(("all", "none", "some", "some", "usual"))
    say = {"all": lambda: True, "none": lambda: False, "some": chance.maybe, "usual": lambda: None}[filtered]
    stages = [stage(chance, i, outlets) for i in range(chance.randint(0, 6))]
    names = [s["name"] for s in stages]
    found: Document = {
        "name": chance.name("Unit ", seed),
        "units": chance.one(("us", "metric")),
        "unit": unit(chance),
        "supplies": [supply(chance, name) for name in towns],
        "fill": fill(chance, towns, start),
        "demand": demand(chance, outlets, when),
        "branches": [branch(chance, name, machines, say()) for name in outlets],
        "machines": [machine(chance, name) for name in machines],
        "targets": {
            "edition": chance.one(("trade", "sca_later", "scaa_2009")),
            "law": chance.one(("us_federal", "eu")),
        },
        "policy": policy(chance),
        "money": money(chance),
        "readings": readings(chance, start, ["", "source", "served", "nowhere", *towns, *outlets, *names]),
        "settings": {"draws": chance.one((1, 16, 64, 64, 128)), "seed": chance.randint(0, 99)},
    }
    if chance.maybe(0.75):
        found["train"] = stages
    found["in_service"] = [
        {"stage": name, "installed": chance.day(start, -400, 0).isoformat(), "used": chance.span(0, 1)}
        for name in chance.some(names)
        if chance.maybe(0.5)
    ]
    return found


PARTS = (supply, fill, calendar, branch, machine, demand, sheet, stage, unit, policy, money, readings, meter)


def documents(first: int = 0, last: int = 1_000_000) -> st.SearchStrategy[Document]:
    """Random documents by seed, ``first`` to ``last``."""
    return st.integers(first, last).map(random_document)


assert set(READ) == set(KINDS) - EVENTS, "a kind of reading has no range here"
assert set(ANALYTES) <= set(keyed("analytes", "analyte"))
