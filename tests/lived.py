"""An invented firm whose units are lived through day by day, with a truth that no plan knows.

    from lived import firm

    units = firm(60, seed=1)       # documents with a year's log, and what really happened

A unit's water over its plan and what its cartridges bear over their rating come from the firm's own distribution, then
drinks vary from day to day, beds leak as they wear out, meters err by their own slope, drop kits read in whole drops.
Half of the units change a softener when a test shows it spent, the others at a share of its rating by the meter, before
it is. Nothing of the planner is used to make them. Everything is invented; nothing here is a value to check against.
"""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from brewwater.log.entry import Reading
from brewwater.planning.document import PlanDocument, load_document, mobile_template

GAL_L, FL_OZ_L, GRAIN_MG = 3.785411784, 3.785411784 / 128, 64.79891
DROP = 17.1  # one drop of a kit, mg/L as CaCO3
WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
START = dt.date(2025, 12, 1)  # a Monday


@dataclass(frozen=True)
class Ways:
    """The firm's truth: middle and spread (of the logarithm) of water over plan and of life over rating."""

    use: float = 1.25
    use_spread: float = 0.2
    life: float = 0.85
    life_spread: float = 0.12


@dataclass
class LivedUnit:
    """A unit. ``due``: the first day on which four fifths of what each cartridge really bears were used."""

    document: PlanDocument
    use: float
    life: float
    due: dict[str, dt.date]
    changes: dict[str, list[dt.date]] = field(default_factory=dict)

    @property
    def bare(self) -> PlanDocument:
        """The document before anything was logged."""
        return self.document.model_copy(update={"readings": ()})


def firm(number: int, seed: int, ways: Ways = Ways(), days: int = 365, draws: int = 256) -> list[LivedUnit]:
    """``number`` units with logs of so many days; the same for a seed."""
    return [_live(np.random.default_rng([seed, n]), n, ways, days, draws) for n in range(number)]


def _live(rng: np.random.Generator, n: int, ways: Ways, days: int, draws: int) -> LivedUnit:
    stated = float(np.round(rng.uniform(60, 240)))
    hardness = float(rng.uniform(120, 320))
    reported = hardness + rng.normal(0, 2.0)
    opens = {0, 1, 2, 3, 4, *([5] if rng.random() < 0.5 else [])}
    use, life = (
        float(np.exp(np.log(m) + s * rng.standard_normal()))
        for m, s in ((ways.use, ways.use_spread), (ways.life, ways.life_spread))
    )
    planned_gal = stated * 8 / 128  # the middle of what the document states
    grains = float(np.round(rng.uniform(50, 85) * planned_gal * GAL_L * hardness / GRAIN_MG, -2))
    grit_gal = float(np.round(rng.uniform(55, 90) * planned_gal, -1))
    document = _document(n, stated, reported, opens, grains, grit_gal, draws)
    by_test = n % 2 == 0
    slope = 1 + 0.02 * rng.standard_normal()
    takes_grains_per_gal = (hardness - 4) * GAL_L / GRAIN_MG  # it lets some 4 mg/L through
    bears = {"resin": grains, "grit": grit_gal}
    real = {name: amount * life * (1 + 0.05 * rng.standard_normal()) for name, amount in bears.items()}
    per_gal = {"resin": takes_grains_per_gal, "grit": 1.0}
    used, since = dict.fromkeys(bears, 0.0), dict.fromkeys(bears, 0.0)
    due: dict[str, dt.date] = {}
    changes: dict[str, list[dt.date]] = {name: [] for name in bears}
    lines: list[Reading] = []

    def note(day: dt.date, kind: str, **more: Any) -> None:
        ident = uuid.uuid5(uuid.NAMESPACE_OID, f"{n}/{len(lines)}").hex
        lines.append(Reading.model_validate({"id": ident, "date": day, "kind": kind, **more}))

    meter = 0.0
    for number in range(days):
        day = START + dt.timedelta(days=number)
        before, read_at = meter, rng.random()  # a meter is read at any time of its day
        if day.weekday() in opens:
            # a quarter from day to day, busy and quiet ones
            sold = int(rng.poisson(stated * rng.gamma(16.0, 1 / 16.0)))
            poured = sold * use * 8 / 128
            meter += poured * slope
            used = {name: amount + poured * per_gal[name] for name, amount in used.items()}
        seen = before + read_at * (meter - before)
        for name in bears:
            if name not in due and not changes[name] and used[name] > 0.8 * real[name]:
                due[name] = day
        lost = float(np.interp(used["resin"] / real["resin"], [0.93, 1.08], [0.0, 1.0]))
        spent = False
        if day.weekday() == 4:
            note(day, "meter_gal", value=round(seen), unit="gal", where="served")
            note(day, "drinks_sold", value=sold, unit="drinks")
            after = 4 + lost * (hardness - 4)
            drops = max(0, round((after * (1 + 0.02 * rng.standard_normal())) / DROP))
            note(day, "hardness", value=drops * DROP, unit="mg/L", where="served", method="drop_kit")
            spent = drops * DROP > 0.6 * reported
        counted = {name: seen - since[name] for name in bears}
        limit = 0.7 * grains / (reported * GAL_L / GRAIN_MG)
        out = {
            "resin": spent or (not by_test and counted["resin"] > limit),
            "grit": counted["grit"] > 0.8 * grit_gal,
        }
        for name in (name for name, comes in out.items() if comes):
            note(day, "changed_cartridge", where=name)
            if day.weekday() != 4:
                note(day, "meter_gal", value=round(seen), unit="gal", where="served")
            changes[name].append(day)
            used[name], since[name] = (1 - read_at) * (meter - before) / slope * per_gal[name], seen
            real[name] = bears[name] * life * (1 + 0.05 * rng.standard_normal())
    document = document.model_copy(update={"readings": tuple(lines)})
    return LivedUnit(document, use, life, due, changes)


def _document(
    n: int, stated: float, hardness: float, opens: set[int], grains: float, grit_gal: float, draws: int
) -> PlanDocument:
    plain: dict[str, Any] = mobile_template().model_dump(mode="json")
    plain["demand"] = {
        "calendar": {"start": START.isoformat(), "months": 36, "weekdays": [WEEK[d] for d in sorted(opens)]},
        "main_branch": plain["demand"]["main_branch"],
        "drinks": [
            {"name": "cup", "per_service_day": [0.6 * stated, stated, 1.6 * stated], "fl_oz": [6.0, 8.0, 11.0]},
        ],
    }
    measured = {
        "total_hardness": {"value": hardness, "unit": "mg/L", "method": "lab"},
        "alkalinity": {"value": 0.7 * hardness, "unit": "mg/L", "method": "lab"},
    }
    plain["supplies"] = [{"name": "town", "analysis": measured}]
    plain["fill"]["fills"] = [{"supply": "town"}]
    plain["train"] = [
        {"name": "grit", "medium": "sediment", "sheet": {"rated_gal": grit_gal, "life_months": 24}},
        {"name": "resin", "medium": "softening", "sheet": {"capacity_grains": grains, "life_months": 24}},
    ]
    return load_document(plain | {"name": f"Lived {n + 1}", "settings": {"draws": draws, "seed": 1}})
