"""From what a report says to an ensemble of complete, charge-balanced waters.

Measured analytes are drawn from their ranges; what is missing gets a wide prior of
``reference/composition_priors.csv``; the unmeasured anions and sodium are then solved so that charge balances
and the dissolved solids come out as measured. What a draw cannot meet lowers its weight.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater.chemistry import Totals, dic_from_ph
from brewwater.ensemble import Draws, effective_size, mean_of, span_at_score
from brewwater.records import Span
from brewwater.reference import keyed
from brewwater.reports.analysis import Measurement, Supply
from brewwater.reports.instruments import instrument
from brewwater.supply.contradictions import SOLIDS_ABOVE, add_salt, solids_above_ions, told
from brewwater.units import percent, plain
from brewwater.water import CACO3_G_PER_EQ, HCO3_G_PER_MOL, MOLAR_MASS_G, Water

FloatArray = NDArray[np.float64]

CHARGE = {
    "calcium": 2,
    "magnesium": 2,
    "sodium": 1,
    "potassium": 1,
    "chloride": -1,
    "sulfate": -2,
    "nitrate": -1,
}
ANIONS = ("chloride", "sulfate", "nitrate")
# Evaporated solids for each equivalent of alkalinity: bicarbonate leaves 0.4917 of its mass (Hem 1985).
_SOLIDS_PER_EQ_ALKALINITY = 0.4917 * HCO3_G_PER_MOL * 1000
# Share of draws whose ions alone may exceed the reported solids before the solids are set aside.
_IMPOSSIBLE_SHARE = 0.9
# Relative width within which computed and reported solids, and the two charges, are taken to agree
# (a printed sum is rounded and dried; common practice, no source).
_SOLIDS_SD = 0.20
# What a supply's wells and seasons raise and lower together, and the correlation of any two of them (common
# practice, no source): a report prints each range by itself.
TOGETHER = frozenset(
    {
        "total_hardness",
        "alkalinity",
        "bicarbonate",
        "calcium",
        "magnesium",
        "sodium",
        "potassium",
        "chloride",
        "sulfate",
        "total_dissolved_solids",
        "conductivity",
    }
)
_TOGETHER = 0.8
# Share of the charge that may be missing before it is said (common practice: 10 % flags, half of it is silent).
_IMBALANCE = 0.05


@dataclass(frozen=True, slots=True)
class Note:
    """Something the completion had to assume or set aside."""

    code: str
    message: str


@dataclass(frozen=True, slots=True)
class Completion:
    """An ensemble of complete waters for one supply.

    ``water`` has arrays of shape ``(n,)`` (or 1 where certain); ``log_weight`` has shape ``(n,)``;
    ``known`` are the analytes that the verdicts may rest on; ``notes`` say what was assumed.
    """

    water: Water
    log_weight: FloatArray
    known: frozenset[str]
    notes: tuple[Note, ...]


def complete(supply: Supply, draws: Draws) -> Completion:
    """Draw complete waters for a supply.

    Parameters
    ----------
    supply : the measurements of one supply; alkalinity and hardness may be missing
    draws : the ensemble; columns are taken by the supply's name

    Returns
    -------
    Completion : waters of shape ``(n,)`` whose charges balance to rounding
    """
    return _Completer(supply, draws).run()


class _Completer:
    def __init__(self, supply: Supply, draws: Draws) -> None:
        self.supply, self.draws = supply, draws
        self.measured = {a: m for a, m in supply.analysis.items()}
        self.notes: list[Note] = []
        self.log_weight = np.zeros(draws.n)
        self.findings = told(supply)

    # -- drawing ---------------------------------------------------------------------------------

    def _column(self, quantity: str) -> str:
        return f"water/{self.supply.name}/{quantity}"

    def prior(self, quantity: str) -> FloatArray:
        row = keyed("composition_priors", "quantity")[quantity]
        low, high = float(row["low"]), float(row["high"])
        if row["shape"] == "log":
            u = self.draws.uniform(self._column(quantity))
            return np.asarray(low * (high / low) ** u)
        typical = float(row["typical"]) if row["typical"] else None
        # the usual value of natural waters is an average of them
        span = Span(low=low, high=high, typical=typical)
        return self.draws.span(self._column(quantity), span, average=row["shape"] == "average")

    def measure(self, analyte: str) -> FloatArray:
        """Draws of a measured analyte in its plan unit, its method's error included."""
        entry: Measurement = self.measured[analyte]
        span = entry.in_plan_units(analyte)
        if self.draws.n == 1:
            return np.array([span.middle])
        if not span.certain:
            if entry.average and abs(mean_of(span) - span.middle) > 0.005 * (span.high - span.low):
                self.notes.append(
                    Note(
                        "average_at_an_end",
                        f"{self.supply.name}: the average of {analyte.replace('_', ' ')}, {plain(span.middle)}, lies "
                        f"at an end of its range of {plain(span.low)} to {plain(span.high)}, which hardly any varying "
                        f"water can have; {plain(mean_of(span))} is drawn as its mean.",
                    )
                )
            if analyte not in TOGETHER:
                return self.draws.span(self._column(analyte), span, average=entry.average)
            whole = self.draws.normal(self._column("strength of the water"))
            own = self.draws.normal(self._column(analyte))
            return span_at_score(np.sqrt(_TOGETHER) * whole + np.sqrt(1 - _TOGETHER) * own, span, entry.average)
        error = instrument(analyte, entry.method)
        z = self.draws.normal(self._column(analyte))
        if analyte in ("total_hardness", "alkalinity"):
            spread = min(error.absolute_sd, span.low / 3)
            return np.asarray(np.maximum(span.low + spread * z, 0.0))
        if analyte == "ph":
            return np.asarray(span.low + error.absolute_sd * z)
        return np.asarray(span.low * np.maximum(1 + error.relative_sd * z, 0.01))

    def take(self, analyte: str) -> FloatArray:
        return self.measure(analyte) if analyte in self.measured else self.prior(analyte)

    def spread(self, analyte: str, amount: FloatArray) -> FloatArray:
        """Standard deviation with which a drawn amount may still be moved to balance charge."""
        return 0.05 * np.abs(amount) + 1e-9

    def either(self, question: str) -> NDArray[np.bool_]:
        """Of two measured figures that contradict each other, the draws that believe the second: half of them, as
        nothing says which is wrong (a choice); with one draw none does."""
        return np.asarray(self.draws.uniform(self._column(question)) < 0.5)

    # -- the parts -------------------------------------------------------------------------------

    def hardness(self) -> tuple[FloatArray, FloatArray, set[str]]:
        """Calcium and magnesium, mol/L, and what is known of them."""
        has = self.measured.__contains__
        per_mol = 1000 * 2 * CACO3_G_PER_EQ
        if has("total_hardness"):
            hardness = self.measure("total_hardness") / per_mol
            calcium = hardness * self.calcium_share()
            magnesium = hardness - calcium
            if any(f.code == "hardness_mismatch" for f in self.findings):
                split = self.either("hardness or its parts")
                own = self.measure("calcium") / 1000 / MOLAR_MASS_G["calcium"]
                share = self.prior("calcium_share_of_hardness")
                other = own * (1 - share) / share
                if has("magnesium"):
                    other = self.measure("magnesium") / 1000 / MOLAR_MASS_G["magnesium"]
                calcium, magnesium = np.where(split, own, calcium), np.where(split, other, magnesium)
            return calcium, magnesium, {"total_hardness"}
        if has("calcium") and has("magnesium"):
            calcium, magnesium = (self.measure(a) / 1000 / MOLAR_MASS_G[a] for a in ("calcium", "magnesium"))
            return calcium, magnesium, {"total_hardness"}
        self.notes.append(Note("hardness_missing", "Hardness is not known: no verdict on scale can rest on it."))
        if has("calcium"):
            calcium = self.measure("calcium") / 1000 / MOLAR_MASS_G["calcium"]
            share = self.prior("calcium_share_of_hardness")
            return calcium, calcium * (1 - share) / share, set()
        hardness = self.prior("total_hardness") / per_mol
        calcium = hardness * self.prior("calcium_share_of_hardness")
        return calcium, hardness - calcium, set()

    def calcium_share(self) -> FloatArray:
        """Share of the hardness that is calcium, by equivalents: from the report's own split where it has one."""
        middle = {
            a: self.measured[a].in_plan_units(a).middle / MOLAR_MASS_G[a]
            for a in ("calcium", "magnesium")
            if a in self.measured
        }
        if len(middle) == 2 and sum(middle.values()) > 0:
            share = middle["calcium"] / sum(middle.values())
        elif "calcium" in middle:
            whole = self.measured["total_hardness"].in_plan_units("total_hardness").middle / 2 / CACO3_G_PER_EQ
            if whole <= 0:
                return self.prior("calcium_share_of_hardness")
            share = min(1.0, middle["calcium"] / whole)
        else:
            return self.prior("calcium_share_of_hardness")
        if self.draws.n == 1:
            return np.array([share])
        z = self.draws.normal(self._column("calcium_share_of_hardness"))
        return np.clip(share + 0.03 * z, 0.0, 1.0)

    def alkalinity(self) -> tuple[FloatArray, set[str]]:
        """Alkalinity, eq/L, and whether it is known."""
        has = self.measured.__contains__
        if has("alkalinity"):
            return self.measure("alkalinity") / 1000 / CACO3_G_PER_EQ, {"alkalinity"}
        if has("bicarbonate"):
            total = self.measure("bicarbonate") / 1000 / HCO3_G_PER_MOL
            if has("carbonate"):
                total = total + 2 * self.measure("carbonate") / 1000 / 60.0089
            return total, {"alkalinity"}
        self.notes.append(
            Note(
                "alkalinity_missing",
                "Alkalinity is not known: no resin can be recommended until it is measured.",
            )
        )
        return self.prior("alkalinity") / 1000 / CACO3_G_PER_EQ, set()

    def solids(self) -> FloatArray | None:
        """Measured dissolved solids, mg/L, or None."""
        if "total_dissolved_solids" in self.measured:
            return self.measure("total_dissolved_solids")
        if "conductivity" in self.measured:
            return self.measure("conductivity") * self.prior("tds_per_conductivity")
        return None

    def chlorine(self) -> tuple[FloatArray, FloatArray]:
        """Free chlorine and chloramine, mg/L as Cl2."""
        zero = np.zeros(1)
        kind = self.supply.disinfectant
        if "free_chlorine" in self.measured and "total_chlorine" in self.measured:
            free, total = self.measure("free_chlorine"), self.measure("total_chlorine")
            return free, np.maximum(total - free, 0)
        if "chloramine" in self.measured:
            return self.measure("free_chlorine") if "free_chlorine" in self.measured else zero, self.measure(
                "chloramine"
            )
        residual = next((a for a in ("total_chlorine", "free_chlorine") if a in self.measured), None)
        if kind == "none":
            return (self.measure(residual), zero) if residual else (zero, zero)
        if kind == "unknown":
            self.notes.append(
                Note(
                    "disinfectant_unknown",
                    "The report does not say whether the supply carries free chlorine or chloramine; the carbon "
                    "depends on it. Ask the utility or test total and free chlorine.",
                )
            )
            combined = self.draws.uniform(self._column("disinfectant")) < 0.5
            amount = (
                self.measure(residual)
                if residual
                else np.where(combined, self.prior("chloramine"), self.prior("free_chlorine"))
            )
            return np.where(combined, 0.0, amount), np.where(combined, amount, 0.0)
        amount = self.measure(residual) if residual else self.prior(kind)
        return (amount, zero) if kind == "free_chlorine" else (zero, amount)

    # -- the whole -------------------------------------------------------------------------------

    def run(self) -> Completion:
        self.notes += [Note(f.code, f.message) for f in self.findings]
        calcium, magnesium, known_h = self.hardness()
        alkalinity, known_a = self.alkalinity()
        ions: dict[str, FloatArray] = {"calcium": calcium, "magnesium": magnesium}
        for ion in ANIONS:
            ions[ion] = self.take(ion) / 1000 / MOLAR_MASS_G[ion]
        silica = self.take("silica")
        self._close(ions, alkalinity, silica)
        totals, alkalinity = self._balance(ions, alkalinity)
        temperature = self.take("temperature")
        bare = Totals(**totals, alkalinity=alkalinity, dic=np.zeros(1))
        dic = dic_from_ph(bare, self.take("ph"), temperature)
        # a pH and an alkalinity that leave no room for carbon cannot both be: the draw counts for nothing
        least = 0.4 * np.maximum(alkalinity, 0)
        self.log_weight = self.log_weight - np.where(dic < least, 50.0, 0.0)
        dic = np.maximum(dic, least)
        free, combined = self.chlorine()
        minor = {f"{a}_mg_L": self.measure(a) for a in ("iron", "manganese") if a in self.measured}
        water = Water.of(
            Totals(**totals, alkalinity=alkalinity, dic=dic),
            temperature,
            silica_mg_L=silica,
            free_chlorine_mg_L=free,
            chloramine_mg_L=combined,
            **minor,
        )
        self._temper()
        known = self.supply.known() | known_h | known_a
        return Completion(water, self.log_weight, known, tuple(self.notes))

    def _mass(self, ions: dict[str, FloatArray], names: tuple[str, ...]) -> FloatArray:
        return np.asarray(sum((ions[i] * MOLAR_MASS_G[i] * 1000 for i in names), start=np.zeros(1)))

    def _close(self, ions: dict[str, FloatArray], alkalinity: FloatArray, silica: FloatArray) -> None:
        """Solve the unmeasured anions' amount and sodium (with potassium) from the solids and the charge."""
        free = tuple(a for a in ANIONS if a not in self.measured)
        fixed = tuple(a for a in ANIONS if a in self.measured)
        hard = 2 * (ions["calcium"] + ions["magnesium"])
        held = alkalinity + sum((-CHARGE[a] * ions[a] for a in fixed), start=np.zeros(1))
        loose = sum((-CHARGE[a] * ions[a] for a in free), start=np.zeros(1))
        k = self.prior("potassium_share_of_sodium")
        target = self.solids()

        # mass of one equivalent of (sodium + potassium)
        alkali_g = (MOLAR_MASS_G["sodium"] + k * MOLAR_MASS_G["potassium"]) / (1 + k) * 1000
        base = self._mass(ions, ("calcium", "magnesium", *fixed)) + _SOLIDS_PER_EQ_ALKALINITY * alkalinity + silica
        if target is not None:
            least = base + np.maximum(held - hard, 0) * (alkali_g if "sodium" not in self.measured else 0)
            if float(np.mean(least > 1.05 * target)) > _IMPOSSIBLE_SHARE:
                self.notes.append(
                    Note(
                        "tds_impossible",
                        "The dissolved solids are less than the ions in the same report add up to; they are set "
                        "aside, not averaged. Suspect the unit or the sample.",
                    )
                )
                target = None

        if "sodium" in self.measured:
            sodium = self.measure("sodium") / 1000 / MOLAR_MASS_G["sodium"]
            potassium = self._potassium(sodium, k)
            ions["sodium"], ions["potassium"] = sodium, potassium
            if free:
                scale = np.maximum(hard + sodium + potassium - held, 0) / loose
                for a in free:
                    ions[a] = ions[a] * scale
        else:
            scale = np.ones(1)
            if free and target is not None:
                per_scale = self._mass(ions, free) + loose * alkali_g
                scale = np.maximum((target - base - (held - hard) * alkali_g) / per_scale, 0)
            if free:
                scale = np.maximum(scale, (hard - held) / loose)  # sodium may not be negative
                for a in free:
                    ions[a] = ions[a] * scale
            alkali = np.maximum(held + loose * scale * bool(free) - hard, 0)
            if "potassium" in self.measured:
                ions["potassium"] = self._potassium(alkali, k)
                ions["sodium"] = np.maximum(alkali - ions["potassium"], 0)
            else:
                ions["sodium"], ions["potassium"] = alkali / (1 + k), alkali * k / (1 + k)
        if target is None:
            return
        total = self._mass(ions, tuple(CHARGE)) + _SOLIDS_PER_EQ_ALKALINITY * alkalinity + silica
        if float(np.mean(SOLIDS_ABOVE * total < target)) > _IMPOSSIBLE_SHARE:
            found = solids_above_ions(self.supply.name, target, total)
            self.notes.append(Note(found.code, found.message))
            lacking = np.where(self.either("solids or ions"), np.maximum(target - total, 0), 0)
            add_salt(ions, lacking, free)
        else:
            self.log_weight = self.log_weight - 0.5 * (np.log(total / np.maximum(target, 1e-6)) / _SOLIDS_SD) ** 2

    def _potassium(self, sodium: FloatArray, share: FloatArray) -> FloatArray:
        if "potassium" in self.measured:
            return self.measure("potassium") / 1000 / MOLAR_MASS_G["potassium"]
        return np.asarray(sodium * share)

    def _balance(self, ions: dict[str, FloatArray], alkalinity: FloatArray) -> tuple[dict[str, FloatArray], FloatArray]:
        """Spread what imbalance is left over all ions within their uncertainty; close the rest on one ion, and
        say so: a stated value is never moved beyond its own error."""
        residual = sum((CHARGE[i] * ions[i] for i in CHARGE), start=np.zeros(1)) - alkalinity
        variance = {i: (CHARGE[i] * self.spread(i, ions[i])) ** 2 for i in CHARGE}
        of_alkalinity = self.spread("alkalinity", alkalinity) ** 2
        whole = sum(variance.values(), start=np.zeros(1)) + of_alkalinity
        self.log_weight = self.log_weight - 0.5 * residual**2 / whole
        part = np.clip(residual, -2 * np.sqrt(whole), 2 * np.sqrt(whole)) / whole
        moved = {i: np.maximum(ions[i] - part * variance[i] / CHARGE[i], 0) for i in CHARGE}
        alkalinity = alkalinity + part * of_alkalinity
        rest = sum((CHARGE[i] * moved[i] for i in CHARGE), start=np.zeros(1)) - alkalinity
        charge = sum((abs(CHARGE[i]) * moved[i] for i in CHARGE), start=np.zeros(1)) + np.abs(alkalinity)
        off = float(np.median(np.abs(rest) / np.maximum(charge, 1e-12)))
        if off > _IMBALANCE:
            short = "positive" if float(np.median(rest)) < 0 else "negative"
            self.notes.append(
                Note(
                    "charge_imbalance",
                    f"The ions of this report do not balance: {percent(off)} of the charge is missing on the {short} "
                    "side. No stated value was moved to hide it; the gap is closed with "
                    f"{'sodium' if short == 'positive' else 'an unmeasured anion'}. Have the water tested.",
                )
            )
        anion = next((a for a in ("chloride", "sulfate", "nitrate") if a not in self.measured), "nitrate")
        moved[anion] = moved[anion] + np.maximum(rest, 0) / -CHARGE[anion]
        moved["sodium"] = moved["sodium"] + np.maximum(-rest, 0)
        return moved, alkalinity

    def _temper(self) -> None:
        """Where almost no draw meets the report, flatten the weights and say that the report contradicts itself."""
        self.log_weight = np.broadcast_to(self.log_weight, (self.draws.n,)) - np.max(self.log_weight)
        if effective_size(np.exp(self.log_weight)) >= self.draws.n / 20:
            return
        for power in (0.5, 0.25, 0.1, 0.05, 0.0):
            if effective_size(np.exp(power * self.log_weight)) >= self.draws.n / 20:
                self.log_weight = power * self.log_weight
                break
        self.notes.append(
            Note(
                "report_contradicts_itself",
                "Few waters meet all the figures of this report at once (charge or dissolved solids): treat the "
                "ranges with care and have the water tested.",
            )
        )
