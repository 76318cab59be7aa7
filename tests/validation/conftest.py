"""One fixture, ``printed``: holds a computed figure against a printed one and records both for the trust page."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

KINDS = frozenset({"computed", "second_solver", "lookup", "derived", "common_practice", "memory"})


@pytest.fixture
def printed(record_property: Callable[[str, object], None]) -> Callable[..., None]:
    """``printed(source, quantity, ours, theirs, tolerance, kind="computed", why="")``.

    ``source``: who printed it, with page or table; it begins as a line of ``authorities.csv`` does.
    ``tolerance``: half the last printed digit, else ``why`` says why not. ``kind``: ``computed`` (our code
    computes what they printed), ``second_solver`` (another program's answer in the same run), ``lookup`` (a
    table's value, or a factor taken from the source itself), ``derived`` (answer worked by us from published
    inputs), ``common_practice`` or ``memory``.
    """
    def check(source: str, quantity: str, ours: float, theirs: float, tolerance: float, *,
              kind: str = "computed", why: str = "") -> None:
        assert kind in KINDS
        record_property("check", json.dumps({
            "source": source, "quantity": quantity, "ours": float(ours), "theirs": float(theirs),
            "tolerance": float(tolerance), "kind": kind, "why": why,
        }))
        assert abs(ours - theirs) <= tolerance * (1 + 1e-9), f"{source}: {quantity}: {ours} against {theirs}"

    return check
