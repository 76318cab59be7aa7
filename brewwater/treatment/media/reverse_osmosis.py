"""Reverse osmosis: rejects each ion by its own share, lets CO2 through, and sends reject to the waste tank.

Rejection is of the feed: 1 - product/feed (system rejection). The published ranges are trade estimates, no
agency table was found; one draw per membrane moves all its ions together from the low to the high end.

Charge: a permeate cannot carry net charge, and rejections by ion do not add up to none. So the passages of
all cations are multiplied and those of all anions divided by one factor, the square root of anion over cation
charge: no ion goes negative, no salt is invented, and a well-matched set is left nearly alone.

CO2 passes whole; bicarbonate and carbonate pass like alkalinity. The split of the feed's carbon is solved
with the chemistry core.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from brewwater import reference
from brewwater.chemistry import Totals, degas, speciate
from brewwater.chemistry.constants import log_k
from brewwater.errors import InputError
from brewwater.treatment.medium import FloatArray, Load, Medium, StageSettings, treatment_limit
from brewwater.treatment.solved import carbon_dioxide_share
from brewwater.treatment.stage import Stage, TemperatureCurve
from brewwater.water import Water

CATIONS = ("calcium", "magnesium", "sodium", "potassium")
ANIONS = ("chloride", "sulfate", "nitrate", "alkalinity")
_CHARGE = {"calcium": 2, "magnesium": 2, "sulfate": 2}


def rejections(stage: Stage, quality: FloatArray) -> dict[str, FloatArray]:
    """Rejection of each ion, share of the feed.

    Parameters
    ----------
    stage : its ``rejection`` overrides the table by ion
    quality : 0 to 1, where in the table's range this membrane lies

    Raises
    ------
    InputError : the stage states a rejection for an ion that the table does not hold
    """
    rows = reference.keyed("ro_rejection", "ion")
    for ion in stage.rejection:
        if ion not in rows:
            raise InputError(
                f"rejection.{ion}",
                stage.rejection[ion],
                f"one of {', '.join(rows)} is needed",
                "Correct the name of the ion.",
            )
    found = {}
    for ion, row in rows.items():
        low, high = float(row["low_percent"]) / 100, float(row["high_percent"]) / 100
        stated = stage.rejection.get(ion)
        found[ion] = low + (high - low) * quality if stated is None else np.array([float(stated)])
    return found


def treat(water: Water, stage: Stage, settings: StageSettings) -> Water:
    """The permeate (no blend)."""
    drawn = settings.performance
    rejection = rejections(stage, drawn["membrane_quality"])
    totals = water.totals
    passed = {ion: getattr(totals, ion) * (1 - rejection[ion]) for ion in (*CATIONS, *ANIONS)}
    acid = np.maximum(-passed["alkalinity"], 0)  # mineral acidity counts as a cation
    base = passed["alkalinity"] + acid
    cations = acid + sum(_CHARGE.get(ion, 1) * passed[ion] for ion in CATIONS)
    anions = base + sum(_CHARGE.get(ion, 1) * passed[ion] for ion in ANIONS if ion != "alkalinity")
    possible = (cations > 0) & (anions > 0)
    factor = np.sqrt(np.where(possible, anions, 1.0) / np.where(possible, cations, 1.0))
    permeate = {ion: passed[ion] * factor for ion in CATIONS}
    permeate |= {ion: passed[ion] / factor for ion in ANIONS}
    permeate["alkalinity"] = base / factor - acid * factor
    gas = totals.dic * carbon_dioxide_share(water)
    bound_passage = np.divide(
        permeate["alkalinity"],
        totals.alkalinity,
        where=totals.alkalinity > 0,
        out=np.zeros(np.broadcast_shapes(factor.shape, np.shape(totals.alkalinity))),
    )
    minor = {
        name: getattr(water, name) * (1 - rejection[ion])
        for name, ion in (
            ("silica_mg_L", "silica"),
            ("iron_mg_L", "iron"),
            ("manganese_mg_L", "manganese"),
            ("phosphate_mg_L", "phosphate"),
        )
    }
    return water.with_(totals=replace(totals, **permeate, dic=gas + (totals.dic - gas) * bound_passage), **minor)


def load(inlet: Water, treated: Water, stage: Stage, settings: StageSettings) -> Load:
    """One litre of product, 1/recovery of feed, the rest reject."""
    feed = 1 / settings.performance["recovery"]
    return Load(feed_L=feed, reject_L=feed - 1, chlorine_g=inlet.total_chlorine_mg_L / 1000 * feed)


def concentration_factor(recovery: FloatArray | float, rejection: FloatArray | float = 1.0) -> FloatArray:
    """Reject over feed concentration: ``(1 - R (1 - rejection)) / (1 - R)``; 1/(1 - R) where all is rejected.

    ``recovery`` R = product/feed, above 0 and below 1; ``rejection`` 0 to 1.
    """
    recovery = np.asarray(recovery, dtype=np.float64)
    if np.any((recovery <= 0) | (recovery >= 1)):
        raise InputError(
            "recovery",
            float(recovery.flat[0]),
            "a share above 0 and below 1 is needed",
            "Enter product over feed.",
        )
    return np.asarray((1 - recovery * (1 - np.asarray(rejection))) / (1 - recovery), dtype=np.float64)


def concentrate_gypsum_index(feed: Water, recovery: float) -> FloatArray:
    """Gypsum saturation index of the concentrate, all ions rejected, at the feed's temperature; the shape of the
    feed.

    Where calcium times sulfate alone, without activity coefficients or ion pairs, stays under saturation, that upper
    bound is given instead of being solved.
    """
    factor = concentration_factor(recovery)
    t = feed.totals
    with np.errstate(divide="ignore"):
        bound = np.log10(t.calcium * t.sulfate) + 2 * np.log10(factor)
    bound = bound - log_k("gypsum", np.asarray(feed.temperature_C, dtype=np.float64))
    if not np.any(bound > 0):
        return np.asarray(bound, dtype=np.float64)
    strong = Totals(*(np.asarray(getattr(t, f.name)) * factor for f in fields(Totals)))
    return speciate(strong, feed.temperature_C).gypsum_saturation_index


def concentrate_calcite_index(feed: Water, recovery: float) -> FloatArray:
    """Calcite saturation index of the concentrate at the feed's temperature, all ions rejected (ASTM D3739's balance
    with no passage), its CO2 in balance with the air: the shape of the feed.

    Water from a tank has lost its CO2 by the time a membrane draws it, so the tap's own pH, which is seldom known
    and never steady, does not decide; a plumbed feed with more CO2 is further from scaling than this says.
    """
    factor = concentration_factor(recovery)
    t = feed.totals
    strong = Totals(*(np.asarray(getattr(t, f.name)) * factor for f in fields(Totals)))
    return speciate(degas(strong, feed.temperature_C), feed.temperature_C).calcite_saturation_index


def reject_water(feed: Water, permeate: Water, recovery: FloatArray) -> Water:
    """The water that goes to waste: what the feed held and the product does not, in the volume left over."""

    def balance(of_feed: FloatArray, of_product: FloatArray) -> FloatArray:
        return np.asarray((of_feed - recovery * of_product) / (1 - recovery), dtype=np.float64)

    totals = feed.totals
    return feed.with_(
        totals=type(totals)(
            *(balance(getattr(totals, name), getattr(permeate.totals, name)) for name in totals.__dataclass_fields__)
        ),
        **{
            name: balance(getattr(feed, name), getattr(permeate, name))
            for name in (
                "iron_mg_L",
                "manganese_mg_L",
                "silica_mg_L",
                "free_chlorine_mg_L",
                "chloramine_mg_L",
                "phosphate_mg_L",
            )
        },
    )


def temperature_factor(temperature_C: FloatArray | float, curve: TemperatureCurve = "exponential") -> FloatArray:
    """Output at a temperature over output at 25 °C. The sources disagree, so each membrane names its curve.

    Parameters
    ----------
    temperature_C : °C, 0 to 40, any shape
    curve : ``exponential`` exp(2640 (1/298 - 1/T)) from 25 °C up, 3020 below (trade article); ``army_table``
        TM 10-4610-309-14 WP0083, linear between its points; ``three_percent`` 1.03^(T - 25)

    Raises
    ------
    InputError : outside 0 to 40 °C
    """
    temperature = np.asarray(temperature_C, dtype=np.float64)
    coldest, hottest = (treatment_limit(f"membrane_{end}_C") for end in ("coldest", "hottest"))
    bad = ~((temperature >= coldest) & (temperature <= hottest))
    if bad.any():
        raise InputError(
            "temperature_C",
            float(temperature[bad].flat[0]),
            f"a membrane runs at {coldest:g} to {hottest:g} °C",
            "Correct the temperature of the feed.",
        )
    if curve == "three_percent":
        above = temperature - treatment_limit("membrane_rating_C")
        return np.asarray(treatment_limit("membrane_per_degree") ** above, dtype=np.float64)
    if curve == "army_table":
        rows = reference.table("ro_temperature_factor")
        fahrenheit = [float(row["temperature_F"]) for row in rows]
        return np.asarray(np.interp(temperature * 1.8 + 32, fahrenheit, [float(r["factor"]) for r in rows]))
    warm, cold = (treatment_limit(f"membrane_{side}_exponent") for side in ("warm", "cold"))
    exponent = np.where(temperature >= treatment_limit("membrane_rating_C"), warm, cold)
    return np.asarray(np.exp(exponent * (1 / 298 - 1 / (temperature + 273))), dtype=np.float64)


def osmotic_pressure_psi(tds_mg_L: FloatArray) -> FloatArray:
    """Osmotic pressure, psi: about TDS/100 (trade estimate)."""
    return np.asarray(tds_mg_L, dtype=np.float64) / treatment_limit("osmotic_tds_per_psi")


def rating_psi(stage: Stage) -> float:
    """The pressure that a membrane is rated at, psi: its sheet's, else the usual one."""
    return float(stage.sheet.rated_pressure_psi or treatment_limit("membrane_rating_psi"))


def output_gal_per_day(
    stage: Stage,
    tds_mg_L: FloatArray | float,
    recovery: FloatArray | float,
    pressure_psi: FloatArray | float,
    temperature_C: FloatArray | float,
    rated_gal_per_day: FloatArray | float | None = None,
) -> FloatArray:
    """Product at this water's temperature and net pressure, US gal/day; NaN where no output is rated.

    Net pressure = inlet - osmotic pressure of the mean of feed and reject, all rejected; the rating is taken at
    ``rating_psi``, 25 °C and the usual dissolved solids of a rating (``reference/treatment_limits.csv``). Zero where
    the inlet pressure does not pass the osmotic pressure.

    Parameters
    ----------
    stage : its rating and its temperature curve
    tds_mg_L : dissolved solids of the feed, mg/L, any broadcastable shape
    recovery : product over feed, above 0 and below 1
    pressure_psi : at the inlet, psi (gauge)
    temperature_C : of the feed, 0 to 40 °C
    rated_gal_per_day : in place of the sheet's

    Raises
    ------
    InputError : a recovery or a temperature outside its range
    """
    rated = stage.sheet.rated_output_gal_per_day if rated_gal_per_day is None else rated_gal_per_day
    if rated is None:
        return np.array([np.nan])
    mean_factor = (1 + concentration_factor(recovery)) / 2
    net = np.maximum(np.asarray(pressure_psi) - osmotic_pressure_psi(np.asarray(tds_mg_L)) * mean_factor, 0)
    rating_tds = np.asarray(treatment_limit("membrane_rating_tds"))
    at_rating = rating_psi(stage) - osmotic_pressure_psi(rating_tds)
    return np.asarray(rated * temperature_factor(temperature_C, stage.temperature_curve) * net / at_rating)


MEDIUM = Medium("reverse_osmosis", treat, load, frozenset({"time", "pressure"}))
