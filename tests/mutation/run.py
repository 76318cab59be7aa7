"""Mutation testing: is each place of the arithmetic, broken alone, noticed by a test?

    python tests/mutation/run.py [chemistry|treatment|forecast]...  [--survivors] [--folder DIR]

Runs mutmut on a copy of the checkout (in ``--folder``, kept, so that a run that was stopped goes on), with the
quick tests that touch the package, and writes ``results.csv`` and the table of ``RESULTS.md`` beside this file.
``--survivors`` tries again only what no test has noticed. Survivors are listed in ``DIR/PACKAGE/survivors.txt``.

mutmut reaches no decorated function and no constant outside of functions: ``outside.py`` does. Left out: text with a
space in it, which is for people, and taking such a text out of a call. ``mutmut show NAME`` in ``DIR/PACKAGE`` shows a
mutant.
"""

from __future__ import annotations

import argparse
import csv
import datetime as dt
import importlib.metadata
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import outside

HERE = Path(__file__).resolve().parent
TOP = HERE.parents[1]
COLUMNS = ("module", "mutants", "killed", "survived", "untested", "timeout", "other", "commit", "date", "tool")
# the quick tests of each package; the second solver, whole plans and the front end are too slow to run so often
TESTS = {
    "chemistry": (
        "tests/unit/test_chemistry_*.py",
        "tests/consistency/test_chemistry_laws.py",
        "tests/consistency/test_carbonate_pairs.py",
        "tests/consistency/test_mass_action.py",
        "tests/validation/test_*.py",
    ),
    "treatment": (
        "tests/unit/test_treatment_*.py",
        "tests/consistency/test_treatment_properties.py",
        "tests/scenarios/test_media_scenarios.py",
        "tests/validation/test_*.py",
    ),
    "forecast": (
        "tests/unit/test_forecast*.py",
        "tests/consistency/test_forecast_properties.py",
        "tests/consistency/test_forecast_day_loop.py",
    ),
}
OUTSIDE = "/outside functions"
NOTICED = {"killed", "timeout"}
SLOW = {"test_chemistry_phreeqc.py", "test_trust_page.py"}


def tests_of(package: str, top: Path) -> list[str]:
    """The test files that import the package, of those listed."""
    found = sorted(path for pattern in TESTS[package] for path in top.glob(pattern) if path.name not in SLOW)
    imports = re.compile(rf"brewwater(\.| import (.*, )?){package}\b")
    return [str(path.relative_to(top)) for path in found if imports.search(path.read_text(encoding="utf-8"))]


def copy_checkout(place: Path) -> None:
    """The files of the checkout in ``place``; one that has not changed keeps its time, and so its results."""
    place.mkdir(parents=True, exist_ok=True)
    for name in ("brewwater", "reference", "tests", "app.py", "pyproject.toml"):
        for path in [TOP / name, *(TOP / name).rglob("*")]:
            goal = place / path.relative_to(TOP)
            if path.is_dir():
                goal.mkdir(exist_ok=True)
            elif path.suffix != ".pyc" and not (goal.exists() and goal.read_bytes() == path.read_bytes()):
                shutil.copyfile(path, goal)


def configure(place: Path, package: str) -> None:
    """mutmut reads this where pyproject.toml says nothing of it."""
    lines = {
        "source_paths": ["brewwater"],
        "only_mutate": [f"brewwater/{package}/*"],
        "also_copy": ["reference", "app.py"],
        "pytest_add_cli_args_test_selection": tests_of(package, place),
        "pytest_add_cli_args": ["-p", "quick", "-p", "no:xdist", "-p", "no:cacheprovider"],
        "timeout_multiplier": ["6.0"],
        "timeout_constant": ["1.5"],
        "use_git_change_detection": ["false"],
        "on_dependency_change": ["ignore"],
    }
    text = "".join(
        f"{key} =\n" + "".join(f"    {v}\n" for v in values) if len(values) > 1 else f"{key} = {values[0]}\n"
        for key, values in lines.items()
    )
    (place / "setup.cfg").write_text("[mutmut]\n" + text)


def for_people(node: Any) -> bool:
    """Is it a text with a space in it?"""
    import libcst as cst

    if isinstance(node, cst.ConcatenatedString):
        return for_people(node.left) or for_people(node.right)
    if isinstance(node, cst.BinaryOperation):
        return for_people(node.left) or for_people(node.right)
    if isinstance(node, cst.FormattedString):
        return any(isinstance(p, cst.FormattedStringText) and " " in p.value for p in node.parts)
    return isinstance(node, cst.SimpleString) and " " in node.value


def without_messages() -> None:
    """Teach mutmut to leave texts for people alone."""
    import libcst as cst
    from mutmut.mutation import mutators

    whole_string, whole_removal = mutators.operator_string, mutators.operator_arg_removal

    def string(node: cst.BaseString) -> Iterable[cst.BaseString]:
        return [] if for_people(node) else whole_string(node)

    def removal(node: cst.Call) -> Iterable[cst.Call]:
        texts = [arg for arg in node.args if for_people(arg.value)]
        for call in whole_removal(node):
            if all(any(arg is text for arg in call.args) for text in texts):
                yield call

    replaced = {whole_string: string, whole_removal: removal}
    mutators.mutation_operators[:] = [(kind, replaced.get(made, made)) for kind, made in mutators.mutation_operators]


def inside(children: int, names: list[str]) -> None:
    """Run mutmut in the copy (this process's working folder)."""
    sys.path.insert(0, str(Path("mutants/tests/mutation").absolute()))
    import mutmut.__main__ as mutmut

    without_messages()
    # a test file more would make it forget every result; but more tests only notice more
    mutmut._apply_config_change_invalidation = lambda _: False
    mutmut._run(names, children)


def statuses(place: Path) -> dict[str, dict[str, str]]:
    """What became of each mutant, by module."""
    from mutmut.stats import status_by_exit_code

    found: dict[str, dict[str, str]] = {}
    for meta in sorted((place / "mutants").rglob("*.meta")):
        codes = json.loads(meta.read_text())["exit_code_by_key"]
        module = str(meta.relative_to(place / "mutants")).removesuffix(".meta")
        found[module] = {key: status_by_exit_code[code] for key, code in codes.items()}
    return found


def rows_of(found: dict[str, dict[str, str]], commit: str, tool: str) -> list[dict[str, str]]:
    """A line of results for each module."""
    rows = []
    for module, by_key in found.items():
        if not by_key:
            continue
        count = Counter(by_key.values())
        known = {"killed", "survived", "no tests", "timeout"}
        rows.append(
            {
                "module": module,
                "mutants": str(len(by_key)),
                "killed": str(count["killed"]),
                "survived": str(count["survived"]),
                "untested": str(count["no tests"]),
                "timeout": str(count["timeout"]),
                "other": str(sum(n for s, n in count.items() if s not in known)),
                "commit": commit,
                "date": dt.date.today().isoformat(),
                "tool": tool,
            }
        )
    return rows


def write(rows: list[dict[str, str]], packages: list[str]) -> None:
    """Put the rows into ``results.csv`` and the table into ``RESULTS.md``; other packages keep theirs."""
    kept = HERE / "results.csv"
    old = list(csv.DictReader(kept.open())) if kept.exists() else []
    every = [r for r in old if r["module"].split("/")[1] not in packages] + rows
    every.sort(key=lambda r: r["module"])
    with kept.open("w", newline="") as handle:
        writer = csv.DictWriter(handle, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(every)
    lines = [
        "| module in `brewwater/` | mutants | killed | survived | untested | timed out | other | share | commit |",
        "|---|" + "---:|" * 7 + "---|",
    ]
    for package in TESTS:
        of_package = [r for r in every if r["module"].split("/")[1] == package]
        inside_functions = [r for r in of_package if not r["module"].endswith(OUTSIDE)]
        lines += [line(r["module"].removeprefix("brewwater/"), [r]) for r in of_package]
        if inside_functions:
            lines.append(line(f"**{package}, functions**", inside_functions))
        if of_package:
            lines.append(line(f"**{package}, all**", of_package))
    page = HERE / "RESULTS.md"
    before, _, rest = page.read_text().partition("<!-- table -->")
    after = rest.partition("<!-- end of table -->")[2]
    page.write_text(f"{before}<!-- table -->\n" + "\n".join(lines) + f"\n<!-- end of table -->{after}")


def commit_of() -> str:
    """The commit, with a plus where code or tests differ from it."""

    def git(*words: str) -> str:
        return subprocess.run(["git", *words], cwd=TOP, capture_output=True, text=True, check=True).stdout.strip()

    folders = [f"brewwater/{p}" for p in TESTS] + [f"tests/{f}" for f in ("unit", "consistency", "validation")]
    changed = git("status", "--porcelain", "--", *folders)
    return git("rev-parse", "--short", "HEAD") + ("+" if changed else "")


def line(name: str, rows: list[dict[str, str]]) -> str:
    """One line of the table: a module, or a package with the sums of its modules."""
    sums = {c: sum(int(r[c]) for r in rows) for c in COLUMNS[1:7]}
    share = (sums["killed"] + sums["timeout"]) / sums["mutants"]
    commits = ", ".join(sorted({r["commit"] for r in rows}))
    return f"| {name} | " + " | ".join(str(n) for n in sums.values()) + f" | {share:.1%} | {commits} |"


def call_mutmut(place: Path, names: Path, children: int) -> None:
    """mutmut in a process of its own, working in ``place``; ``names``: a file of mutants, or ``every``."""
    subprocess.run(
        [sys.executable, str(Path(__file__).resolve()), "--inside", str(names), "--children", str(children)],
        cwd=place,
        check=True,
        env=os.environ | {"PYTHONDONTWRITEBYTECODE": "1"},
    )


def main() -> int:
    """Run the packages asked for; exit status 1 where one is under 85 %."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("packages", nargs="*", metavar="package", help=", ".join(TESTS))
    parser.add_argument("--survivors", action="store_true")
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "brewwater-mutation")
    parser.add_argument("--children", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--inside", type=Path, help=argparse.SUPPRESS)
    scenario = parser.parse_args()
    if scenario.inside:
        names = scenario.inside.read_text().split() if scenario.inside.name != "every" else []
        inside(scenario.children, names)
        return 0
    packages = scenario.packages or list(TESTS)
    if unknown := set(packages) - set(TESTS):
        parser.error(f"no such package: {', '.join(unknown)}")
    commit = commit_of()
    low = False
    for package in packages:
        place = scenario.folder / package
        copy_checkout(place)
        configure(place, package)
        if scenario.survivors:
            again = place / "again.txt"
            open_ones = [k for keys in statuses(place).values() for k, s in keys.items() if s != "killed"]
            again.write_text("\n".join(open_ones))
            call_mutmut(place, again, scenario.children)
        call_mutmut(place, Path("every"), scenario.children)  # all that has no result yet
        found = statuses(place)
        beside = outside.measure(place, package, tests_of(package, place), scenario.children)
        alive = [f"{s}: {k}" for keys in found.values() for k, s in keys.items() if s not in NOTICED]
        alive += [f"{s}: {k}" for keys in beside.values() for k, s in keys.items() if s not in NOTICED]
        (place / "survivors.txt").write_text("\n".join(alive) + "\n")
        rows = rows_of(found, commit, f"mutmut {importlib.metadata.version('mutmut')}")
        whole = {k: s for keys in beside.values() for k, s in keys.items()}
        rows += rows_of({f"brewwater/{package}{OUTSIDE}": whole}, commit, "outside.py")
        write(rows, [package])
        print(line(package, rows))
        killed = sum(int(r["killed"]) + int(r["timeout"]) for r in rows)
        low |= killed < 0.85 * sum(int(r["mutants"]) for r in rows)
    return int(low)


if __name__ == "__main__":
    sys.exit(main())
