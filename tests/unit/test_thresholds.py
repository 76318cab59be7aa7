"""No bare threshold in ``verdicts/``, ``treatment/``, ``plumbing/``: every figure that decides stands in ``reference/``.

Every number written in these rooms counts, wherever it stands, but for what is listed here:

- 0, 1, 2 and 100: nothing, whole, twice (or a square), per cent
- a number so small or so large that it stands for rounding or for no bound at all (``ROUNDING``, ``NO_BOUND``)
- the conversions of ``UNITS``, and only as a term of arithmetic: compared with, bounded by or given as a default, each
  of them is a threshold again
- how many digits are shown, and places in a sequence (``SHOWN``, an index or slice)
- what can be typed at all (``TYPED``: bounds of a document's field, sizes of a cache)
- the scopes of ``NAMED``, each with its reason
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

import brewwater

ROOT = Path(brewwater.__file__).parent
FILES = sorted(f for room in ("verdicts", "treatment", "plumbing") for f in (ROOT / room).rglob("*.py"))

PLAIN = frozenset({0, 1, 2, 100})
ROUNDING, NO_BOUND = 1e-9, 1e6
UNITS = {
    4: "pi d squared over 4; a membrane's mean of feed and reject",
    10: "powers and logarithms; tenfold",
    12: "inches in a foot, months in a year",
    24: "hours in a day",
    60: "seconds in a minute, minutes in an hour",
    1000: "milli",
    1440: "minutes in a day",
    3600: "seconds in an hour",
    10_000: "mg/L in one per cent",
    365.25: "days in a year",
    1.8: "degrees Fahrenheit in one of Celsius",
    32: "its zero",
    273: "kelvin of 0 °C, as the formula prints it",
    298: "kelvin of 25 °C, as the formula prints it",
    101.325: "kPa of an atmosphere",
}
SHOWN = frozenset({"plain", "round", "percent", "wrap"})
TYPED = frozenset({"ge", "gt", "le", "lt", "max_length", "min_length", "maxsize"})
NAMED = {
    ("plumbing/check.py", "Judge.low"): "one draw of ten: the p10 of the contract",
    ("plumbing/check.py", "Judge.high"): "nine draws of ten: the p90",
    ("plumbing/check.py", "Judge.middle"): "the median",
    ("plumbing/fit_flow.py", "_output"): "a day of 24 hours where none are stated",
    ("plumbing/fit_tanks.py", "weight_checks"): "an even load: half on each side",
    ("plumbing/flow.py", "GRAVITY_M_S2"): "standard gravity, a definition",
    ("plumbing/flow.py", "MOST_GPM"): "the end of the grid on which losses are worked",
    ("plumbing/flow.py", "_GRID"): "the grid itself",
    ("plumbing/flow.py", "hazen_williams_psi_per_ft"): "the formula as it is printed",
    ("plumbing/flow.py", "pipe_loss_psi"): "the power of that formula",
    ("plumbing/network.py", "Network._mean_gpm"): "a day of 24 hours where none are stated",
    ("plumbing/sizing.py", "hot_gal_in_peak_hour"): "a day of 24 hours where none are stated",
    ("plumbing/lists.py", "sanitise"): "an hour and more is told in hours",
    ("plumbing/tanks.py", "balance"): "half served",
    ("treatment/media/mixed_bed.py", "SILICA_G_PER_MOL"): "molar mass",
    ("treatment/medium.py", "CL2_G_PER_MOL"): "molar mass",
    ("verdicts/state.py", "HOT_C"): "what the contract calls hot",
    (
        "verdicts/state.py",
        "Bounded",
    ): "how far an estimate may be off, held by tests/consistency/test_recommend_bounds.py",
    ("verdicts/verdict.py", "RANK"): "an order",
}


def bare(source: str) -> Iterator[tuple[str, int, float]]:
    """Each number that counts: its scope, line and value."""
    yield from _walk(ast.parse(source), (), None)


def _walk(node: ast.AST, scope: tuple[str, ...], above: ast.AST | None) -> Iterator[tuple[str, int, float]]:
    if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
        scope = (*scope, node.name)
    elif isinstance(node, (ast.Assign, ast.AnnAssign)) and not any(isinstance(above, t) for t in _FUNCTIONS):
        target = node.targets[0] if isinstance(node, ast.Assign) else node.target
        if isinstance(target, ast.Name) and (not scope or isinstance(above, ast.ClassDef)):
            scope = (*scope, target.id)
    if isinstance(node, ast.Constant):
        if not isinstance(node.value, bool) and isinstance(node.value, (int, float)) and _counts(node.value, above):
            yield ".".join(scope), node.lineno, float(node.value)
        return
    for child in ast.iter_child_nodes(node):
        if isinstance(node, ast.keyword) and node.arg in TYPED:
            continue
        if isinstance(node, ast.Subscript) and child is node.slice and not isinstance(child, ast.Call):
            continue
        if isinstance(node, ast.Call) and child in node.args[1:] and _name(node.func) in SHOWN:
            continue
        yield from _walk(child, scope, node)


_FUNCTIONS = (ast.FunctionDef, ast.AsyncFunctionDef, ast.Lambda)


def _counts(value: float, above: ast.AST | None) -> bool:
    if value in PLAIN or abs(value) <= ROUNDING or abs(value) >= NO_BOUND:
        return False
    return not (value in UNITS and isinstance(above, ast.BinOp))


def _name(func: ast.expr) -> str:
    return func.attr if isinstance(func, ast.Attribute) else func.id if isinstance(func, ast.Name) else ""


def _named(file: str, scope: str) -> tuple[str, str] | None:
    return next((key for key in NAMED if key[0] == file and f"{scope}.".startswith(f"{key[1]}.")), None)


@pytest.mark.parametrize("file", FILES, ids=lambda f: f.relative_to(ROOT).as_posix())
def test_no_bare_threshold(file: Path) -> None:
    name = file.relative_to(ROOT).as_posix()
    found = [one for one in bare(file.read_text(encoding="utf-8")) if _named(name, one[0]) is None]
    assert not found, f"{name}: move to reference/, with its source: {found}"


def test_every_exception_is_still_needed() -> None:
    used = {
        _named(file.relative_to(ROOT).as_posix(), scope)
        for file in FILES
        for scope, _, _ in bare(file.read_text(encoding="utf-8"))
    }
    assert set(NAMED) <= used


@pytest.mark.parametrize(
    ("source", "values"),
    [
        ("if chloride > 30: pass", [30]),
        ("if 60 < minutes: pass", [60]),
        ("ok = alkalinity / 60 < 1", []),
        ("x = np.clip(x, 0, 30)", [30]),
        ("x = min(x, 60)", [60]),
        ("x = x or 60.0", [60]),
        ("def f(limit=30.0): pass", [30]),
        ("def f(*, limit=24): pass", [24]),
        ("class A(Part):\n    limit: float = 30.0", [30]),
        ("LIMIT = 30.0", [30]),
        ("LIMITS = {'a': 30, 'b': (40, 50)}", [30, 40, 50]),
        ("x = 0.05 * y", [0.05]),
        ("x = np.where(y > -0.2, 1, 3)", [0.2, 3]),
        ("f(limit=30)", [30]),
        ("f = lambda x: x > 30", [30]),
        ("x = y * 1000 / 60", []),
        ("text = plain(x, 6)", []),
        ("first = rows[3:5]", []),
        ("a: Annotated[Finite, Field(ge=0, le=130)] = 15.0", [15]),
        ("if x * (1 + 1e-12) >= 1: pass", []),
    ],
)
def test_the_walk_sees_what_it_should(source: str, values: list[float]) -> None:
    """The test of the test: it fails on each form in which a threshold can be written."""
    assert sorted(v for _, _, v in bare(source)) == values
