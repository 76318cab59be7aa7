"""Does a test notice when one file is broken in one place?

    python tests/mutation/mutate.py brewwater/chemistry/indices.py TEST_FILE... [--minutes 10]

Works on a copy of the checkout: every number is moved, every arithmetic operator swapped, every comparison turned
into ``<=``, every minus sign dropped, one at a time; the tests are run on each. Prints the share killed and each
survivor with its line. Far simpler than mutmut or cosmic-ray, and needs neither.
"""

from __future__ import annotations

import argparse
import ast
import copy
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
SWAP: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
}  # fmt: skip


def mutants(source: str) -> Iterator[tuple[int, str, str]]:
    """(line, what was done, the mutated source)."""
    tree = ast.parse(source)
    for index, node in enumerate(ast.walk(tree)):
        changed = copy.deepcopy(tree)
        at = list(ast.walk(changed))[index]
        if isinstance(at, ast.Constant) and type(at.value) in (int, float):
            moved = at.value * 1.1 + 0.1  # type: ignore[operator]
            what, at.value = f"{at.value} -> {moved:.4g}", moved
        elif isinstance(at, ast.BinOp) and type(at.op) in SWAP:
            swapped = SWAP[type(at.op)]
            what, at.op = f"{type(at.op).__name__} -> {swapped.__name__}", swapped()
        elif isinstance(at, ast.Compare) and not isinstance(at.ops[0], ast.LtE | ast.Is | ast.IsNot):
            what, at.ops = f"{type(at.ops[0]).__name__} -> LtE", [ast.LtE()] * len(at.ops)
        elif isinstance(at, ast.UnaryOp) and isinstance(at.op, ast.USub):
            what, at.op = "minus dropped", ast.UAdd()
        else:
            continue
        yield getattr(node, "lineno", 0), what, ast.unparse(changed)


def main() -> int:
    """Run the tests on each mutant; exit status 1 where one survives."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("target")
    parser.add_argument("tests", nargs="+")
    parser.add_argument("--minutes", type=float, default=10)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "copy"
        hidden = shutil.ignore_patterns(".*", "__pycache__")
        shutil.copytree(TOP, place, ignore=hidden)
        target = place / given.target
        source = target.read_text(encoding="utf-8")
        env = os.environ | {"PYTHONPATH": str(place), "PYTHONDONTWRITEBYTECODE": "1"}
        command = [sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *given.tests]

        def passes() -> bool:
            return subprocess.run(command, cwd=place, env=env, capture_output=True, check=False).returncode == 0

        if not passes():
            raise SystemExit("the tests fail before anything is changed")
        begun, tried, alive = time.monotonic(), 0, []
        every = list(mutants(source))
        for line, what, changed in every:
            if time.monotonic() - begun > 60 * given.minutes:
                break
            target.write_text(changed, encoding="utf-8")
            tried += 1
            if passes():
                alive.append((line, what))
        lines = source.splitlines()
        print(f"{tried - len(alive)} of {tried} killed ({len(every)} in the file)")
        for line, what in alive:
            print(f"line {line}: {what}: {lines[line - 1].strip()}")
    return 1 if alive else 0


if __name__ == "__main__":
    sys.exit(main())
