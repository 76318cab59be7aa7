"""Army TM 10-4610-309-14, work package 0083: output of a membrane by temperature."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from brewwater.treatment.media.reverse_osmosis import temperature_factor


@pytest.mark.parametrize(
    ("fahrenheit", "factor"),
    [
        (32, 0.50),
        (41, 0.58),
        (50, 0.66),
        (59, 0.76),
        (68, 0.87),
        (77, 1.00),
        (86, 1.15),
        (95, 1.32),
        (104, 1.51),
    ],
)
def test_army_temperature_table(printed: Callable[..., None], fahrenheit: float, factor: float) -> None:
    ours = float(temperature_factor((fahrenheit - 32) / 1.8, "army_table"))
    printed("Army TM 10-4610-309-14 WP0083", f"factor at {fahrenheit} °F", ours, factor, 0.005, kind="lookup")


def test_two_sources_disagree_in_the_cold() -> None:
    """The conflict is real: the reason that each membrane names its curve."""
    assert float(temperature_factor(10.0, "army_table")) - float(temperature_factor(10.0)) > 0.07
