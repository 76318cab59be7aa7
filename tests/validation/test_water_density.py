"""Density and weight of water, as a density table prints them."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from brewwater.errors import InputError
from brewwater.plumbing.flow import density_kg_m3, viscosity_Pa_s
from brewwater.plumbing.tanks import lb_per_gal

TABLE = "Density table, engineeringtoolbox.com"


@pytest.mark.parametrize(
    ("at", "theirs"), [(0, 999.8), (10, 999.7), (20, 998.2), (40, 992.2), (60, 983.2), (80, 971.8), (90, 965.3)]
)
def test_density(at: float, theirs: float, printed: Callable[..., None]) -> None:
    printed(TABLE, f"density at {at} °C, kg/m3", density_kg_m3(at), theirs, 0.05, kind="lookup")


def test_weight_at_60_F(printed: Callable[..., None]) -> None:
    printed(
        TABLE,
        "weight of a US gallon at 60 °F, lb",
        lb_per_gal((60 - 32) / 1.8),
        8.338,
        0.0015,
        why="worked between the tabled 10 and 20 °C, which are printed to 0.1 kg/m3",
    )


def test_expansion_from_10_to_90(printed: Callable[..., None]) -> None:
    printed(
        TABLE,
        "expansion from 10 to 90 °C, %",
        (density_kg_m3(10) / density_kg_m3(90) - 1) * 100,
        3.56,
        0.005,
        kind="derived",
    )


def test_viscosity_is_marked_as_recalled(printed: Callable[..., None]) -> None:
    printed("viscosity of water at 20 °C, recalled", "mPa s", viscosity_Pa_s(20) * 1000, 1.002, 0.0005, kind="memory")


@pytest.mark.parametrize("at", [-1.0, 91.0])
def test_outside_the_table_is_refused(at: float) -> None:
    with pytest.raises(InputError, match="0 to 90"):
        density_kg_m3(at)
