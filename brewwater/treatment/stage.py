"""The stage: one medium in a train, its settings and its cartridge's data sheet."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from brewwater.records import Finite, Fraction, Name, NonNegative, Part, Positive, Span

Medium = Literal[
    "sediment",
    "carbon",
    "catalytic_carbon",
    "scale_inhibitor",
    "weak_acid",
    "softening",
    "calcium_to_magnesium",
    "chloride_anion",
    "reverse_osmosis",
    "mixed_bed",
    "blend",
    "mineral_dose",
    "calcite",
    "iron_manganese",
]


Size = Literal["small", "medium", "large", "two large"]
TemperatureCurve = Literal["exponential", "army_table", "three_percent"]


class DataSheet(Part):
    """What a cartridge's data sheet states. Everything may be missing; then the usual figures of its class
    stand in, as a wide range with a warning.

    ``rated_gal`` is the sheet's own gallons at the sheet's own reference water: the ``reference_`` fields.
    ``capacity_grains`` (as CaCO3) is used before the gallons where both are given.
    ``reference_bypass_percent`` is the bypass at which the gallons were rated; the rated gallons then include
    the bypassed share. ``rated_output_gal_per_day`` is a membrane's product at 25 °C and
    ``rated_pressure_psi``. ``regeneration_salt_kg``: salt that regenerates a softener once, kg; with it the softener is
    regenerated off the unit instead of bought anew.
    """

    rated_gal: Positive | None = None
    reference_hardness_mg_L_as_CaCO3: Positive | None = None
    reference_alkalinity_mg_L_as_CaCO3: Positive | None = None
    reference_chlorine_mg_L_as_Cl2: Positive | None = None
    reference_bypass_percent: Annotated[Finite, Field(ge=0, lt=100)] = 0.0
    rated_for: Literal["free_chlorine", "chloramine", "unknown"] = "unknown"
    capacity_grains: Positive | None = None
    service_flow_gpm: Positive | None = None
    clean_pressure_drop_psi: NonNegative | None = None
    drop_at_flow_gpm: Positive | None = None
    end_pressure_drop_psi: Positive | None = None
    bed_volume_L: Positive | None = None
    rated_output_gal_per_day: Positive | None = None
    rated_pressure_psi: Positive | None = None
    life_months: Positive | None = None
    flush_gal: Span | None = None
    price: Span | None = None
    regeneration_salt_kg: Span | None = None
    micron: Positive | None = None
    connection: Annotated[str, Field(max_length=40)] | None = None


class Dose(Part):
    """A mineral dosed into the water: mg/L of the pure salt, hydrate water included.

    ``salt`` is a key of ``reference/salts.csv``. ``purity`` is the share of the powder that is that salt; the
    grams to weigh are divided by it.
    """

    salt: Name
    mg_L: NonNegative
    purity: Annotated[Finite, Field(gt=0, le=1)] = 1.0


class Stage(Part):
    """One stage of a train.

    ``bypass_percent``: share of the branch's water that goes round the stage, 0 to 100. The remaining fields
    are read by the media that need them and left None for the medium's usual figure from ``reference/``.

    ``branch``: the one branch it stands on; None: on the trunk, before every filtered branch.
    ``size``: which usual cartridge stands in for what the data sheet does not state; ``two large`` are two of the
    largest side by side, which share the flow.
    ``rejection``: a membrane's rejection by ion, 0 to 1, of the feed (system rejection, 1 - product/feed).
    ``exchange_target``: calcium hardness left by ``calcium_to_magnesium``, mg/L as CaCO3.
    ``temperature_curve``: how a membrane's output falls with cold; published curves disagree.
    """

    name: Name
    medium: Medium
    branch: Name | None = None
    bypass_percent: Annotated[Finite, Field(ge=0, le=100)] = 0.0
    size: Size = "medium"
    sheet: DataSheet = DataSheet()
    leakage_mg_L_as_CaCO3: NonNegative | None = None
    recovery: Annotated[Finite, Field(gt=0, lt=1)] | None = None
    rejection: dict[str, Fraction] = Field(default_factory=dict)
    doses: tuple[Dose, ...] = ()
    exchange_target: NonNegative | None = None
    temperature_curve: TemperatureCurve = "exponential"

    @model_validator(mode="after")
    def _salt_regenerates_a_softener(self) -> Stage:
        if self.sheet.regeneration_salt_kg is not None and self.medium != "softening":
            raise ValueError("regeneration_salt_kg is for a softener; salt regenerates no other medium")
        return self
