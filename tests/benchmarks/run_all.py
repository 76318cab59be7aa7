"""Every ratio that is asked for, against its baseline in the same run: ``python tests/benchmarks/run_all.py``.

    run_all.py                    all groups, some minutes; prints a table
    run_all.py chemistry store    only these (GROUPS below)
    run_all.py --quick            smaller sizes and fewer rounds, to see that it runs
    run_all.py --write            also keeps the table in tests/benchmarks/RESULTS.md, with the commit

Ours and the baseline take turns, round by round; the table gives the median ratio and the lowest and highest.
Each group runs in a process of its own, so that its peak memory is its own. Run it on a quiet machine.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import runpy
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
RESULTS = HERE / "RESULTS.md"
MEASURED = {"chemistry", "forecast", "readings", "recommend", "store", "treatment"}  # other bench_*.py: the front end's
Work = Callable[[], object]


@dataclass(frozen=True)
class Row:
    """One ratio: its rounds, what was asked of it, and what bounds it."""

    what: str
    baseline: str
    ratios: list[float]
    asked: str
    bound: str


def script(name: str) -> dict[str, Any]:
    """The functions of a benchmark script beside this one."""
    return runpy.run_path(str(HERE / f"{name}.py"))


def seconds(work: Work) -> float:
    """By the clock."""
    begun = time.perf_counter()
    work()
    return time.perf_counter() - begun


def in_turn(ours: Work, baseline: Work, rounds: int, scale: float = 1.0) -> list[float]:
    """Time of ours over the baseline's, times ``scale``, round by round, after one unmeasured round."""
    ours(), baseline()
    return [seconds(ours) / seconds(baseline) * scale for _ in range(rounds)]


def growth(make: Callable[[int], Work], one: int, name: str, bound: str, rounds: int, most: int = 100) -> Iterator[Row]:
    """How the time grows as the work grows tenfold and a hundredfold."""
    works = {times: make(one * times) for times in (1, 10, 100) if times <= most}
    for times in (10, 100):
        if times in works:
            yield Row(
                f"{name}: {one * times:,} over {one:,}",
                f"{one:,}",
                in_turn(works[times], works[1], rounds),
                f"(work x {times})",
                bound,
            )


def chemistry(quick: bool) -> Iterator[Row]:
    """Arrays beside PHREEQC, beside a plain loop, and as a CSV."""
    from brewwater import chemistry as core
    from brewwater.reports.batch import run_waters

    bench = script("bench_chemistry")
    n, few, rounds = (5_000, 100, 2) if quick else (100_000, 1_000, 5)
    waters = bench["ENGINE"]["random_waters"](int(n * 1.15) + 100, 11, (6.0, 9.5))
    dic = core.dic_from_ph(bench["totals_of"](waters), waters["ph"], waters["temperature_C"])
    waters = {k: v[dic > 0][:n] for k, v in waters.items()}
    n = len(waters["ph"])
    totals = bench["totals_of"](waters)
    theirs = partial(bench["phreeqc_rate"], waters, few)
    arrays = partial(core.judge, totals, waters["ph"], waters["temperature_C"], [93.0])

    def rate(work: Work) -> list[float]:
        return [1 / r for r in in_turn(work, theirs, rounds, few / n)]

    base, bound = (
        f"PHREEQC, {few:,} waters",
        "mass balances and activities in the Newton steps: array passes, both cores full",
    )
    yield Row(
        f"rate of {n:,} waters in arrays, {os.cpu_count()} cores, over PHREEQC's", base, rate(arrays), ">= 500", bound
    )
    count, os.cpu_count = os.cpu_count, lambda: 1  # type: ignore[assignment]
    yield Row("the same on one core", base, rate(arrays), "-", "the same on one core")
    os.cpu_count = count
    with tempfile.TemporaryDirectory() as folder:
        source, result = Path(folder) / "in.csv", Path(folder) / "out.csv"
        bench["write_csv"](waters, source)
        yield Row(
            f"rate of {n:,} waters, CSV in, CSV out",
            base,
            rate(partial(run_waters, source, [93.0], result)),
            "-",
            "the solver; reading and writing text by pyarrow comes after",
        )
    some = 300
    part = totals.map(lambda a: a[:some] if a.ndim else a)
    ph, at = waters["ph"][:some], waters["temperature_C"][:some]

    def loop() -> None:
        for i in range(some):
            core.judge(part.map(lambda a, i=i: a[i] if a.ndim else a), ph[i], at[i], [93.0])

    loops = in_turn(loop, partial(core.judge, part, ph, at, [93.0]), rounds)
    yield Row(f"a plain loop over {some} waters over one call", "one call", loops, "-", "fixed cost of each numpy call")


def recommend(quick: bool) -> Iterator[Row]:
    """The search beside speciating as many waters."""
    import numpy as np

    from brewwater import chemistry as core
    from brewwater.planning.scenario import prepare
    from brewwater.planning.search import recommend as search

    bench = script("bench_recommend")
    draws, rounds = (256, 1) if quick else (2048, 5)
    for name, values in bench["WATERS"].items():
        scenario = prepare(bench["document"](values, draws))
        count = bench["weighed"](scenario)
        shape = (count, *np.broadcast_shapes(scenario.waters.shape, (1, draws)))
        totals = scenario.waters.totals.map(lambda a, shape=shape: np.broadcast_to(a, shape).reshape(-1).copy())
        yield Row(
            f"search of {count} trains, {name}, {draws:,} draws",
            f"speciate {int(np.prod(shape)):,} waters",
            in_turn(partial(search, scenario), partial(core.speciate, totals, 20.0), rounds),
            "<= 3, >= 200 trains",
            "half a solve a train, in batches too small for both cores, and following ten alternatives to the end",
        )


def forecast(quick: bool) -> Iterator[Row]:
    """All draws beside one."""
    run = script("bench_forecast")["run"]
    rounds = 2 if quick else 7

    def ratio() -> float:
        return run(2048)[0] / run(1)[0]  # type: ignore[no-any-return]

    ratio()
    yield Row(
        "2,048 draws, 36 months, 6 cartridges, over one draw",
        "one draw",
        [ratio() for _ in range(rounds)],
        "<= 5",
        "gathers and sums over draws in the search for each change, one change after the other",
    )


def readings(quick: bool) -> Iterator[Row]:
    """A long log beside a short one, another seed in every round."""
    taken = script("bench_readings")["seconds"]
    taken(50, 0)
    ratios = []
    for seed in range(1 if quick else 9):
        short, long = taken(50, seed), taken(5000, seed)
        ratios.append((sum(long) / sum(short), long[1] / short[1]))
    bound = "a long log says more: its draws are resampled 4 to 7 times instead of 3 or 4, each time three looks at the chain"
    yield Row("plan with 5,000 readings over 50, document read", "50 readings", [r[0] for r in ratios], "<= 1.5", bound)
    yield Row("the same, document already read", "50 readings", [r[1] for r in ratios], "<= 1.5", bound)


def store(quick: bool) -> Iterator[Row]:
    """The store beside a bare SQLite commit, and a long log beside a short one."""
    from brewwater.store import Store, make_engine

    bench = script("bench_store")
    rounds = 3 if quick else 15
    with tempfile.TemporaryDirectory() as folder, Store(make_engine(f"sqlite:///{folder}/bench.sqlite3")) as kept:
        bare = sqlite3.connect(f"{folder}/bare.sqlite3")
        bare.execute("pragma journal_mode=wal")  # as the store has it
        bare.execute("pragma synchronous=full")
        bare.execute("create table t (x text)")
        document = {"schema_version": 1, "drinks": [{"name": f"drink {n}", "fl_oz": n} for n in range(300)]}
        unit = kept.create_unit("bench").ref
        version = 0

        def save() -> None:
            nonlocal version
            version = kept.save_plan(unit, document | {"n": version}, version).version

        def commit() -> None:
            with bare:
                bare.execute("insert into t values (?)", (json.dumps(document),))

        yield Row(
            "save a plan of 15 kB over a bare commit",
            "one SQLite insert of it, same journal",
            in_turn(save, commit, rounds),
            "-",
            "the commit to disk, then the checks of version and size",
        )
        small, large = kept.create_unit("small").ref, kept.create_unit("large").ref
        kept.add_readings(small, [bench["line"](n) for n in range(50)])
        kept.add_readings(large, [bench["line"](n) for n in range(5000)])
        yield Row(
            "add one reading to 5,000 over to 50",
            "to 50",
            in_turn(
                partial(kept.add_readings, large, [bench["line"](1)]),
                partial(kept.add_readings, small, [bench["line"](1)]),
                rounds,
            ),
            "-",
            "the commit to disk",
        )
        yield Row(
            "read a log of 5,000 over 50",
            "a log of 50",
            in_turn(partial(kept.readings, large), partial(kept.readings, small), rounds),
            "(work x 100)",
            "making one object of each row",
        )
        bare.close()


def grow(quick: bool) -> Iterator[Row]:
    """Ten and a hundred times the waters, the draws, the days, the branches, the readings."""
    import numpy as np

    from brewwater import chemistry as core
    from brewwater.changes.wear import ledger
    from brewwater.demand import demand
    from brewwater.ensemble import Draws
    from brewwater.plan import make_plan
    from brewwater.planning.document import load_document
    from brewwater.plumbing import Branch, fit, unit_template
    from brewwater.supply.tank_days import tank_days

    rounds = 1 if quick else 5
    bench = script("bench_chemistry")
    waters = bench["ENGINE"]["random_waters"](100_000, 3, (6.5, 9.0))

    def judged(n: int) -> Work:
        some = {k: v[:n] for k, v in waters.items()}
        return partial(core.judge, bench["totals_of"](some), some["ph"], some["temperature_C"], [93.0])

    yield from growth(judged, 1_000, "waters judged", "array passes; small batches pay numpy's fixed cost", rounds)
    cast = script("bench_forecast")
    yield from growth(
        lambda n: partial(cast["run"], n),
        20,
        "draws of the forecast",
        "fixed cost of numpy calls below some hundred draws, array passes above",
        rounds,
    )

    def days(months: int) -> Work:
        # the document allows 24 to 36 months; the rooms below it know no such limit
        long = cast["PLAN"].model_copy(update={"calendar": cast["PLAN"].calendar.model_copy(update={"months": months})})

        def work() -> None:
            found = demand(long, ["machine"], Draws(2048))
            ledger(found, tank_days(cast["FILLS"], found, long.calendar))

        return work

    yield from growth(days, 24, "months of demand and tank", "drawing the demand, then a sweep over the days", rounds)

    def branches(n: int) -> Work:
        kinds = ("rinser", "hand_sink", "sink", "fill")
        found = [Branch(name=f"b{i}", kind=kinds[i % 4], flow_gpm=[0.01, 0.02, 0.03]) for i in range(n)]  # type: ignore[arg-type]
        litres = {b.name: np.full(2048, 0.5) for b in found}
        return partial(fit, unit_template("truck"), found, litres=litres, draws=Draws(2048))

    yield from growth(
        branches, 5, "branches held against the unit", "the density of water looked up anew for each branch", rounds
    )
    lines = script("bench_readings")

    def log(n: int) -> Work:
        text = lines["document"](n).to_json()
        return lambda: make_plan(load_document(text), search=False)

    yield from growth(
        log, 50, "readings in the log", "the chain on the draws, then the likelihood of each reading", rounds
    )


GROUPS: dict[str, Callable[[bool], Iterator[Row]]] = {
    "chemistry": chemistry,
    "recommend": recommend,
    "forecast": forecast,
    "readings": readings,
    "store": store,
    "growth": grow,
}


def child(group: str, quick: bool) -> None:
    """Measure one group and print it as JSON, with the peak memory of this process and of its largest child."""
    rows = [asdict(row) for row in GROUPS[group](quick)]
    peak = [resource.getrusage(who).ru_maxrss / 1024 for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    print(json.dumps({"rows": rows, "peak_MiB": " + ".join(f"{p:.0f}" for p in peak if p)}))


def figure(value: float) -> str:
    """Three significant digits."""
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"


def table(measured: dict[str, dict[str, Any]]) -> str:
    """Markdown."""
    out = [
        "| group | what | baseline | median | lowest to highest | asked | bound by | peak MiB (+ largest child) |",
        "| --- | --- | --- | ---: | ---: | --- | --- | ---: |",
    ]
    for group, found in measured.items():
        for row in found["rows"]:
            r = row["ratios"]
            out.append(
                f"| {group} | {row['what']} | {row['baseline']} | {figure(statistics.median(r))} | "
                f"{figure(min(r))} to {figure(max(r))} | {row['asked']} | {row['bound']} | "
                f"{found['peak_MiB']} |"
            )
    return "\n".join(out)


def main() -> int:
    """Measure every group in a process of its own, and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("groups", nargs="*", help=", ".join((*GROUPS, "front_end")))
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--child", choices=GROUPS, help=argparse.SUPPRESS)
    scenario = parser.parse_args()
    if scenario.child:
        child(scenario.child, scenario.quick)
        return 0
    wanted = scenario.groups or [*GROUPS, "front_end"]
    measured, said, failed = {}, "", []
    for group in wanted:
        if group == "front_end":
            continue
        if group not in GROUPS:
            parser.error(f"{group}: choose from {', '.join((*GROUPS, 'front_end'))}")
        command = [sys.executable, __file__, "--child", group, *(["--quick"] if scenario.quick else [])]
        ran = subprocess.run(command, capture_output=True, text=True, check=False)
        if ran.returncode:
            failed.append(f"{group}: {ran.stderr.strip().splitlines()[-1] if ran.stderr.strip() else 'failed'}")
            continue
        measured[group] = json.loads(ran.stdout.splitlines()[-1])
    if "front_end" in wanted:
        others = [p for p in sorted(HERE.glob("bench_*.py")) if p.stem.removeprefix("bench_") not in MEASURED]
        failed += [] if others else ["front_end: no script"]
        for path in others:
            ran = subprocess.run([sys.executable, str(path)], capture_output=True, text=True, check=False)
            said = f"{said}\n{path.name}\n{ran.stdout.strip()}".strip()
            if ran.returncode:
                failed.append(f"{path.name}: {ran.stderr.strip().splitlines()[-1:]}")
    head = f"{os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f} at the end"
    text = table(measured) + (f"\n\nFront end:\n\n```\n{said}\n```" if said else "")
    text += "".join(f"\n\nNot measured: {line}" for line in failed)
    print(f"{head}\n\n{text}")
    if scenario.write:
        commit = subprocess.run(
            ["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=True, cwd=HERE
        )
        RESULTS.write_text(
            f"# Benchmarks\n\nBy `python tests/benchmarks/run_all.py --write` at commit "
            f"{commit.stdout.strip()}; {head}.\n\n{text}\n",
            encoding="utf-8",
        )
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
