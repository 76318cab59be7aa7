"""One fixture, ``printed``: holds a computed figure against a printed one and records both for the trust page."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

import pytest

KINDS = frozenset({"computed", "second_solver", "lookup", "derived", "common_practice", "memory"})
TABLE = Path(__file__).resolve().parents[2] / "reference" / "outside_checks.csv"
Key = tuple[str, str, str, str]


@cache
def on_the_page() -> frozenset[Key]:
    """(printed source, quantity, kind, their figure) of every check on the committed trust page."""
    with TABLE.open(encoding="utf-8", newline="") as handle:
        return frozenset((r["printed_in"], r["quantity"], r["kind"], r["theirs"]) for r in csv.DictReader(handle))


@pytest.fixture
def printed(
    record_property: Callable[[str, object], None], request: pytest.FixtureRequest
) -> Iterator[Callable[..., None]]:
    """``printed(source, quantity, ours, theirs, tolerance, kind="computed", why="")``.

    ``source``: who printed it, with page or table; it begins as a line of ``authorities.csv`` does.
    ``tolerance``: half the last printed digit, else ``why`` says why not. ``kind``: ``computed`` (our code
    computes what they printed), ``second_solver`` (another program's answer in the same run), ``lookup`` (a
    table's value, or a factor taken from the source itself), ``derived`` (answer worked by us from published
    inputs), ``common_practice`` or ``memory``. A check that the committed trust page lacks is an error at the
    end of its test.
    """
    seen: list[Key] = []

    def check(
        source: str,
        quantity: str,
        ours: float,
        theirs: float,
        tolerance: float,
        *,
        kind: str = "computed",
        why: str = "",
    ) -> None:
        assert kind in KINDS
        record_property(
            "check",
            json.dumps(
                {
                    "source": source,
                    "quantity": quantity,
                    "ours": float(ours),
                    "theirs": float(theirs),
                    "tolerance": float(tolerance),
                    "kind": kind,
                    "why": why,
                }
            ),
        )
        seen.append((source, quantity, kind, f"{float(theirs):.10g}"))
        assert abs(ours - theirs) <= tolerance * (1 + 1e-9), f"{source}: {quantity}: {ours} against {theirs}"

    yield check
    if not request.config.pluginmanager.has_plugin("trust_page"):  # then the page is being made
        missing = [key for key in seen if key not in on_the_page()]
        assert not missing, f"not on the trust page: {missing}; run: python tests/validation/trust_page.py"
