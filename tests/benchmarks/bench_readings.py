"""What a log costs the front end: a plan with 5,000 readings against one with 50.

Every time a log that was not learned from before; how often the draws are then resampled depends on the seed, so
the seeds change from round to round. Run: python tests/benchmarks/bench_readings.py
"""

from __future__ import annotations

import datetime as dt
import statistics
import time

from brewwater.plan import make_plan
from brewwater.planning.document import PlanDocument, demo_document, load_document
from brewwater.treatment import Stage

TRAIN = [
    {"name": "Carbon", "medium": "carbon", "sheet": {"rated_gal": 3000, "reference_chlorine_mg_L_as_Cl2": 2.0}},
    {"name": "Resin", "medium": "weak_acid", "bypass_percent": 20, "size": "large"},
]


def document(count: int, seed: int = 20261125) -> PlanDocument:
    """The demo with a log of ``count`` lines over two years: meter, drinks, drop kits, a pen, strips, gauges."""
    demo = demo_document()
    start = demo.demand.calendar.start
    first = demo.supplies[0].name
    lines = []
    for k in range(count):
        day = start + dt.timedelta(days=1 + (k // 9) * max(1, 9 * 600 // count) % 600)
        date = day.isoformat()
        since = (day - start).days
        kind = k % 9
        lines.append(
            {"date": date, "kind": "meter_gal", "value": 7.0 * since + k / 1e4, "unit": "gal"}
            if kind == 0
            else {"date": date, "kind": "drinks_sold", "value": 120 + k % 31}
            if kind == 1
            else {
                "date": date,
                "kind": "hardness",
                "value": 255 + k % 30,
                "unit": "mg/L",
                "where": first,
                "method": "drop_kit",
            }
            if kind == 2
            else {
                "date": date,
                "kind": "alkalinity",
                "value": 215 + k % 20,
                "unit": "mg/L",
                "where": first,
                "method": "drop_kit",
            }
            if kind == 3
            else {
                "date": date,
                "kind": "hardness",
                "value": 90 + k % 30,
                "unit": "mg/L",
                "where": "served",
                "method": "drop_kit",
            }
            if kind == 4
            else {
                "date": date,
                "kind": "conductivity",
                "value": 560 + k % 40,
                "unit": "uS/cm",
                "where": first,
                "method": "meter",
            }
            if kind == 5
            else {
                "date": date,
                "kind": "total_chlorine",
                "value": 0.0,
                "unit": "mg/L",
                "where": "served",
                "method": "strip",
            }
            if kind == 6
            else {"date": date, "kind": "pressure_in_psi", "value": 45, "unit": "psi"}
            if kind == 7
            else {"date": date, "kind": "pressure_out_psi", "value": 39, "unit": "psi"}
        )
    stages = tuple(Stage.model_validate(s) for s in TRAIN)
    return load_document(
        {
            **demo.model_dump(mode="json"),
            "train": [s.model_dump(mode="json") for s in stages],
            "readings": lines,
            "settings": {**demo.settings.model_dump(), "seed": seed},
        }
    )


def seconds(count: int, seed: int) -> tuple[float, float]:
    """Seconds to read the document from its saved text, and to plan it."""
    text = document(count, seed).to_json()
    t0 = time.perf_counter()
    found = load_document(text)
    t1 = time.perf_counter()
    make_plan(found, search=False)
    return t1 - t0, time.perf_counter() - t1


if __name__ == "__main__":
    seconds(50, 0)
    rounds = [{n: seconds(n, seed) for n in (0, 50, 5000)} for seed in range(9)]
    for n in (0, 50, 5000):
        read, plan = (statistics.median(r[n][i] for r in rounds) for i in (0, 1))
        print(f"{n:>5} readings: read {read * 1e3:7.1f} ms, plan {plan * 1e3:8.1f} ms")
    ratios = sorted(r[5000][1] / r[50][1] for r in rounds)
    whole = statistics.median(sum(r[5000]) / sum(r[50]) for r in rounds)
    print(
        f"plan: 5,000 over 50: {statistics.median(ratios):.2f} ({ratios[0]:.2f} to {ratios[-1]:.2f}); "
        f"read and plan: {whole:.2f}"
    )
