"""Order rules and common sense: each broken rule is named with the stage and the reason."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from brewwater.treatment.media.mineral_dose import salt
from brewwater.treatment.medium import usual
from brewwater.treatment.stage import Stage
from brewwater.units import percent
from brewwater.water import MOLAR_MASS_G

CARBONS = frozenset({"carbon", "catalytic_carbon"})
RESINS = frozenset({"weak_acid", "softening", "calcium_to_magnesium", "chloride_anion"})
DEMINERALISERS = frozenset({"reverse_osmosis", "mixed_bed"})
CALCIUM_TAKERS = frozenset({"weak_acid", "softening", "calcium_to_magnesium"})
REMINERALISERS = frozenset({"mineral_dose", "calcite", "blend"})
FINE_MICRON = 50.0  # a coarse strainer is coarser; common practice, no source
HARD_MG_L = 120.0  # hardness above which scale alone asks for treatment; common practice, no source
ACIDIC = frozenset({"weak_acid", "reverse_osmosis", "mixed_bed"})


@dataclass(frozen=True, slots=True)
class Problem:
    """A rule broken: ``code`` for programs, ``stage`` by name, ``message`` for people.

    ``advice``: the train may still be right, the message is to be heeded; False: the train is wrong as it is.
    """

    code: str
    stage: str
    message: str
    advice: bool = False


@dataclass(frozen=True, slots=True)
class Context:
    """What the order rules need to know around a train; None: not known.

    hardness and alkalinity : mg/L as CaCO3, typical; chloride : mg/L
    highest_temporary_hardness : of the hardest water that reaches the train, mg/L as CaCO3; None: of the typical
    before_pump : names of the stages on the pump's suction side
    concentrate_gypsum : for a membrane's recovery, the gypsum index of its concentrate, middle and the one that
        nine waters of ten stay under; where sulfate is not measured, over all that fits the rest
    """

    disinfectant: Literal["free_chlorine", "chloramine", "none", "unknown"] = "unknown"
    alkalinity_known: bool = True
    hardness_mg_L_as_CaCO3: float | None = None
    alkalinity_mg_L_as_CaCO3: float | None = None
    chloride_mg_L: float | None = None
    chloride_limit_mg_L: float = 30.0
    steam_boiler: bool = False
    brass_after_treatment: bool = False
    before_pump: frozenset[str] = frozenset()
    highest_temporary_hardness_mg_L_as_CaCO3: float | None = None
    sulfate_known: bool = True
    concentrate_gypsum: Callable[[float], tuple[float, float]] | None = None


def order_problems(stages: Sequence[Stage], context: Context) -> tuple[Problem, ...]:
    """Every rule that this train breaks in this context, in the order of the rules; empty where none."""
    return tuple(problem for rule in RULES for problem in rule(tuple(stages), context))


Rule = Callable[[tuple[Stage, ...], Context], Iterator[Problem]]


def _ahead(stages: tuple[Stage, ...], at: int, media: frozenset[str]) -> bool:
    return any(s.medium in media and s.bypass_percent < 100 for s in stages[:at])


def _carbon_before_membrane(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    for i, stage in enumerate(stages):
        if stage.medium != "reverse_osmosis" or context.disinfectant == "none":
            continue
        if not _ahead(stages, i, CARBONS):
            yield Problem(
                "membrane_without_carbon", stage.name, "Chlorine destroys the membrane: put carbon before it."
            )
        if not _ahead(stages, i, frozenset({"sediment"})):
            yield Problem(
                "membrane_without_sediment",
                stage.name,
                "Particles foul the membrane: put a sediment filter before it.",
            )


def _carbon_bypassed_before_membrane(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    for i, stage in enumerate(stages):
        if stage.medium in CARBONS and stage.bypass_percent > 0 and context.disinfectant != "none":
            later = [s.name for s in stages[i:] if s.medium == "reverse_osmosis"]
            yield Problem(
                "carbon_bypassed",
                stage.name,
                "Water that goes round the carbon keeps its chlorine"
                + (f" and reaches the membrane of {later[0]}." if later else " and reaches the cup."),
            )


def _blend_dechlorinated(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    for i, stage in enumerate(stages):
        if context.disinfectant == "none":
            return
        if stage.medium == "blend" and stage.bypass_percent > 0 and not any(s.medium in CARBONS for s in stages[i:]):
            yield Problem(
                "blend_not_dechlorinated",
                stage.name,
                "Blend water comes from the train's inlet with its chlorine: set a carbon after the "
                "blend, or use the membrane's own bypass downstream of the carbon.",
            )
        if (
            stage.medium in DEMINERALISERS
            and stage.bypass_percent > 0
            and not (_ahead(stages, i, CARBONS) or any(s.medium in CARBONS for s in stages[i:]))
        ):
            yield Problem(
                "blend_not_dechlorinated",
                stage.name,
                "The bypassed share is raw water with its chlorine: put carbon before the tee.",
            )


def _chloramine_rating(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    if context.disinfectant != "chloramine":
        return
    rated = [
        s
        for s in stages
        if s.medium in CARBONS and (s.medium == "catalytic_carbon" or s.sheet.rated_for == "chloramine")
    ]
    for stage in stages:
        if stage.medium in CARBONS and stage.sheet.rated_for == "free_chlorine":
            yield Problem(
                "free_chlorine_rating",
                stage.name,
                "A free-chlorine rating does not cover chloramine: its gallons and flow do not apply.",
            )
    if not rated:
        where = next((s.name for s in stages if s.medium in CARBONS), stages[0].name if stages else "")
        yield Problem(
            "chloramine_not_treated",
            where,
            "Chloramine reaches the cup: use catalytic carbon rated for it, sized by contact time.",
        )


def _pump_suction(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    for stage in stages:
        coarse = stage.medium == "sediment" and (stage.sheet.micron or 0) >= FINE_MICRON
        if stage.name in context.before_pump and not coarse:
            yield Problem(
                "fine_media_on_suction",
                stage.name,
                "Fine media on a pump's suction starve it and make it cavitate: only a coarse strainer "
                f"({FINE_MICRON:g} µm or more) belongs there; fine media go after the pump.",
            )


def _softener_for_chloride(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    chloride = context.chloride_mg_L
    if chloride is None or chloride <= context.chloride_limit_mg_L:
        return
    if any(s.medium in DEMINERALISERS for s in stages):
        return
    for stage in stages:
        if stage.medium == "chloride_anion":
            yield Problem(
                "adds_chloride",
                stage.name,
                f"Chloride is {chloride:.0f} mg/L already, and this medium adds more of it.",
            )
        elif stage.medium in RESINS:
            # hard water is a reason of its own for a resin; then the chloride stays to be said
            yield Problem(
                "no_cure_for_chloride",
                stage.name,
                f"This medium leaves chloride ({chloride:.0f} mg/L) untouched: it does not protect the boiler. "
                "Only a membrane, deionisation, blending or other water lowers chloride.",
                advice=(context.hardness_mg_L_as_CaCO3 or 0) > HARD_MG_L,
            )


def _alkalinity_unknown(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    if context.alkalinity_known:
        return
    for stage in stages:
        if stage.medium in RESINS:
            yield Problem(
                "alkalinity_unknown",
                stage.name,
                "A resin is chosen by alkalinity, and this water's is unknown: measure it first (a drop kit will do).",
            )


def _wrong_water(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    hard, alkaline = context.hardness_mg_L_as_CaCO3, context.alkalinity_mg_L_as_CaCO3
    if hard is None or alkaline is None:
        return
    for i, stage in enumerate(stages):
        if _ahead(stages, i, DEMINERALISERS):
            continue
        if stage.medium == "weak_acid":
            if alkaline < 60:
                yield Problem(
                    "low_alkalinity",
                    stage.name,
                    f"Alkalinity is {alkaline:.0f} mg/L as CaCO3: this medium takes what little buffer there is.",
                )
            if hard > 2 * alkaline:
                yield Problem(
                    "permanent_hardness",
                    stage.name,
                    f"Of {hard:.0f} mg/L hardness {hard - alkaline:.0f} is permanent: this medium takes "
                    "only what is tied to alkalinity.",
                )
            if alkaline > 2 * hard:
                yield Problem(
                    "sodium_alkalinity",
                    stage.name,
                    f"{alkaline - hard:.0f} mg/L of the alkalinity is sodium bicarbonate, which this "
                    "medium cannot take.",
                )
        if stage.medium == "softening" and hard < 50:
            yield Problem(
                "already_soft", stage.name, f"Hardness is {hard:.0f} mg/L as CaCO3: there is nothing to soften."
            )


def _inhibitor(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    for i, stage in enumerate(stages):
        if stage.medium != "scale_inhibitor":
            continue
        if context.steam_boiler:
            yield Problem(
                "inhibitor_in_steam",
                stage.name,
                "Heat degrades polyphosphate: it does not protect a boiler that makes steam.",
            )
        if any(s.medium in RESINS | DEMINERALISERS for s in stages[:i]):
            yield Problem("pointless_stage", stage.name, "The hardness it would hold is taken out before it.")
        if any(s.medium in DEMINERALISERS for s in stages[i:]):
            yield Problem("pointless_stage", stage.name, "The stages after it take the phosphate out again.")


def _after_demineralised(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    for i, stage in enumerate(stages):
        if stage.medium in RESINS and _ahead(stages, i, DEMINERALISERS):
            yield Problem(
                "pointless_stage",
                stage.name,
                "The water before it is demineralised: there is little left to exchange.",
            )


def _brass(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    if not context.brass_after_treatment:
        return
    for i, stage in enumerate(stages):
        if stage.medium in ACIDIC and stage.bypass_percent < 100:
            mended = stage.bypass_percent > 0 or any(s.medium in REMINERALISERS for s in stages[i + 1 :])
            if stage.medium in DEMINERALISERS and not mended:
                yield Problem(
                    "demineralised_in_brass",
                    stage.name,
                    "Demineralised water leaches brass and copper: approved non-metallic line, and "
                    "blend or minerals before any metal.",
                )
            elif stage.medium == "weak_acid":
                yield Problem(
                    "carbon_dioxide_in_brass",
                    stage.name,
                    "Water rich in CO2 after this bed attacks brass and copper: approved non-metallic "
                    "line and lead-free parts up to the machine.",
                    advice=True,
                )


def _minerals(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    for i, stage in enumerate(stages):
        if stage.medium in {"mineral_dose", "calcite"} and any(
            s.medium in DEMINERALISERS | RESINS for s in stages[i + 1 :]
        ):
            yield Problem(
                "minerals_removed_again",
                stage.name,
                "The minerals are taken out again by a later stage: dose last.",
            )
        if stage.medium == "mineral_dose" and not stage.doses:
            yield Problem("no_dose", stage.name, "No salt is dosed: name a salt and its mg/L, or take the stage out.")
        for dose in stage.doses if stage.medium == "mineral_dose" else ():
            found = salt(dose.salt)
            if dose.mg_L > found.usual_high_mg_L:
                yield Problem(
                    "high_dose",
                    stage.name,
                    f"{dose.mg_L:g} mg/L of {found.label} is above the usual {found.usual_high_mg_L:g}: "
                    "check the decimal point and weigh it twice.",
                    advice=True,
                )
            if "sodium" in found.gives:
                sodium = dose.mg_L / found.g_per_mol * found.gives["sodium"] * MOLAR_MASS_G["sodium"]
                yield Problem(
                    "sodium_added",
                    stage.name,
                    f"{found.label.capitalize()} adds {sodium:.0f} mg/L of sodium.",
                    advice=True,
                )


def _names(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    seen: set[str] = set()
    for stage in stages:
        if stage.name in seen:
            yield Problem("name_twice", stage.name, "Two stages have the same name: give each its own.")
        seen.add(stage.name)


# Temporary hardness of a small membrane's concentrate that it bears without scaling, mg/L as CaCO3
# (common practice, no source: data sheets ask for soft or low-hardness feed).
CONCENTRATE_LIMIT = 200.0


def _membrane_scaling(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    hard, alkaline = context.hardness_mg_L_as_CaCO3, context.alkalinity_mg_L_as_CaCO3
    if hard is None or alkaline is None:
        return
    for i, stage in enumerate(stages):
        if stage.medium != "reverse_osmosis" or _ahead(stages, i, frozenset({"weak_acid", "softening"})):
            continue
        recovery = stage.recovery or usual("reverse_osmosis")["recovery"].middle
        highest = context.highest_temporary_hardness_mg_L_as_CaCO3
        concentrate = (min(hard, alkaline) if highest is None else highest) / (1 - recovery)
        if concentrate > CONCENTRATE_LIMIT:
            yield Problem(
                "membrane_scales",
                stage.name,
                f"At {percent(recovery)} recovery the concentrate carries {concentrate:.0f} mg/L temporary "
                f"hardness as CaCO3 (limit {CONCENTRATE_LIMIT:g}): the membrane scales. Soften first, or "
                "waste more water.",
            )


def _membrane_gypsum(stages: tuple[Stage, ...], context: Context) -> Iterator[Problem]:
    if context.concentrate_gypsum is None:
        return
    for i, stage in enumerate(stages):
        if stage.medium != "reverse_osmosis" or _ahead(stages, i, CALCIUM_TAKERS):
            continue
        recovery = stage.recovery or usual("reverse_osmosis")["recovery"].middle
        middle, high = context.concentrate_gypsum(recovery)
        if high <= 0:
            continue
        unsure = not context.sulfate_known or middle <= 0
        shown = f"may reach {high:+.1f}" if unsure else f"is {middle:+.1f}"
        first = "" if context.sulfate_known else "Sulfate is not measured: measure it before a membrane is bought. "
        yield Problem(
            "membrane_gypsum",
            stage.name,
            f"{first}At {percent(recovery)} recovery the gypsum index of the concentrate {shown}, and above 0 calcium "
            "sulfate falls out: hard scale that no acid takes off. Waste more water, or soften first.",
            advice=unsure,
        )


RULES: tuple[Rule, ...] = (
    _names,
    _carbon_before_membrane,
    _carbon_bypassed_before_membrane,
    _blend_dechlorinated,
    _chloramine_rating,
    _pump_suction,
    _alkalinity_unknown,
    _softener_for_chloride,
    _wrong_water,
    _membrane_scaling,
    _membrane_gypsum,
    _inhibitor,
    _after_demineralised,
    _brass,
    _minerals,
)
