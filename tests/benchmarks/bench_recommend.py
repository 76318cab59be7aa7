"""A recommendation beside speciating as many waters: ``python tests/benchmarks/bench_recommend.py [draws]``.

Counts the trains with settings that one search weighs, each on every draw and water of the plan, and prints
the search's time as a multiple of speciating that many waters once, each at its own temperature. Processor time,
that of forked children with it, is the cost; the clock beside it is what a user waits.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable, Mapping
from functools import partial

import numpy as np

from brewwater.planning.document import PlanDocument, mobile_template, with_overrides
from brewwater.planning.scenario import Scenario, prepare
from brewwater.planning.search import Search, recommend
from brewwater.reports.analysis import Measurement
from brewwater.water import speciate

WATERS: Mapping[str, Mapping[str, float]] = {
    "three numbers": {"total_hardness": 290, "alkalinity": 240, "total_dissolved_solids": 420},
    "with pH, chloride, sulfate": {
        "total_hardness": 290,
        "alkalinity": 240,
        "ph": 7.4,
        "chloride": 20,
        "sulfate": 30,
    },
    "soft and salty": {
        "total_hardness": 35,
        "alkalinity": 30,
        "ph": 7.2,
        "chloride": 95,
        "sulfate": 20,
        "sodium": 69,
    },
}


def document(values: Mapping[str, float], draws: int) -> PlanDocument:
    """The mobile unit on a water of these numbers, mg/L (hardness and alkalinity as CaCO3)."""
    analysis = {}
    for analyte, value in values.items():
        basis = {"basis": "CaCO3"} if analyte in {"total_hardness", "alkalinity"} else {}
        unit = "NONE" if analyte == "ph" else "mg/L"
        analysis[analyte] = Measurement.model_validate({"value": value, "unit": unit, "method": "report", **basis})
    made = with_overrides(mobile_template(), analysis=analysis)
    return made.model_copy(update={"settings": made.settings.model_copy(update={"draws": draws})})


def timed(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds by the clock and of the processors, those of children too."""
    clock, before = time.perf_counter(), os.times()
    work()
    after = os.times()
    return time.perf_counter() - clock, sum(after[:4]) - sum(before[:4])


def weighed(scenario: Scenario) -> int:
    """How many trains with settings one search weighs."""
    counts: list[int] = []
    real, cores = Search.weigh, os.cpu_count

    def counting(self: Search, *args: object) -> object:
        found = real(self, *args)  # type: ignore[arg-type]
        counts.append(len(found))
        return found

    Search.weigh = counting  # type: ignore[method-assign,assignment]
    os.cpu_count = lambda: 1  # type: ignore[assignment]  # what forked children weigh would not be counted here
    try:
        recommend(scenario)
    finally:
        Search.weigh, os.cpu_count = real, cores  # type: ignore[method-assign]
    return sum(counts)


def main(draws: int = 2048) -> None:
    """Measure and print."""
    for name, values in WATERS.items():
        scenario = prepare(document(values, draws))
        count = weighed(scenario)
        shape = (count, *np.broadcast_shapes(scenario.waters.shape, (1, draws)))
        waters = scenario.waters.each(lambda a, shape=shape: np.broadcast_to(a, shape).reshape(-1).copy())
        search = timed(partial(recommend, scenario))
        core = timed(partial(speciate, waters))
        print(
            f"{name}: {count} trains x {shape[1]} waters x {draws} draws; search {search[0]:.2f} s "
            f"({search[1]:.2f} s of processor), speciating them {core[0]:.2f} s ({core[1]:.2f}); "
            f"ratio {search[0] / core[0]:.2f} by the clock, {search[1] / core[1]:.2f} by processor"
        )


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
