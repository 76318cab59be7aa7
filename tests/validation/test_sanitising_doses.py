"""Chlorine doses and times for a tank, as the agencies print them (look-ups)."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from brewwater import reference


@pytest.mark.parametrize(
    ("key", "source", "mg_L", "hours"),
    [
        ("vessel", "CDC VSP 2018, contaminated tank", 50, 4),
        ("vehicle", "Army TB 43-0153, tank", 100, 4),
        ("hose", "Army TB 43-0153, hoses", 100, 2 / 60),
        ("overnight", "Wyoming food rule ch. 12 § 10, stand", 50, 24),
        ("surface", "Wyoming food rule ch. 12 § 10, surface", 200, 0.5),
    ],
)
def test_dose_and_time(key: str, source: str, mg_L: float, hours: float, printed: Callable[..., None]) -> None:
    row = reference.keyed("sanitising")[key]
    printed(source, "chlorine, mg/L", float(row["target_mg_L"]), mg_L, 0, kind="lookup")
    printed(source, "contact, h", float(row["contact_hours"]), hours, 5e-5, kind="lookup")
