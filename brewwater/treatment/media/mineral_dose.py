"""Mineral dosing: named salts with their hydrate water, grams for a batch, and a block on tenfold entries.

Food-grade salts, weighed on a scale, one batch at a time. A dose above the salt's ceiling is refused as a
likely slip of the decimal point. The sodium and chloride that come with a salt are shown, not hidden.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from brewwater import reference
from brewwater.errors import InputError
from brewwater.treatment.medium import FloatArray, Load, Medium, StageSettings, changed
from brewwater.treatment.stage import Dose, Stage
from brewwater.units import plain
from brewwater.water import CACO3_G_PER_MOL, MOLAR_MASS_G, Water

_IONS = ("calcium", "magnesium", "sodium", "potassium", "chloride", "sulfate", "alkalinity", "dic")


@dataclass(frozen=True, slots=True)
class Salt:
    """A salt of ``reference/salts.csv``: g/mol with its hydrate water, ions in mol (eq for alkalinity) per
    mol, the usual top of the dose and the dose above which an entry is refused, mg/L."""

    key: str
    label: str
    formula: str
    g_per_mol: float
    gives: dict[str, float]
    usual_high_mg_L: float
    ceiling_mg_L: float


def salt(name: str) -> Salt:
    """The salt of that key.

    Raises
    ------
    InputError : the table holds no such salt
    """
    rows = reference.keyed("salts")
    if name not in rows:
        raise InputError("salt", name, f"one of {', '.join(rows)} is needed", "Choose a salt of the list.")
    row = rows[name]
    gives = {ion: float(row[f"{ion}_mol_per_mol"]) for ion in _IONS if float(row[f"{ion}_mol_per_mol"])}
    return Salt(
        name,
        row["label"],
        row["formula"],
        float(row["g_per_mol"]),
        gives,
        float(row["usual_high_mg_L"]),
        float(row["ceiling_mg_L"]),
    )


def _check(name: str, mg_L: float) -> Salt:
    found = salt(name)
    if not 0 <= mg_L <= found.ceiling_mg_L:
        raise InputError(
            f"doses.{name}",
            f"{plain(mg_L, 6)} mg/L",
            f"a dose for coffee water is 0 to {plain(found.ceiling_mg_L, 6)} mg/L of {found.formula}",
            f"Check the decimal point: {plain(mg_L / 10, 6)} mg/L may be meant.",
        )
    return found


@dataclass(frozen=True, slots=True)
class Batch:
    """One salt for a batch: grams to weigh, and what each litre gains, mg/L of the ion (alkalinity and
    hardness as CaCO3)."""

    salt: str
    label: str
    grams: float
    gains: dict[str, float]


def batch(doses: Sequence[Dose], litres: float) -> tuple[Batch, ...]:
    """The recipe for a batch of ``litres`` of water: what to weigh, salt by salt.

    Raises
    ------
    InputError : a dose above its ceiling, an unknown salt, or a batch that is not above 0 L
    """
    if not litres > 0:
        raise InputError("batch litres", litres, "a volume above 0 is needed", "Enter the batch volume.")
    recipe = []
    for dose in doses:
        found = _check(dose.salt, dose.mg_L)
        mmol_L = dose.mg_L / found.g_per_mol
        gains = {f"{ion}_mg_L": mmol_L * n * MOLAR_MASS_G[ion] for ion, n in found.gives.items() if ion in MOLAR_MASS_G}
        gains["hardness_mg_L_as_CaCO3"] = (
            mmol_L * CACO3_G_PER_MOL * (found.gives.get("calcium", 0) + found.gives.get("magnesium", 0))
        )
        gains["alkalinity_mg_L_as_CaCO3"] = mmol_L * CACO3_G_PER_MOL / 2 * found.gives.get("alkalinity", 0)
        recipe.append(Batch(dose.salt, found.label, dose.mg_L * litres / 1000 / dose.purity, gains))
    return tuple(recipe)


def dosed(water: Water, doses: Mapping[str, FloatArray]) -> Water:
    """The water with doses (mg/L of pure salt, any broadcastable shape) dissolved in it.

    Raises
    ------
    InputError : a dose below 0 or above its ceiling, or an unknown salt
    """
    change: dict[str, FloatArray] = {}
    for name, mg_L in doses.items():
        found = _check(name, float(np.max(mg_L)))
        _check(name, float(np.min(mg_L)))
        for ion, n in found.gives.items():
            change[ion] = change.get(ion, np.zeros(())) + mg_L / 1000 / found.g_per_mol * n
    return changed(water, **change)


def amounts(stage: Stage, settings: StageSettings) -> dict[str, FloatArray]:
    """mg/L of pure salt by salt: of the settings, else of the stage (the same salt twice adds up)."""
    if settings.doses is not None:
        return dict(settings.doses)
    total: dict[str, FloatArray] = {}
    for dose in stage.doses:
        total[dose.salt] = total.get(dose.salt, np.zeros(1)) + dose.mg_L
    return total


def treat(water: Water, stage: Stage, settings: StageSettings) -> Water:
    """The dosed water (no bypass)."""
    return dosed(water, amounts(stage, settings))


def load(inlet: Water, treated: Water, stage: Stage, settings: StageSettings) -> Load:
    """Litres, and the grams of powder."""
    purity = {dose.salt: dose.purity for dose in stage.doses}
    grams = sum(
        (mg_L / 1000 / purity.get(name, 1.0) for name, mg_L in amounts(stage, settings).items()),
        start=np.zeros(1),
    )
    return Load(consumed_g=grams)


MEDIUM = Medium("mineral_dose", treat, load, frozenset({"consumed"}))
