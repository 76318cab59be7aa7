"""A supplier's bulletin on sizing a softener, June 2019."""

from __future__ import annotations

from collections.abc import Callable

from brewwater.units import from_plan_units


def test_ppm_to_grains(printed: Callable[..., None]) -> None:
    printed(
        "supplier's bulletin, June 2019: 118 ppm",
        "grains per gallon",
        from_plan_units(118, "gpg", "total_hardness"),
        6.9,
        0.05,
    )
