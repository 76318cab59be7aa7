"""Chemistry beside PHREEQC: ``python tests/benchmarks/bench_chemistry.py [waters] [waters for PHREEQC]``.

Each water is judged at its own temperature and closed-heated to 93 °C, CCPP at both: four solves. Prints the
rates, the ratios on one core and on all, the CSV path with reading and writing, and the peak memory.
"""

from __future__ import annotations

import os
import resource
import runpy
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from brewwater import chemistry
from brewwater.chemistry import Totals, chunks
from brewwater.reports.batch import run_waters
from brewwater.water import CACO3_G_PER_EQ, MOLAR_MASS_G

ENGINE = runpy.run_path(str(Path(__file__).parents[1] / "validation" / "phreeqc_engine.py"))
REPEATS = 5


def best(work: Callable[[], object], repeats: int = REPEATS) -> float:
    """Shortest of several times, s."""
    times = []
    for _ in range(repeats):
        begun = time.perf_counter()
        work()
        times.append(time.perf_counter() - begun)
    return min(times)


def phreeqc_rate(waters: dict[str, np.ndarray], n: int) -> float:
    """Waters per second; those that PHREEQC refuses (no inorganic carbon) are left out beforehand."""
    pp = ENGINE["engine"]()
    begun = time.perf_counter()
    for i in range(n):
        list(ENGINE["judged"](pp, waters, i, [93.0]))
    return n / (time.perf_counter() - begun)


def totals_of(waters: dict[str, np.ndarray]) -> Totals:
    """The waters as totals, DIC still open."""
    return Totals(**{k: waters[k] for k in (*MOLAR_MASS_G, "alkalinity")}, dic=np.zeros(()))


def write_csv(waters: dict[str, np.ndarray], path: Path) -> None:
    """The waters as the command line reads them."""
    columns: dict[str, object] = {"id": [f"w{i}" for i in range(len(waters["ph"]))]}
    columns |= {"temperature_C": waters["temperature_C"].round(2), "pH": waters["ph"].round(3)}
    columns |= {f"{k}_mg_L": (waters[k] * 1000 * mass).round(3) for k, mass in MOLAR_MASS_G.items()}
    columns["alkalinity_mg_L_as_CaCO3"] = (waters["alkalinity"] * 1000 * CACO3_G_PER_EQ).round(2)
    pd.DataFrame(columns).to_csv(path, index=False)


def main(n: int = 100_000, few: int = 1500) -> None:
    """Measure and print."""
    waters = ENGINE["random_waters"](int(n * 1.15) + 100, 11, (6.0, 9.5))
    dic = chemistry.dic_from_ph(totals_of(waters), waters["ph"], waters["temperature_C"])
    keep = np.flatnonzero(dic > 0)[:n]
    waters = {k: v[keep] for k, v in waters.items()}
    totals = totals_of(waters)
    reference = max(phreeqc_rate(waters, few) for _ in range(2))

    def run() -> object:
        return chemistry.judge(totals, waters["ph"], waters["temperature_C"], [93.0])

    cores = os.cpu_count() or 1
    both = n / best(run)
    count, os.cpu_count = os.cpu_count, lambda: 1  # type: ignore[assignment]
    one = n / best(run)
    os.cpu_count = count
    with tempfile.TemporaryDirectory() as folder:
        source, result = Path(folder) / "in.csv", Path(folder) / "out.csv"
        write_csv(waters, source)
        by_file = n / best(lambda: run_waters(source, [93.0], result))
        solved = pd.read_csv(result)["ccpp_mg_L_as_CaCO3_at_93C"].notna().sum()
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(f"{len(keep)} waters, chunks of at most {chunks.CHUNK}, load average {os.getloadavg()[0]:.1f}")
    print(f"PHREEQC through phreeqpython   {reference:10.0f} waters/s")
    print(f"arrays, {cores} cores               {both:10.0f} waters/s   {both / reference:6.0f} times")
    print(f"arrays, 1 core                {one:11.0f} waters/s   {one / reference:6.0f} times")
    print(f"CSV in, CSV out ({solved} solved) {by_file:7.0f} waters/s   {by_file / reference:6.0f} times")
    print(f"peak memory {peak:.2f} GiB")


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:]))
