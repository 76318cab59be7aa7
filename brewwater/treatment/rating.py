"""Capacity of a cartridge in its own currency: the data sheet re-rated, or the usual figure of its class.

A sheet's gallons mean something only at the sheet's own reference water. Where that is stated the gallons are
turned into equivalents or grams of chlorine, which this user's water then spends at its own rate. Where it is
not stated, the capacity is unknown: the class's wide range stands in, with a warning.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cache
from typing import Literal

import numpy as np

from brewwater import reference
from brewwater.ensemble import Draws
from brewwater.records import Span
from brewwater.treatment.classes import medium_class
from brewwater.treatment.media import MEDIA
from brewwater.treatment.medium import FloatArray, usual
from brewwater.treatment.order import BrokenRule
from brewwater.treatment.stage import Stage
from brewwater.units import GAL_L, GRAIN_MG
from brewwater.water import CACO3_G_PER_EQ

Disinfectant = Literal["free_chlorine", "chloramine", "none", "unknown"]
DAYS_PER_MONTH = 365.25 / 12
GRAIN_EQ = GRAIN_MG / 1000 / CACO3_G_PER_EQ
_NO_LIMIT: FloatArray = np.array([np.inf])
_CARBONS = frozenset({"carbon", "catalytic_carbon"})


@dataclass(frozen=True, slots=True)
class Capacity:
    """What one new cartridge can bear, each shape ``(n,)`` or ``(1,)``; infinite where a currency sets no
    limit.

    ``basis``: ``sheet`` (stated and re-rated), ``class`` (no capacity stated: the usual range of the class)
    or ``unknown`` (a figure is stated that cannot be used for this water; the class's range stands in).
    """

    volume_L: FloatArray = field(default_factory=lambda: _NO_LIMIT)
    exchange_eq: FloatArray = field(default_factory=lambda: _NO_LIMIT)
    chlorine_g: FloatArray = field(default_factory=lambda: _NO_LIMIT)
    consumed_g: FloatArray = field(default_factory=lambda: _NO_LIMIT)
    days: FloatArray = field(default_factory=lambda: _NO_LIMIT)
    basis: Literal["sheet", "class", "unknown"] = "sheet"
    warnings: tuple[BrokenRule, ...] = ()

    @property
    def known(self) -> bool:
        """False where the stated capacity cannot be used: a figure shown for it would be a guess."""
        return self.basis != "unknown"


@cache
def _variation(quantity: str) -> Span:
    row = reference.keyed("capacity_variation", "quantity")[quantity]
    return Span(low=float(row["low"]), typical=float(row["typical"]), high=float(row["high"]))


def _rated_eq(stage: Stage) -> tuple[float, str | None] | None:
    """Equivalents by the sheet, and the code of a doubt about them; None where the sheet does not say."""
    sheet = stage.sheet
    if sheet.capacity_grains is not None:
        return sheet.capacity_grains * GRAIN_EQ, None
    if sheet.rated_gal is None:
        return None
    through_L = sheet.rated_gal * GAL_L * (1 - sheet.reference_bypass_percent / 100)
    doubt = None
    if stage.medium in {"weak_acid", "chloride_anion"}:
        ppm = sheet.reference_alkalinity_mg_L_as_CaCO3
        if ppm is None and stage.medium == "weak_acid":
            ppm, doubt = sheet.reference_hardness_mg_L_as_CaCO3, "reference_is_hardness"
    else:
        ppm = sheet.reference_hardness_mg_L_as_CaCO3
    if ppm is None:
        return None
    usual_leak = usual(stage.medium).get("leakage_mg_L_as_CaCO3")
    leak = stage.leakage_mg_L_as_CaCO3
    if leak is None:
        leak = 0.0 if usual_leak is None else usual_leak.middle
    if ppm <= leak:  # what it was rated at, it would have let through: no capacity follows
        return None
    return through_L * (ppm - leak) / 1000 / CACO3_G_PER_EQ, doubt


def cartridge_spread() -> float:
    """Relative standard deviation of what one cartridge bears against the next of the same make."""
    return _variation("cartridge_to_cartridge").middle


def is_rated(stage: Stage) -> bool:
    """Whether the stage's sheet states what it bears."""
    return stage.sheet.rated_gal is not None or stage.sheet.capacity_grains is not None


def capacity(
    stage: Stage,
    draws: Draws,
    number: int = 0,
    *,
    disinfectant: Disinfectant = "unknown",
    holds: FloatArray | None = None,
) -> Capacity:
    """Draw the capacity of the ``number``-th cartridge of a stage (0: the first).

    Parameters
    ----------
    stage : medium, size and data sheet
    draws : the class's or the rating's doubt is drawn once per stage (every cartridge of that make has it),
        a small part of its own is drawn for each cartridge. With one draw a stated rating comes back exactly.
    number : 0 or more
    disinfectant : of the supply; a free-chlorine rating is no rating for chloramine
    holds : what cartridges of that make bear, over their rating or the typical figure of their class, shape (n,), in
        place of the doubt about either; None: not known

    Returns
    -------
    Capacity : the safety margin is not in it (apply it once, later). ``days`` is the time limit, certain: a
        rule, not a chance.
    """
    limits = MEDIA[stage.medium].exhausted_by
    sheet, usual_class = stage.sheet, medium_class(stage.medium, stage.size)
    found: dict[str, FloatArray] = {}
    warnings: list[BrokenRule] = []
    basis: Literal["sheet", "class", "unknown"] = "class"

    def warn(code: str, message: str) -> None:
        warnings.append(BrokenRule(code, stage.name, message, advice=True))

    def shared(quantity: str, span: Span, average: bool = False) -> FloatArray:
        return draws.span(f"{stage.name}: {quantity}", span, average=average)

    def varies(quantity: str, by: str) -> FloatArray:
        """A doubt about what a sheet claims, whose usual value is its mean."""
        return shared(quantity, _variation(by), average=True)

    own = holds
    holds = varies("rating holds", "rating_holds") if own is None else own
    chloramine = stage.medium in _CARBONS and disinfectant == "chloramine"
    unrated_chloramine = chloramine and sheet.rated_for != "chloramine"
    if "exchange" in limits:
        rated = _rated_eq(stage)
        if rated is not None:
            basis = "sheet"
            found["exchange_eq"] = rated[0] * holds
            if rated[1] is not None:
                share = varies(rated[1], "hardness_reference_as_alkalinity")
                found["exchange_eq"] = found["exchange_eq"] * share
                warn(
                    rated[1],
                    "The sheet rates its gallons at a hardness, but this medium spends itself on "
                    "alkalinity; a share of that hardness is assumed to be tied to alkalinity.",
                )
    elif stage.medium in _CARBONS:
        reference_ppm = sheet.reference_chlorine_mg_L_as_Cl2
        if sheet.rated_gal is not None and reference_ppm is not None and not unrated_chloramine:
            basis = "sheet"
            through_L = sheet.rated_gal * GAL_L * (1 - sheet.reference_bypass_percent / 100)
            found["chlorine_g"] = through_L * reference_ppm / 1000 * holds
            # weaker water does not lengthen it past its gallons: taste, organics and dirt use the bed up too
            found["volume_L"] = through_L * holds
    elif "volume" in limits and sheet.rated_gal is not None:
        basis = "sheet"
        found["volume_L"] = sheet.rated_gal * GAL_L * holds
    if basis == "class":
        for quantity in ("volume", "exchange", "chlorine", "consumed"):
            name = {
                "volume": "volume_gal",
                "exchange": "exchange_eq",
                "chlorine": "chlorine_g",
                "consumed": "consumed_g",
            }[quantity]
            span: Span | None = getattr(usual_class, name)
            if quantity in limits and span is not None:
                learned = None if is_rated(stage) else own
                amount = shared(f"class {quantity}", span) if learned is None else span.middle * learned
                if quantity == "chlorine" and chloramine and stage.medium == "carbon":
                    amount = amount * varies("chloramine", "chloramine_on_plain_carbon")
                found["volume_L" if quantity == "volume" else name] = amount * GAL_L if quantity == "volume" else amount
        stated = sheet.rated_gal is not None
        if unrated_chloramine and (stated or stage.medium == "carbon"):
            basis = "unknown"
            claim = "No rating is stated" if not stated else f"{sheet.rated_gal:,.0f} gal are not a chloramine rating"
            warn(
                "capacity_unknown",
                f"{claim}, and the supply is disinfected with chloramine: the capacity is "
                "unknown. Choose a carbon rated for chloramine, and test total chlorine after it.",
            )
        elif stated:
            basis = "unknown"
            warn(
                "capacity_unknown",
                f"{sheet.rated_gal:,.0f} gal are stated without a reference water that the stage would treat: the "
                "capacity is unknown, and the usual range of the class stands in.",
            )
        elif found and stage.medium != "mineral_dose":
            warn(
                "capacity_class_figure",
                "No capacity stated: the usual range of the class (common practice) "
                "stands in. Enter the data sheet to narrow it.",
            )
    if stage.medium in _CARBONS and disinfectant == "unknown" and sheet.rated_for != "chloramine":
        warn(
            "disinfectant_unknown",
            "Whether the supply carries free chlorine or chloramine is unknown; the "
            "capacity holds for free chlorine only. Ask the utility or test free and total chlorine.",
        )
    if stage.medium != "mineral_dose":
        spread = 1 + cartridge_spread() * draws.normal(f"{stage.name}: cartridge {number}")
        found = {name: amount * spread for name, amount in found.items()}
    months = sheet.life_months
    if months is None and usual_class.life_months is not None:
        months = usual_class.life_months.middle
    if months is not None:
        found["days"] = np.array([months * DAYS_PER_MONTH])
    return Capacity(**found, basis=basis, warnings=tuple(warnings))
