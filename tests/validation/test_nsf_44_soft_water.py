"""NSF/ANSI 44 and 330, second hand: soft water is below 1 grain per gallon, printed as 17.1 mg/L."""

from __future__ import annotations

from collections.abc import Callable

from brewwater.units import to_plan_units


def test_one_grain(printed: Callable[..., None]) -> None:
    printed(
        "NSF/ANSI 44 and 330 (wcponline 2024/02/01, second hand)",
        "1 grain per gallon, mg/L as CaCO3",
        to_plan_units(1, "gpg", "total_hardness"),
        17.1,
        0.05,
    )
