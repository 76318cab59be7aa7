"""How long change dates take: 6 cartridges over 36 months, one draw and 2,048 draws. Run as a script."""

from __future__ import annotations

import time

import numpy as np

from brewwater.changes import Policy, Slot, change_calendar, moves_of, stops_of
from brewwater.changes.wear import ledger, wear
from brewwater.demand import DemandInput, demand
from brewwater.ensemble import Draws
from brewwater.supply.tank_days import FillCalendar, tank_days
from brewwater.treatment.medium import Load
from brewwater.treatment.rating import Capacity

CARTRIDGES = 6
PLAN = DemandInput.model_validate(
    {
        "calendar": {
            "start": "2026-01-05",
            "months": 36,
            "growth_per_year": [0, 0.1, 0.2],
            "events": [{"name": "fair", "start": "2026-06-01", "end": "2026-06-07", "drinks_per_day": 400}],
            "closures": [{"start": "2026-12-20", "end": "2027-01-20", "kind": "stored"}],
        },
        "drinks": [
            {"name": "milk_drink", "per_service_day": [100, 150, 220]},
            {"name": "americano", "per_service_day": [10, 15, 25]},
        ],
        "fixed": [{"name": "backflush", "branch": "machine"}],
    }
)
FILLS = FillCalendar.model_validate({"fills": [{"supply": "a"}, {"supply": "b", "weekdays": ["tue"]}]})


def run(n: int) -> tuple[float, int]:
    """Seconds for demand, tank, wear and calendar of all cartridges, and the changes found.

    The capacities are drawn beforehand.
    """
    draws = Draws(n)
    bears = [
        [
            Capacity(
                volume_L=12000 + 2000 * draws.normal(f"v{c} {k}"),
                exchange_eq=40 + 6 * draws.normal(f"e{c} {k}"),
                days=np.array([182.6]),
            )
            for k in range(40)
        ]
        for c in range(CARTRIDGES)
    ]
    load = 0.003 + 0.0004 * draws.normal("load")
    begun = time.perf_counter()
    days = demand(PLAN, ["machine"], draws)
    tank = tank_days(FILLS, days, PLAN.calendar)
    book = ledger(days, tank)
    stops, moves = stops_of(PLAN.calendar), moves_of(PLAN.calendar, Policy())
    slots = []
    for cartridge in range(CARTRIDGES):
        on = wear(book, days, {"machine": Load(exchange_eq=np.array([load, 1.3 * load]))})
        slots.append(Slot(f"cartridge {cartridge}", on, bears[cartridge].__getitem__, stops))
    made = change_calendar(slots, PLAN.calendar, Policy(), np.ones(n), moves=moves)
    return time.perf_counter() - begun, len(made.dues)


if __name__ == "__main__":
    best = {}
    for n in (1, 2048):
        timings = [run(n) for _ in range(7)]
        best[n] = min(seconds for seconds, _ in timings)
        print(f"{n:5d} draws: {1000 * best[n]:7.1f} ms, {timings[0][1]} changes of {CARTRIDGES} cartridges")
    print(f"ratio {best[2048] / best[1]:.1f} (wanted: at most 5)")
