"""How long the command line takes before it works, as ratios of one run.

Run by hand: ``python tests/benchmarks/bench_start.py``. ``brewwater --help`` against a bare Python start, and all that
``brewwater plan`` does outside ``make_plan`` against the import of pandas, scipy.stats, pydantic and pint, each a
fresh process, in turns. Nothing is asserted; the ratios are printed.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import time

HELPS, PLANS = 15, 7
# both sides from compiled files, as installed packages are
COMPILED = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
BARE = "pass"
HELP = "from brewwater.cli import main; import sys; sys.argv = ['brewwater', '--help']; main()"
LIBRARIES = "import pandas, scipy.stats, pydantic, pint"
PLAN = """
import sys, time
from brewwater.cli import main
import brewwater.plan as home
make, spent = home.make_plan, []
def timed(*a, **k):
    began = time.perf_counter()
    try:
        return make(*a, **k)
    finally:
        spent.append(time.perf_counter() - began)
home.make_plan = timed
sys.argv = ['brewwater', 'plan']
assert main() == 0 and len(spent) == 1
print(spent[0], file=sys.stderr)
"""


def run(code: str) -> tuple[float, str]:
    """Seconds of a fresh process, and what it wrote to its error stream."""
    began = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=COMPILED)
    return time.perf_counter() - began, done.stderr


def line(name: str, ours: list[float], theirs: list[float], what: str, limit: float) -> None:
    a, b = statistics.median(ours), statistics.median(theirs)
    print(f"{name}: {a:.3f} s, {what}: {b:.3f} s, ratio {a / b:.2f} (wanted at most {limit:g})")


def main() -> None:
    for code in (BARE, HELP, LIBRARIES, PLAN):  # caches of the disk and compiled files warm
        run(code)
    pairs = [(run(HELP)[0], run(BARE)[0]) for _ in range(HELPS)]
    line("brewwater --help", [a for a, _ in pairs], [b for _, b in pairs], "bare Python", 14)
    outside, libraries = [], []
    for _ in range(PLANS):
        took, told = run(PLAN)
        outside.append(took - float(told.split()[-1]))
        libraries.append(run(LIBRARIES)[0])
    line("brewwater plan outside make_plan", outside, libraries, "the four libraries", 1.3)


if __name__ == "__main__":
    main()
