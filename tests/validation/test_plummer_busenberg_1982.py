"""Plummer and Busenberg (1982), Geochim. Cosmochim. Acta 46:1011: constants of the carbonate system."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from brewwater.chemistry.constants import log_k

Check = Callable[..., None]


PB82 = "Plummer and Busenberg 1982, abstract, 25 °C"


@pytest.mark.parametrize(
    ("name", "stated", "uncertainty"),
    [("calcite", -8.480, 0.0005), ("cahco3", 1.11, 0.005), ("caco3", 3.22, 0.0054)],
)
def test_stated_values_at_25(printed: Check, name: str, stated: float, uncertainty: float) -> None:
    why = "" if name != "caco3" else "its own coefficients give 3.225: half the last digit and rounding"
    printed(PB82, f"log K {name}", float(log_k(name, 25.0)), stated, uncertainty, why=why)


@pytest.mark.parametrize(
    ("name", "at"),
    [
        ("calcite", {0: -8.3814, 10: -8.4105, 20: -8.4533, 40: -8.5797, 60: -8.7588, 80: -8.9886, 93: -9.1639}),
        ("k1", {0: -6.5786, 10: -6.4633, 20: -6.3819, 40: -6.2974, 60: -6.2903, 80: -6.3382, 93: -6.3918}),
        ("k2", {0: -10.6286, 10: -10.4879, 20: -10.3756, 40: -10.2217, 60: -10.1438, 80: -10.1256, 93: -10.14}),
        ("co2_gas", {0: -1.1084, 10: -1.2694, 20: -1.4069, 40: -1.6249, 60: -1.7840, 80: -1.8987, 93: -1.9544}),
    ],
)
def test_equations_evaluated_apart(printed: Check, name: str, at: dict[int, float]) -> None:
    for temperature, value in at.items():
        printed(
            "Plummer and Busenberg 1982, equations worked apart",
            f"log K {name} at {temperature} °C",
            float(log_k(name, temperature)),
            value,
            0.00005001,
            kind="derived",
            why="four decimals",
        )


def test_constants_do_not_jump() -> None:
    at = np.linspace(0, 130, 2601)
    for name in ("calcite", "k1", "k2", "kw", "caco3", "cahco3", "co2_gas", "gypsum"):
        assert np.abs(np.diff(log_k(name, at), 2)).max() < 2e-4, name
