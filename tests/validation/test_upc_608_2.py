"""Uniform Plumbing Code 608.2: the pressure that asks for a regulator, in both units."""

from __future__ import annotations

from collections.abc import Callable

from brewwater.plumbing.parts import limit
from brewwater.units import PSI_KPA


def test_eighty_psi(printed: Callable[..., None]) -> None:
    printed("UPC 608.2, 80 psi (552 kPa)", "kPa", limit("mains_without_regulator") * PSI_KPA, 552, 0.5)
