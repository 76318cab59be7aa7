"""Cross-checks of one supply's analysis. Each names the fault it suspects; none mends anything silently."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from brewwater.chemistry import Totals, conductivity_uS_cm
from brewwater.reference import keyed
from brewwater.reports.analysis import Measurement
from brewwater.reports.suspects import suspects
from brewwater.units import PLAN_UNITS, to_plan_units
from brewwater.water import CACO3_G_PER_EQ, HCO3_G_PER_MOL, MOLAR_MASS_G

_CHARGE = {"calcium": 2, "magnesium": 2, "sodium": 1, "potassium": 1, "chloride": 1, "sulfate": 2, "nitrate": 1}
_CATIONS = ("calcium", "magnesium", "sodium", "potassium")
CA_TO_HARDNESS = 2 * CACO3_G_PER_EQ / MOLAR_MASS_G["calcium"]
MG_TO_HARDNESS = 2 * CACO3_G_PER_EQ / MOLAR_MASS_G["magnesium"]
# Charge balance that flags an analysis, percent (common practice, no source).
BALANCE_LIMIT = 10.0


@dataclass(frozen=True, slots=True)
class Finding:
    """A cross-check that failed."""

    code: str
    field: str | None
    message: str


class Middle(dict[str, float]):
    """Middle of each measured analyte in plan units; a range counts by its middle."""


def middles(analysis: Mapping[str, Measurement]) -> Middle:
    """Middle values in plan units of what can be converted."""
    return Middle({a: m.in_plan_units(a).middle for a, m in analysis.items() if a in PLAN_UNITS})


def alkalinity_of(x: Mapping[str, float]) -> float | None:
    """Alkalinity, mg/L as CaCO3, printed or from bicarbonate and carbonate."""
    if "alkalinity" in x:
        return x["alkalinity"]
    if "bicarbonate" in x:
        return CACO3_G_PER_EQ * (x["bicarbonate"] / HCO3_G_PER_MOL + 2 * x.get("carbonate", 0.0) / 60.0089)
    return None


def charge_balance_percent(x: Mapping[str, float], alkalinity: float | None) -> float | None:
    """``100 (cations - anions) / (cations + anions)`` in meq/L, or None where a main ion is missing."""
    if alkalinity is None or not {"calcium", "magnesium", "sodium", "chloride", "sulfate"} <= set(x):
        return None
    cations = sum(x[i] / MOLAR_MASS_G[i] * _CHARGE[i] for i in _CATIONS if i in x)
    anions = sum(x[i] / MOLAR_MASS_G[i] * _CHARGE[i] for i in _CHARGE if i in x and i not in _CATIONS)
    anions += alkalinity / CACO3_G_PER_EQ
    return 100 * (cations - anions) / (cations + anions) if cations + anions > 0 else None


def cross_check(analysis: Mapping[str, Measurement]) -> list[Finding]:
    """Every failed cross-check of one supply, the likely fault named."""
    x = middles(analysis)
    wide = {a for a, m in analysis.items() if not m.value.certain and m.value.typical is None}
    found = [
        *_plausible(analysis),
        *_hardness(x, wide),
        *_alkalinity(x, wide),
        *_solids(x, wide),
        *_charge(x, wide),
        *_ph(x, wide),
    ]
    named = {f.field for f in found}
    for suspect in suspects(x, wide, _conductivity):
        if suspect.field not in named:
            name = suspect.field.replace("_", " ")
            said = (
                f"{name.capitalize()} {x[suspect.field]:g} {PLAN_UNITS[suspect.field]} does not fit the other figures"
            )
            found.append(Finding(suspect.code, suspect.field, f"{said}; they fit if {suspect.says}."))
    return found


def _plausible(analysis: Mapping[str, Measurement]) -> list[Finding]:
    out = []
    ranges = keyed("plausible_ranges", "analyte")
    for analyte, m in analysis.items():
        row = ranges.get(analyte)
        if row is None:
            continue
        value = m.in_plan_units(analyte)
        low, high = float(row["low"]), float(row["high"])
        if value.high > high or value.low < low or (value.high < low):
            name = analyte.replace("_", " ")
            out.append(
                Finding(
                    "implausible",
                    analyte,
                    f"{name} {value.low:g} to {value.high:g} {row['unit']} is outside what tap water can be "
                    f"({low:g} to {high:g}): check the unit and the column.",
                )
            )
    return out


def _hardness(x: Middle, wide: set[str]) -> list[Finding]:
    if "total_hardness" not in x or "calcium" not in x:
        return []
    hardness, calcium = x["total_hardness"], CA_TO_HARDNESS * x["calcium"]
    if "magnesium" in x:
        made = calcium + MG_TO_HARDNESS * x["magnesium"]
        if _near(made, hardness, 0.15, 5):
            return []
        message = f"Calcium and magnesium make a hardness of {made:.0f} mg/L as CaCO3, but {hardness:.0f} is printed"
        if _near(x["calcium"] + x["magnesium"], hardness, 0.08, 3):
            return [
                Finding(
                    "calcium_as_caco3",
                    "calcium",
                    message + ": calcium and magnesium add up to it as they stand, so they are probably "
                    "printed as CaCO3.",
                )
            ]
        if _near(x["calcium"] + MG_TO_HARDNESS * x["magnesium"], hardness, 0.08, 3):
            return [Finding("calcium_as_caco3", "calcium", message + ": calcium is probably printed as CaCO3.")]
        if _near(made / 17.848, hardness, 0.1, 1) or _near(made / 17.118, hardness, 0.1, 1):
            return [Finding("hardness_unit", "total_hardness", message + ": it is probably in grains or °dH.")]
        if {"total_hardness", "calcium", "magnesium"} & wide:
            return []  # middles of plain ranges need not meet
        return [Finding("hardness_mismatch", "total_hardness", message + ": one of them is wrong.")]
    if calcium > 1.08 * hardness + 3 and "calcium" not in wide:
        if x["calcium"] > 1.08 * hardness + 3:
            return [
                Finding(
                    "hardness_mismatch",
                    "total_hardness",
                    f"Calcium {x['calcium']:.0f} mg/L makes a hardness of {calcium:.0f} mg/L as CaCO3 by itself, and "
                    f"as CaCO3 it would still be more than the {hardness:.0f} printed: one of them is wrong.",
                )
            ]
        said = f"Calcium {x['calcium']:.0f} mg/L as the ion would alone make a hardness of {calcium:.0f} mg/L as CaCO3"
        return [
            Finding(
                "calcium_as_caco3",
                "calcium",
                f"{said}, more than the {hardness:.0f} printed: it is probably printed as CaCO3.",
            )
        ]
    return []


def _alkalinity(x: Middle, wide: set[str]) -> list[Finding]:
    if not {"alkalinity", "bicarbonate"} <= set(x) or {"alkalinity", "bicarbonate"} & wide:
        return []
    alkalinity = x["alkalinity"]
    made = alkalinity_of({a: x[a] for a in ("bicarbonate", "carbonate") if a in x}) or 0.0
    if _near(made, alkalinity, 0.12, 4):
        return []
    text = (
        f"Bicarbonate {x['bicarbonate']:.0f} mg/L makes an alkalinity of {made:.0f} mg/L as CaCO3, but "
        f"{alkalinity:.0f} is printed"
    )
    if _near(x["bicarbonate"], alkalinity, 0.05, 2):
        return [
            Finding(
                "bicarbonate_as_caco3",
                "bicarbonate",
                text + ": bicarbonate is probably printed as CaCO3, or the alkalinity as HCO3.",
            )
        ]
    return [Finding("alkalinity_mismatch", "alkalinity", text + ": one of them is wrong.")]


def _solids(x: Middle, wide: set[str]) -> list[Finding]:
    out: list[Finding] = []
    tds, ec, alkalinity = x.get("total_dissolved_solids"), x.get("conductivity"), alkalinity_of(x)
    if tds and ec and not {"total_dissolved_solids", "conductivity"} & wide:
        if _near(tds, ec, 0.05, 1):
            out.append(
                Finding(
                    "tds_is_conductivity",
                    "total_dissolved_solids",
                    f"Dissolved solids of {tds:.0f} mg/L equal the conductivity of {ec:.0f} µS/cm: the same "
                    "reading was printed twice; they are usually 0.55 to 0.75 of it.",
                )
            )
        elif not 0.4 <= tds / ec <= 0.95:
            out.append(
                Finding(
                    "tds_against_conductivity",
                    "total_dissolved_solids",
                    f"Dissolved solids of {tds:.0f} mg/L are {tds / ec:.2f} of the conductivity of "
                    f"{ec:.0f} µS/cm; 0.55 to 0.75 is usual: one of them is wrong.",
                )
            )
    ions = sum(x.get(i, 0.0) for i in _CHARGE) + x.get("silica", 0.0)
    ions += 0.4917 * HCO3_G_PER_MOL * (alkalinity or 0.0) / CACO3_G_PER_EQ
    if tds and not {"total_dissolved_solids"} & wide and ions > 1.15 * tds + 10:
        out.append(
            Finding(
                "tds_impossible",
                "total_dissolved_solids",
                f"Dissolved solids of {tds:.0f} mg/L are less than the {ions:.0f} mg/L that the printed "
                "ions alone leave: suspect the unit or the sample of the solids.",
            )
        )
    complete = charge_balance_percent(x, alkalinity) is not None
    if tds and complete and not wide & {"total_dissolved_solids"} and ions < 0.6 * tds - 20:
        code = "tds_is_conductivity" if ions > 0.45 * tds and not ec else "tds_above_ions"
        out.append(
            Finding(
                code,
                "total_dissolved_solids",
                f"Dissolved solids of {tds:.0f} mg/L are far above the {ions:.0f} mg/L of the printed ions: "
                "it may be a conductivity, or an ion is missing.",
            )
        )
    if ec and complete and alkalinity is not None and not wide & {"conductivity"}:
        made = _conductivity(x, alkalinity)
        if made > 0 and not 0.7 <= ec / made <= 1.35 and abs(ec - made) > 30:
            out.append(
                Finding(
                    "conductivity_mismatch",
                    "conductivity",
                    f"The printed ions make about {made:.0f} µS/cm at 25 °C, but {ec:.0f} is printed.",
                )
            )
    return out


def _conductivity(x: Mapping[str, float], alkalinity: float) -> float:
    moles = {i: np.array([x.get(i, 0.0) / MOLAR_MASS_G[i] / 1000]) for i in _CHARGE}
    eq = np.array([alkalinity / CACO3_G_PER_EQ / 1000])
    made = np.asarray(conductivity_uS_cm(Totals(**moles, alkalinity=eq, dic=eq)))
    return float(made.reshape(-1)[0])


def _charge(x: Middle, wide: set[str]) -> list[Finding]:
    alkalinity = alkalinity_of(x)
    balance = charge_balance_percent(x, alkalinity)
    if balance is None or alkalinity is None:
        return []
    only_bicarbonate = "alkalinity" not in x and not {"bicarbonate", *_CHARGE} & wide
    if abs(balance) <= BALANCE_LIMIT and not (only_bicarbonate and balance > BALANCE_LIMIT / 2):
        return []
    said = f"Cations and anions differ by {balance:+.0f} %"
    other: list[str] = []

    def mended(**changed: float) -> bool:
        alk = changed.pop("alkalinity", alkalinity)
        got = charge_balance_percent({**x, **changed}, alk)
        return got is not None and abs(got) < 0.4 * abs(balance) and abs(got) <= 5

    if "alkalinity" not in x and mended(alkalinity=x["bicarbonate"]):
        return [
            Finding("bicarbonate_as_caco3", "bicarbonate", f"{said}; they balance if bicarbonate is printed as CaCO3.")
        ]
    if abs(balance) <= BALANCE_LIMIT:
        return []
    if "alkalinity" in x and mended(alkalinity=alkalinity * CACO3_G_PER_EQ / HCO3_G_PER_MOL):
        other.append("the alkalinity is printed as HCO3")
    if mended(sulfate=x["sulfate"] * to_plan_units(1.0, "mg/L", "sulfate", "S")):
        other.append("sulfate is printed as S")
    if "nitrate" in x and mended(nitrate=x["nitrate"] * to_plan_units(1.0, "mg/L", "nitrate", "N")):
        other.append("nitrate is printed as N")
    made = CA_TO_HARDNESS * x["calcium"] + MG_TO_HARDNESS * x["magnesium"]
    asked = "total_hardness" not in x or not _near(made, x["total_hardness"], 0.15, 5)
    if asked and mended(calcium=x["calcium"] / CA_TO_HARDNESS):
        other.append("calcium is printed as CaCO3")
    if asked and mended(calcium=x["calcium"] / CA_TO_HARDNESS, magnesium=x["magnesium"] / MG_TO_HARDNESS):
        other.append("calcium and magnesium are printed as CaCO3")
    if wide & set(_CHARGE) and not other:
        return [Finding("charge_balance", None, f"{said} at the middle of the printed ranges.")]
    reason = "; a value, a unit or an ion is wrong or missing"
    if other:
        reason = f"; they balance if {', or if '.join(other)}"
    code = {
        "sulfate is printed as S": "sulfate_as_s",
        "nitrate is printed as N": "nitrate_as_n",
        "calcium is printed as CaCO3": "calcium_as_caco3",
        "calcium and magnesium are printed as CaCO3": "calcium_as_caco3",
        "the alkalinity is printed as HCO3": "alkalinity_as_hco3",
    }.get(other[0] if len(other) == 1 else "", "charge_balance")
    return [Finding(code, code.split("_")[0] if code != "charge_balance" else None, f"{said}{reason}.")]


def _ph(x: Middle, wide: set[str]) -> list[Finding]:
    ph, alkalinity = x.get("ph"), alkalinity_of(x)
    if ph is None or alkalinity is None or wide & {"ph", "alkalinity", "bicarbonate"}:
        return []
    # CO2, mg/L, about 2 alk 10^(6 - pH); carbonate needs a pH above 8.3
    co2 = 2 * alkalinity * 10 ** (6 - ph)
    if co2 > 300:
        return [
            Finding(
                "ph_mismatch",
                "ph",
                f"pH {ph:.1f} with an alkalinity of {alkalinity:.0f} mg/L as CaCO3 would "
                f"mean {co2:.0f} mg/L of CO2: one of them is wrong.",
            )
        ]
    if x.get("carbonate", 0) > 5 and ph < 8.0:
        return [Finding("ph_mismatch", "ph", f"Carbonate of {x['carbonate']:.0f} mg/L is not possible at pH {ph:.1f}.")]
    return []


def _near(a: float, b: float, relative: float, absolute: float) -> bool:
    return abs(a - b) <= max(relative * max(abs(a), abs(b)), absolute)
