"""How long the store takes. Prints milliseconds, median of several; asserts nothing.

python tests/benchmarks/bench_store.py [URL]     a temporary SQLite file where no address is given
"""

from __future__ import annotations

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from brewwater.log.entry import Reading
from brewwater.store import Store, make_engine


def timed(name: str, work: Callable[[], object], times: int = 7) -> None:
    taken = []
    for _ in range(times):
        started = time.perf_counter()
        work()
        taken.append((time.perf_counter() - started) * 1000)
    print(f"{name:44s} {statistics.median(taken):8.1f} ms   (worst {max(taken):.1f})")


def line(value: float) -> Reading:
    return Reading(date="2026-03-31", kind="hardness", value=value, unit="gpg", note="before the machine")


def main(url: str) -> None:
    with Store(make_engine(url)) as store:
        timed("open and check an empty store", lambda: store.units(), 1)
        document = {"schema_version": 1, "drinks": [{"name": f"drink {n}", "fl_oz": n} for n in range(300)]}
        unit = store.create_unit("bench").ref
        count = 0

        def save() -> None:
            nonlocal count
            count = store.save_plan(unit, document | {"n": count}, count).version

        timed("save a plan (15 kB)", save, 30)
        timed("read a plan", lambda: store.plan(unit), 30)
        timed("history of 30 versions", lambda: store.history(unit))
        timed("add one reading", lambda: store.add_readings(unit, [line(1)]), 30)
        small, large = store.create_unit("small").ref, store.create_unit("large").ref
        store.add_readings(small, [line(n) for n in range(50)])
        timed("add 5,000 readings at once", lambda: store.add_readings(large, [line(n) for n in range(5000)]), 1)
        timed("read a log of 50", lambda: store.readings(small))
        timed("read a log of 5,000", lambda: store.readings(large))
        timed("ask whether a log of 5,000 changed", lambda: store.log_stamp(large), 30)
        timed("add one reading to 5,000", lambda: store.add_readings(large, [line(1)]), 30)
        text = store.export_unit(large)
        timed(f"export that unit ({len(text) // 1000} kB)", lambda: store.export_unit(large))
        timed("restore that unit, already there", lambda: store.restore_unit(text), 3)
        timed("log as CSV", lambda: store.export_log(large))
        if url.startswith("sqlite"):
            timed("write a dated copy", lambda: store.back_up())
            timed("put a dated copy back", lambda: store.restore_backup(store.dated_copies()[-1]), 3)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        main(sys.argv[1] if len(sys.argv) > 1 else f"sqlite:///{Path(folder) / 'bench.sqlite3'}")
