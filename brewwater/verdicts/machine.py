"""The machine that a water meets: what its manual allows, and what it is made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field, model_validator

from brewwater.chemistry.constants import EXTRAPOLATED_TO_C
from brewwater.records import Finite, Name, NonNegative, Part, Positive
from brewwater.reference import cite, keyed
from brewwater.units import plain

Kind = Literal["espresso", "steam_boiler", "brewer", "hot_water", "ice", "other"]
Metal = Literal["copper_brass", "stainless", "steel", "unknown"]
LineMaterial = Literal["non_metallic", "copper_brass", "stainless", "steel"]
Default = Literal["boiler_temperature_C", "minimum_conductivity_uS_cm", "minimum_inlet_psi"]
MANUAL = "the machine's manual"


@dataclass(frozen=True, slots=True)
class Limit:
    """A figure of the machine and where it comes from; ``from_manual`` False marks common practice."""

    value: float
    source: str
    from_manual: bool


class MachineProfile(Part):
    """One machine: every figure of its manual is optional, and what is left out is not a limit.

    Hardness and alkalinity are mg/L as CaCO3, chloride and dissolved solids mg/L. ``boiler_temperature_C`` (0
    to 130; above 90 chemistry is extrapolated), ``minimum_conductivity_uS_cm`` (level probes, 25 °C) and
    ``minimum_inlet_psi`` (flowing) fall back on the kind's usual figure of ``reference/machine_defaults.csv``
    (``limit``). ``steam_fraction`` is the share of a boiler's water that leaves as steam: 0 to below 1.
    ``wetted_metal``: of the machine's own waterways; ``steel`` is any iron that rusts. ``line_material``: of the
    line from the filter to the machine; low pH and CO2 are red only where it is copper, brass or steel.
    ``stainless_grade`` brings in the chloride that the grade bears at the boiler's temperature.
    ``chloride_limit_at``: whether the manual's chloride is of the water that goes in (usual) or of the boiler's.
    ``lead_bearing_brass``: an older fitting or machine; then chloride is read beside sulfate.
    """

    name: Name = "Main machine"
    kind: Kind = "espresso"
    hardness_min_mg_L_as_CaCO3: NonNegative | None = None
    hardness_max_mg_L_as_CaCO3: NonNegative | None = None
    alkalinity_min_mg_L_as_CaCO3: NonNegative | None = None
    alkalinity_max_mg_L_as_CaCO3: NonNegative | None = None
    chloride_max_mg_L: NonNegative | None = None
    tds_max_mg_L: NonNegative | None = None
    minimum_conductivity_uS_cm: NonNegative | None = None
    minimum_inlet_psi: Positive | None = None
    boiler_temperature_C: Annotated[Finite, Field(ge=0, le=EXTRAPOLATED_TO_C)] | None = None
    steam_fraction: Annotated[Finite, Field(ge=0, lt=1)] | None = None
    wetted_metal: Metal = "unknown"
    line_material: LineMaterial = "non_metallic"
    chloride_limit_at: Literal["inlet", "boiler"] = "inlet"
    lead_bearing_brass: bool = False
    stainless_grade: Literal["304", "316", "unknown"] = "unknown"

    @model_validator(mode="after")
    def _ordered(self) -> MachineProfile:
        for quantity in ("hardness", "alkalinity"):
            low = getattr(self, f"{quantity}_min_mg_L_as_CaCO3")
            high = getattr(self, f"{quantity}_max_mg_L_as_CaCO3")
            if low is not None and high is not None and low > high:
                raise ValueError(f"{quantity}: the minimum {plain(low, 6)} is above the maximum {plain(high, 6)}")
        return self

    def limit(self, name: Default) -> Limit | None:
        """A figure of the manual, or the usual one for this kind of machine, or None."""
        own = getattr(self, name)
        if own is not None:
            return Limit(float(own), MANUAL, True)
        row = keyed("machine_defaults", "kind")[self.kind]
        return Limit(float(row[name]), cite(row["source"]), False) if row[name] else None

    @property
    def rusts(self) -> bool:
        """True where steel or iron is wetted: what the Larson-Skold ratio was made for."""
        return "steel" in (self.wetted_metal, self.line_material)

    @property
    def metal_line(self) -> bool:
        """True where acid and CO2 meet a line of copper, brass or steel on the way to the machine."""
        return self.line_material in ("copper_brass", "steel")

    @property
    def cycles(self) -> float:
        """Salts in the boiler's water over those of its feed: 1 / (1 - share that leaves as steam)."""
        return 1 / (1 - (self.steam_fraction or 0.0))

    @property
    def makes_steam(self) -> bool:
        """True where heat undoes a scale inhibitor: a boiler over 100 °C, or an espresso machine, which steams
        milk unless ``steam_fraction`` is stated as 0 (common practice, no source)."""
        steams = self.kind == "espresso" and self.steam_fraction != 0
        return self.kind == "steam_boiler" or self.temperature_C > 100 or steams

    @property
    def temperature_C(self) -> float:
        """Boiler temperature, °C: the manual's or the usual one for the kind."""
        found = self.limit("boiler_temperature_C")
        assert found is not None  # every kind has one; held by a test
        return found.value
