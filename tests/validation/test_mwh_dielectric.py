"""MWH equations 5-43 to 5-45: Debye-Hückel A by another dielectric constant."""

from __future__ import annotations

from collections.abc import Callable

from brewwater.chemistry.constants import debye_hueckel

Check = Callable[..., None]


def test_debye_hueckel_a(printed: Check) -> None:
    printed(
        "MWH equations 5-43 to 5-45",
        "A at 25 °C",
        float(debye_hueckel(25.0)[0]),
        0.5096,
        0.001,
        kind="derived",
        why="another dielectric equation; at 90 °C the two part (0.5717 there, 0.5851 here)",
    )
