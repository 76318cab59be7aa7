"""Measured figures of one supply that contradict each other: told in words, neither of them dropped.

Which of two is wrong nothing says, so half of the draws believe either (``completion``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from brewwater.reports.analysis import Supply
from brewwater.reports.checks import Finding, cross_check
from brewwater.water import MOLAR_MASS_G

FloatArray = NDArray[np.float64]

# Measured solids over what the ions make, past which they contradict each other (common practice, no source:
# laboratories allow a fifth between the two).
SOLIDS_ABOVE = 1.3
# Cross-checks that the completion tells in words of its own.
_TOLD_THERE = {"tds_impossible", "tds_above_ions", "charge_balance"}
_HALF = " The plan gives either an even chance until one of them is measured again."
_ANION_CHARGE = {"chloride": 1, "sulfate": 2, "nitrate": 1}


def told(supply: Supply) -> tuple[Finding, ...]:
    """What the cross-checks of a supply's figures find, each with the supply's name, but for what the completion
    tells in words of its own."""
    found = []
    for finding in cross_check(supply.analysis):
        if finding.code not in _TOLD_THERE:
            half = _HALF if finding.code == "hardness_mismatch" else ""
            found.append(replace(finding, message=f"{supply.name}: {finding.message}{half}"))
    return tuple(found)


def solids_above_ions(name: str, measured: FloatArray, made: FloatArray) -> Finding:
    """Solids far above all that the ions can make, mg/L, in words."""
    return Finding(
        "tds_above_ions",
        "total_dissolved_solids",
        f"{name}: the dissolved solids of {np.median(measured):.0f} mg/L are far above the {np.median(made):.0f} mg/L "
        f"that the ions of the same report make: one of the two is wrong, or an ion was not measured.{_HALF}",
    )


def add_salt(ions: dict[str, FloatArray], lacking_mg_L: FloatArray, free: Sequence[str]) -> None:
    """Add so much of a neutral salt to the ions, mol/L: sodium, and in equal parts the anions that nobody measured
    (sulfate where all were)."""
    anions = tuple(free) or ("sulfate",)
    of_anion = sum(MOLAR_MASS_G[a] / _ANION_CHARGE[a] for a in anions) / len(anions)
    equivalents = lacking_mg_L / 1000 / (MOLAR_MASS_G["sodium"] + of_anion)
    ions["sodium"] = ions["sodium"] + equivalents
    for anion in anions:
        ions[anion] = ions[anion] + equivalents / _ANION_CHARGE[anion] / len(anions)
