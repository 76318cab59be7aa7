"""Mutants where mutmut makes none: module level, class bodies and decorated functions (``run.py`` calls this).

There stand the constants: every number is moved, every arithmetic operator swapped, every comparison turned and every
minus dropped, one at a time, each tried by a process of its own on a copy of the package.
"""

from __future__ import annotations

import ast
import copy
import importlib
import multiprocessing
import os
import shutil
import signal
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

SECONDS = 120
PLAIN = {"staticmethod", "classmethod"}  # what mutmut reaches though it is decorated
SWAP: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Pow: ast.Mult,
}
TURN: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
}


def outside(node: ast.AST) -> Iterator[ast.AST]:
    """The nodes that mutmut does not mutate."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.FunctionDef):
            names = {d.id for d in child.decorator_list if isinstance(d, ast.Name)}
            if names <= PLAIN and len(child.decorator_list) == len(names):
                continue
        yield child
        yield from outside(child)


def mutants(source: str) -> Iterator[tuple[int, str, str]]:
    """(line, what was done, the mutated source)."""
    tree = ast.parse(source)
    for index, node in enumerate(list(outside(tree))):
        changed = copy.deepcopy(tree)
        at = list(outside(changed))[index]
        if isinstance(at, ast.Constant) and type(at.value) in (int, float):
            moved = at.value + 1 if isinstance(at.value, int) else at.value * 1.01 + (not at.value)
            what, at.value = f"{at.value} -> {moved:g}", moved
        elif isinstance(at, ast.BinOp) and type(at.op) in SWAP:
            what, at.op = f"{type(at.op).__name__} -> {SWAP[type(at.op)].__name__}", SWAP[type(at.op)]()
        elif isinstance(at, ast.Compare) and type(at.ops[0]) in TURN:
            what, at.ops[0] = f"{type(at.ops[0]).__name__} turned", TURN[type(at.ops[0])]()
        elif isinstance(at, ast.UnaryOp) and isinstance(at.op, ast.USub):
            what, at.op = "minus dropped", ast.UAdd()
        else:
            continue
        yield getattr(node, "lineno", 0), what, ast.unparse(changed)


def attempt(job: tuple[Path, str, str, list[str]]) -> int:
    """Exit code of the tests on one mutant; 124 where they ran out of time."""
    place, module, source, tests = job
    with tempfile.TemporaryDirectory() as folder:
        own = Path(folder)
        shutil.copytree(place / "brewwater", own / "brewwater", ignore=shutil.ignore_patterns("__pycache__"))
        for name in ("reference", "tests", "app.py", "pyproject.toml"):
            (own / name).symlink_to(place / name)
        (own / module).write_text(source, encoding="utf-8")
        child, code = os.fork(), 3
        if not child:
            try:
                code = run(own, tests)
            finally:
                os._exit(code)
        signal.signal(signal.SIGALRM, lambda *_: os.kill(child, signal.SIGKILL))
        signal.alarm(SECONDS)
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        signal.alarm(0)
        return 124 if status == -signal.SIGKILL else status


def run(place: Path, tests: list[str]) -> int:
    """The tests in this process, on the package in ``place``."""
    import pytest

    os.chdir(place)
    sys.path[:0] = [str(place), str(place / "tests" / "mutation")]
    sys.dont_write_bytecode = True
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    options = ["-x", "-q", "-p", "quick", "-p", "no:xdist", "-p", "no:cacheprovider", "--rootdir=."]
    return int(pytest.main([*options, *tests]))


def measure(place: Path, package: str, tests: list[str], children: int) -> dict[str, dict[str, str]]:
    """What became of each mutant of a package, by module."""
    for name in ("pytest", "numpy", "scipy.stats", "pandas", "pydantic"):  # not hypothesis: pytest must find it new
        importlib.import_module(name)
    jobs, names = [], []
    for path in sorted((place / "brewwater" / package).rglob("*.py")):
        module = str(path.relative_to(place))
        source = path.read_text(encoding="utf-8")
        for line, what, changed in mutants(source):
            names.append((module, f"{module}:{line}: {what}: {source.splitlines()[line - 1].strip()}"))
            jobs.append((place, module, changed, tests))
    if jobs and attempt((place, jobs[0][1], (place / jobs[0][1]).read_text(encoding="utf-8"), tests)):
        raise SystemExit("the tests fail before anything is changed")
    found: dict[str, dict[str, str]] = {}
    context = multiprocessing.get_context("fork")
    with context.Pool(children, maxtasksperchild=1) as pool:
        for number, ((module, name), code) in enumerate(zip(names, pool.imap(attempt, jobs), strict=True), start=1):
            status = {0: "survived", 124: "timeout"}.get(code, "killed")
            found.setdefault(module, {})[f"{name} #{number}"] = status
            print(f"\r{number}/{len(jobs)} outside of functions", end="", flush=True)
    print()
    return found
