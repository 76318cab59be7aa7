"""Order rules and common sense: each broken rule is named with the stage and the reason."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Literal

from brewwater.reference import keyed, table
from brewwater.treatment.media.mineral_dose import salt
from brewwater.treatment.medium import usual
from brewwater.treatment.stage import Stage
from brewwater.units import percent, plain
from brewwater.water import MOLAR_MASS_G

CARBONS = frozenset({"carbon", "catalytic_carbon"})
RESINS = frozenset({"weak_acid", "softening", "calcium_to_magnesium", "chloride_anion"})
DEMINERALISERS = frozenset({"reverse_osmosis", "mixed_bed"})
CALCIUM_TAKERS = frozenset({"weak_acid", "softening", "calcium_to_magnesium"})
REMINERALISERS = frozenset({"mineral_dose", "calcite", "blend"})
ACIDIC = frozenset({"weak_acid", "reverse_osmosis", "mixed_bed"})
# What takes calcite out of a membrane's feed, and what holds it in solution in the concentrate.
_SOFTENS, _HOLDS = frozenset({"weak_acid", "softening"}), frozenset({"scale_inhibitor"})


@cache
def limits() -> Mapping[str, float]:
    """The figures of ``reference/order_limits.csv`` by key."""
    return {key: float(row["value"]) for key, row in keyed("order_limits").items()}


@dataclass(frozen=True, slots=True)
class BrokenRule:
    """A rule broken: ``code`` for programs, ``stage`` by name, ``message`` for people.

    ``advice``: the train may still be right, the message is to be heeded; False: the train is wrong as it is.
    """

    code: str
    stage: str
    message: str
    advice: bool = False


def trade_chloride_mg_L() -> float:
    """The trade's goal for chloride: what it is held against where a plan has no goal of its own."""
    return next(
        float(row["goal_high"]) for row in table("targets") if (row["edition"], row["measure"]) == ("trade", "chloride")
    )


@dataclass(frozen=True, slots=True)
class Context:
    """What the order rules need to know around a train; None: not known.

    hardness and alkalinity : mg/L as CaCO3, typical; chloride : mg/L, and the goal that it is held against
    before_pump : names of the stages on the pump's suction side
    concentrate_gypsum : for a membrane's recovery, the gypsum index of its concentrate, middle and the one that
        nine waters of ten stay under; where sulfate is not measured, over all that fits the rest
    concentrate_calcite : the same of its calcite index
    iron, manganese : mg/L, typical; ph : of the cold water; on_board : the unit has tanks and no mains
    """

    disinfectant: Literal["free_chlorine", "chloramine", "none", "unknown"] = "unknown"
    alkalinity_known: bool = True
    hardness_mg_L_as_CaCO3: float | None = None
    alkalinity_mg_L_as_CaCO3: float | None = None
    chloride_mg_L: float | None = None
    chloride_limit_mg_L: float = field(default_factory=trade_chloride_mg_L)
    steam_boiler: bool = False
    brass_after_treatment: bool = False
    before_pump: frozenset[str] = frozenset()
    sulfate_known: bool = True
    concentrate_gypsum: Callable[[float], tuple[float, float]] | None = None
    concentrate_calcite: Callable[[float], tuple[float, float]] | None = None
    iron_mg_L: float | None = None
    manganese_mg_L: float | None = None
    ph: float | None = None
    on_board: bool = False


def order_problems(stages: Sequence[Stage], context: Context) -> tuple[BrokenRule, ...]:
    """Every rule that this train breaks in this context, in the order of the rules; empty where none."""
    return tuple(problem for rule in RULES for problem in rule(tuple(stages), context))


Rule = Callable[[tuple[Stage, ...], Context], Iterator[BrokenRule]]


def _ahead(stages: Sequence[Stage], at: int, media: frozenset[str]) -> bool:
    return any(s.medium in media and s.bypass_percent < 100 for s in stages[:at])


def _carbon_before_membrane(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    for i, stage in enumerate(stages):
        if stage.medium != "reverse_osmosis" or context.disinfectant == "none":
            continue
        if not _ahead(stages, i, CARBONS):
            yield BrokenRule(
                "membrane_without_carbon", stage.name, "Chlorine destroys the membrane: put carbon before it."
            )
        if not _ahead(stages, i, frozenset({"sediment"})):
            yield BrokenRule(
                "membrane_without_sediment",
                stage.name,
                "Particles foul the membrane: put a sediment filter before it.",
            )


def _carbon_bypassed_before_membrane(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    for i, stage in enumerate(stages):
        if stage.medium in CARBONS and stage.bypass_percent > 0 and context.disinfectant != "none":
            later = [s.name for s in stages[i:] if s.medium == "reverse_osmosis"]
            yield BrokenRule(
                "carbon_bypassed",
                stage.name,
                "Water that goes round the carbon keeps its chlorine"
                + (f" and reaches the membrane of {later[0]}." if later else " and reaches the cup."),
            )


def _blend_dechlorinated(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    for i, stage in enumerate(stages):
        if context.disinfectant == "none":
            return
        if stage.medium == "blend" and stage.bypass_percent > 0 and not any(s.medium in CARBONS for s in stages[i:]):
            yield BrokenRule(
                "blend_not_dechlorinated",
                stage.name,
                "Blend water comes from the train's inlet with its chlorine: set a carbon after the blend, or use "
                "the membrane's own bypass downstream of the carbon.",
            )
        if (
            stage.medium in DEMINERALISERS
            and stage.bypass_percent > 0
            and not (_ahead(stages, i, CARBONS) or any(s.medium in CARBONS for s in stages[i:]))
        ):
            yield BrokenRule(
                "blend_not_dechlorinated",
                stage.name,
                "The bypassed share is raw water with its chlorine: put carbon before the tee.",
            )


def _chloramine_rating(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    if context.disinfectant != "chloramine":
        return
    rated = [
        s
        for s in stages
        if s.medium in CARBONS and (s.medium == "catalytic_carbon" or s.sheet.rated_for == "chloramine")
    ]
    for stage in stages:
        if stage.medium in CARBONS and stage.sheet.rated_for == "free_chlorine":
            yield BrokenRule(
                "free_chlorine_rating",
                stage.name,
                "A free-chlorine rating does not cover chloramine: its gallons and flow do not apply.",
            )
    if not rated:
        where = next((s.name for s in stages if s.medium in CARBONS), stages[0].name if stages else "")
        yield BrokenRule(
            "chloramine_not_treated",
            where,
            "Chloramine reaches the cup: use catalytic carbon rated for it, sized by contact time.",
        )


def _pump_suction(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    for stage in stages:
        coarse = stage.medium == "sediment" and (stage.sheet.micron or 0) >= limits()["fine_micron"]
        if stage.name in context.before_pump and not coarse:
            yield BrokenRule(
                "fine_media_on_suction",
                stage.name,
                "Fine media on a pump's suction starve it and make it cavitate: only a coarse strainer "
                f"({limits()['fine_micron']:g} µm or more) belongs there; fine media go after the pump.",
            )


def _softener_for_chloride(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    chloride = context.chloride_mg_L
    if chloride is None or chloride <= context.chloride_limit_mg_L:
        return
    if any(s.medium in DEMINERALISERS for s in stages):
        return
    for stage in stages:
        if stage.medium == "chloride_anion":
            yield BrokenRule(
                "adds_chloride",
                stage.name,
                f"Chloride is {chloride:.0f} mg/L already, and this medium adds more of it.",
            )
        elif stage.medium in RESINS:
            # hard water is a reason of its own for a resin; then the chloride stays to be said
            yield BrokenRule(
                "no_cure_for_chloride",
                stage.name,
                f"This medium leaves chloride ({chloride:.0f} mg/L) untouched: it does not protect the boiler. Only "
                "a membrane, deionisation, blending or other water lowers chloride.",
                advice=(context.hardness_mg_L_as_CaCO3 or 0) > limits()["hard_mg_L"],
            )


def _alkalinity_unknown(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    if context.alkalinity_known:
        return
    for stage in stages:
        if stage.medium in RESINS:
            yield BrokenRule(
                "alkalinity_unknown",
                stage.name,
                "A resin is chosen by alkalinity, and this water's is unknown: measure it first (a drop kit will do).",
            )


def _wrong_water(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    hard, alkaline = context.hardness_mg_L_as_CaCO3, context.alkalinity_mg_L_as_CaCO3
    if hard is None or alkaline is None:
        return
    for i, stage in enumerate(stages):
        if _ahead(stages, i, DEMINERALISERS):
            continue
        if stage.medium == "weak_acid":
            if alkaline < limits()["low_alkalinity_mg_L"]:
                yield BrokenRule(
                    "low_alkalinity",
                    stage.name,
                    f"Alkalinity is {alkaline:.0f} mg/L as CaCO3: this medium takes what little buffer there is.",
                )
            if hard > limits()["permanent_ratio"] * alkaline:
                yield BrokenRule(
                    "permanent_hardness",
                    stage.name,
                    f"Of {hard:.0f} mg/L hardness {hard - alkaline:.0f} is permanent: this medium takes only what is "
                    "tied to alkalinity.",
                )
            if alkaline > limits()["sodium_ratio"] * hard:
                yield BrokenRule(
                    "sodium_alkalinity",
                    stage.name,
                    f"{alkaline - hard:.0f} mg/L of the alkalinity is sodium bicarbonate, which this medium cannot "
                    "take.",
                )
        if stage.medium == "softening" and hard < limits()["already_soft_mg_L"]:
            yield BrokenRule(
                "already_soft", stage.name, f"Hardness is {hard:.0f} mg/L as CaCO3: there is nothing to soften."
            )


def _inhibitor(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    for i, stage in enumerate(stages):
        if stage.medium != "scale_inhibitor":
            continue
        if any(s.medium in RESINS | DEMINERALISERS for s in stages[:i]):
            yield BrokenRule("pointless_stage", stage.name, "The hardness it would hold is taken out before it.")
        if any(s.medium == "reverse_osmosis" for s in stages[i:]):
            continue  # it keeps calcite from settling on the membrane, which holds the phosphate back
        if context.steam_boiler:
            yield BrokenRule(
                "inhibitor_in_steam",
                stage.name,
                "Heat degrades polyphosphate: it does not protect a boiler that makes steam.",
            )
        if any(s.medium in DEMINERALISERS for s in stages[i:]):
            yield BrokenRule("pointless_stage", stage.name, "The stages after it take the phosphate out again.")


def _after_demineralised(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    for i, stage in enumerate(stages):
        if stage.medium in RESINS and _ahead(stages, i, DEMINERALISERS):
            yield BrokenRule(
                "pointless_stage",
                stage.name,
                "The water before it is demineralised: there is little left to exchange.",
            )


def _brass(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    if not context.brass_after_treatment:
        return
    for i, stage in enumerate(stages):
        if stage.medium in ACIDIC and stage.bypass_percent < 100:
            mended = stage.bypass_percent > 0 or any(s.medium in REMINERALISERS for s in stages[i + 1 :])
            if stage.medium in DEMINERALISERS and not mended:
                yield BrokenRule(
                    "demineralised_in_brass",
                    stage.name,
                    "Demineralised water leaches brass and copper: approved non-metallic line, and blend or "
                    "minerals before any metal.",
                )
            elif stage.medium == "weak_acid":
                yield BrokenRule(
                    "carbon_dioxide_in_brass",
                    stage.name,
                    "Water rich in CO2 after this bed attacks brass and copper: approved non-metallic line and "
                    "lead-free parts up to the machine.",
                    advice=True,
                )


def _minerals(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    for i, stage in enumerate(stages):
        if stage.medium in {"mineral_dose", "calcite"} and any(
            s.medium in DEMINERALISERS | RESINS for s in stages[i + 1 :]
        ):
            yield BrokenRule(
                "minerals_removed_again",
                stage.name,
                "The minerals are taken out again by a later stage: dose last.",
            )
        if stage.medium == "mineral_dose" and not stage.doses:
            yield BrokenRule(
                "no_dose", stage.name, "No salt is dosed: name a salt and its mg/L, or take the stage out."
            )
        for dose in stage.doses if stage.medium == "mineral_dose" else ():
            found = salt(dose.salt)
            if dose.mg_L > found.usual_high_mg_L:
                yield BrokenRule(
                    "high_dose",
                    stage.name,
                    f"{plain(dose.mg_L)} mg/L of {found.label} is above the usual {found.usual_high_mg_L:g}: check the "
                    "decimal point and weigh it twice.",
                    advice=True,
                )
            if "sodium" in found.gives:
                sodium = dose.mg_L / found.g_per_mol * found.gives["sodium"] * MOLAR_MASS_G["sodium"]
                yield BrokenRule(
                    "sodium_added",
                    stage.name,
                    f"{found.label.capitalize()} adds {sodium:.0f} mg/L of sodium.",
                    advice=True,
                )


def _names(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    seen: set[str] = set()
    for stage in stages:
        if stage.name in seen:
            yield BrokenRule("name_twice", stage.name, "Two stages have the same name: give each its own.")
        seen.add(stage.name)


def _membrane_scaling(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    if context.concentrate_calcite is None:
        return
    known = limits()
    for i, stage in enumerate(stages):
        if stage.medium != "reverse_osmosis" or _ahead(stages, i, _SOFTENS):
            continue
        recovery = _recovery(stage)
        index, _ = context.concentrate_calcite(recovery)
        held = _ahead(stages, i, _HOLDS)
        most = known["concentrate_calcite_inhibited" if held else "concentrate_calcite_refused"]
        if index > most:
            yield BrokenRule(
                "membrane_scales",
                stage.name,
                f"At {percent(recovery)} recovery the calcite index of the concentrate is {index:+.2f} (limit "
                f"{most:+.2f}): the membrane scales. Soften first, or waste more water.",
            )
        elif index > known["concentrate_calcite_index"] and not held:
            yield BrokenRule(
                "membrane_scales",
                stage.name,
                f"At {percent(recovery)} recovery the calcite index of the concentrate is {index:+.1f}: above "
                f"{known['concentrate_calcite_index']:g} the membrane scales slowly, and about "
                f"{percent(membrane_life(index))} of its life is reckoned with.",
                advice=True,
            )


def _recovery(membrane: Stage) -> float:
    return membrane.recovery or usual("reverse_osmosis")["recovery"].middle


def membrane_left(
    stages: Sequence[Stage], stage: Stage, concentrate_calcite: Callable[[float], tuple[float, float]]
) -> float:
    """Part of its time, 0 to 1, that a stage reaches: less than all of it for a membrane whose concentrate is near
    scaling and that nothing before it softens or holds."""
    at = [s.name for s in stages].index(stage.name)
    if stage.medium != "reverse_osmosis" or _ahead(stages, at, _SOFTENS | _HOLDS):
        return 1.0
    return membrane_life(concentrate_calcite(_recovery(stage))[0])


def membrane_life(calcite_index: float) -> float:
    """Part of a membrane's life that is left at a calcite index of its concentrate, without an inhibitor: all of it
    up to saturation, evenly less up to the index at which it is refused (``reference/order_limits.csv``)."""
    known = limits()
    free, most = known["concentrate_calcite_index"], known["concentrate_calcite_refused"]
    over = max((calcite_index - free) / (most - free), 0.0)
    return float(known["life_at_refused"] ** over)


def _fouling(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    """Iron and manganese before what they foul."""
    known, iron, manganese = limits(), context.iron_mg_L or 0.0, context.manganese_mg_L or 0.0
    for i, stage in enumerate(stages):
        if _ahead(stages, i, frozenset({"iron_manganese"})):
            continue
        over = iron > known["membrane_iron_mg_L"] or manganese > known["membrane_manganese_mg_L"]
        if stage.medium == "reverse_osmosis" and over:
            bears = f"{known['membrane_iron_mg_L']:g} iron and {known['membrane_manganese_mg_L']:g} manganese"
        elif stage.medium in RESINS | {"mixed_bed"} and iron + manganese > known["resin_iron_mg_L"]:
            bears = f"{known['resin_iron_mg_L']:g} of both"
        else:
            continue
        yield BrokenRule(
            "iron_fouls",
            stage.name,
            f"Iron {plain(iron)} and manganese {plain(manganese)} mg/L foul it (it bears about {bears}): take them "
            "out first, or fill elsewhere.",
        )


def _iron_media(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    for stage in stages:
        if stage.medium != "iron_manganese":
            continue
        if context.ph is not None and context.ph < limits()["iron_media_ph"]:
            yield BrokenRule(
                "iron_media_ph",
                stage.name,
                f"At pH {context.ph:.1f} it hardly oxidises and loses its coat: it wants "
                f"{limits()['iron_media_ph']:g} at least.",
            )
        if context.on_board:
            yield BrokenRule(
                "iron_media_at_base",
                stage.name,
                "It wants a backwash with mains and a drain: set it up at base and fill from behind it.",
                advice=True,
            )


def _membrane_gypsum(stages: tuple[Stage, ...], context: Context) -> Iterator[BrokenRule]:
    if context.concentrate_gypsum is None:
        return
    for i, stage in enumerate(stages):
        if stage.medium != "reverse_osmosis" or _ahead(stages, i, CALCIUM_TAKERS):
            continue
        recovery = stage.recovery or usual("reverse_osmosis")["recovery"].middle
        middle, high = context.concentrate_gypsum(recovery)
        most = limits()["concentrate_gypsum_index"]
        if high <= most:
            continue
        unsure = not context.sulfate_known or middle <= most
        shown = f"may reach {high:+.1f}" if unsure else f"is {middle:+.1f}"
        first = "" if context.sulfate_known else "Sulfate is not measured: measure it before a membrane is bought. "
        yield BrokenRule(
            "membrane_gypsum",
            stage.name,
            f"{first}At {percent(recovery)} recovery the gypsum index of the concentrate {shown}, and above {most:g} "
            "calcium sulfate falls out: hard scale that no acid takes off. Waste more water, or soften first.",
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
    _fouling,
    _iron_media,
    _inhibitor,
    _after_demineralised,
    _brass,
    _minerals,
)


def fouls(context: Context) -> bool:
    """True where iron or manganese is more than a membrane bears."""
    known = limits()
    iron, manganese = context.iron_mg_L or 0.0, context.manganese_mg_L or 0.0
    return iron > known["membrane_iron_mg_L"] or manganese > known["membrane_manganese_mg_L"]
