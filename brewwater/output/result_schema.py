"""The shape of ``plan --json`` and ``report --json``: typed records, so that the schema is the output's own."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict


class Result(BaseModel):
    """A frozen record of a result. Every value may be null where it is not known."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Percentiles(Result):
    """The 10th, 50th and 90th percentile over the ensemble."""

    p10: float | None
    p50: float | None
    p90: float | None


class WaterResult(Result):
    """A water in the plan's units; "hot" is 93 °C in a closed boiler.

    ``ph`` and ``ph_in_cup`` are one figure, the one that is judged: on the way from the line, with all its CO2
    (``ph_in_line``), to balance with the air (``ph_in_air``) the pH nearest to the goal. All at the water's own
    temperature. The index is -9 or more: below that there is nothing that could drop out.
    """

    hardness_mg_L_as_CaCO3: Percentiles
    alkalinity_mg_L_as_CaCO3: Percentiles
    tds_mg_L: Percentiles
    ph: Percentiles
    ph_in_cup: Percentiles
    ph_in_line: Percentiles
    ph_in_air: Percentiles
    chloride_mg_L: Percentiles
    sodium_mg_L: Percentiles
    conductivity_uS_cm: Percentiles
    total_chlorine_mg_L_as_Cl2: Percentiles
    calcite_saturation_index_hot: Percentiles
    ccpp_hot_mg_L_as_CaCO3: Percentiles


class VerdictResult(Result):
    """``assumed``: something that the subject needs was not measured, and nine of ten waters that the report allows
    agree all the same. Safety is never ``ok`` on assumed values."""

    water: Literal["source", "served"]
    subject: Literal["cup", "scale", "corrosion", "safety"]
    status: Literal["ok", "watch", "act", "stop", "unknown"]
    share: float | None
    why: str
    source: str
    branch: str | None
    flip: str | None
    assumed: bool


class StageResult(Result):
    name: str
    medium: str
    branch: str | None
    bypass_percent: float


class AlternativeResult(Result):
    """``yearly_cost``: whole cartridges in the first 12 months, as the plan's own; ``yearly_cost_over_years``: a year
    over the years of the plan, every part by the share of it that is used up, which is what ranks (with the harm)."""

    stages: list[StageResult]
    yearly_cost: float | None
    yearly_cost_over_years: float | None
    fits: bool
    why: str


class BranchResult(Result):
    """``filter_life_share`` and ``filtering_cost`` (cartridges, a year) of what it uses, or would use, of the filters;
    ``mean_gallons_per_service_day`` adds up over branches, percentiles do not.
    ``if_not_filtered``: the verdict on the water as it comes there."""

    name: str
    filtered: bool
    gallons_per_service_day: Percentiles
    mean_gallons_per_service_day: float
    filter_life_share: Percentiles
    filtering_cost: Percentiles
    if_not_filtered: str
    advice: str


class ChangeResult(Result):
    """One change of a cartridge, ISO dates; null past the horizon."""

    early: str | None
    expected: str | None
    late: str | None


class CartridgeResult(Result):
    """``capacity_gal`` counts what the branches behind it are served before it is changed, ``capacity_through_gal``
    what passes it for that: with a membrane's reject, without what goes round. The log's ``meter_gal`` counts what is
    drawn at ``where``: at a branch, or by all branches behind a cartridge (served), whatever a meter ahead of a
    membrane in the cartridge's own pipe would show. Both null where the capacity is not known."""

    """``changes``: those to come, as the calendar has them; ``changes_in_year``: whole cartridges that go in during the
    first 12 months, the first set not counted, those changed by the log counted: what the year's money buys;
    ``assumed``: no data sheet's capacity could be used, and the dates rest on the usual range of its class."""

    name: str
    medium: str
    branch: str | None
    capacity_gal: Percentiles
    capacity_through_gal: Percentiles
    governed_by: str
    changes: list[ChangeResult]
    changes_in_year: float | None
    assumed: bool


class CheckResult(Result):
    """``assumed``: a usual figure stands in for something that was not given, so that it holds or fails on assumed
    values; ``ok`` is null where that may turn it either way, or where nothing can stand in."""

    check: str
    value: float | None
    limit: float | None
    unit: str
    ok: bool | None
    assumed: bool
    source: str
    why: str


class CostLineResult(Result):
    name: str
    amount: float


class CostResult(Result):
    """Whole cartridges bought in the 12 months; ``first_set`` and ``used_up`` are shown apart, never added;
    ``flush_gal``: run to waste through new cartridges."""

    currency: str
    expected: float
    total: Percentiles
    per_drink: float | None
    lines: list[CostLineResult]
    first_set: float | None
    used_up: float | None
    flush_gal: float | None


class WayResult(Result):
    """A membrane's water on board or from a base. Gallons are those of an ordinary service day; ``passes``: the
    tanks and the membrane bear it, null where a check rests on what was not given."""

    way: Literal["on_board", "own_tank", "fresh_tank"]
    name: str
    expected: float
    total: Percentiles
    more_than_on_board: Percentiles
    fresh_gal: Percentiles
    waste_gal: Percentiles
    reject_gal: Percentiles
    made_gal: Percentiles
    membrane_hours: Percentiles | None
    carried_tank_gal: float | None
    base_tank_gal: float | None
    passes: bool | None
    checks: list[CheckResult]
    asks: list[str]
    lines: list[CostLineResult]


class AtBaseResult(Result):
    """*Make it at base and carry it*, beside the membrane on board; ``own``: of the plan's own train, else of the
    best one that the tanks do not bear."""

    title: str
    membranes: list[str]
    stages: list[StageResult]
    own: bool
    note: str
    ways: list[WayResult]


class NextTestResult(Result):
    test: str
    because: str
    value: float | None


class WarningResult(Result):
    code: str
    message: str


class ShelfResult(Result):
    """A cartridge of the shelf in one place of the treatment, best first; gallons are served ones on this water,
    ``plan_on_gal`` with the margin off. Null: the sheet does not say at what water it was rated."""

    name: str
    place: str
    arrangement: Literal["single", "parallel", "series"]
    bypass_setting: str | None
    bypass_percent: float
    gallons_here: Percentiles | None
    plan_on_gal: float | None
    price_per_1000_gal: float | None
    fits: bool
    line: str


class ServedResult(Result):
    branch: str
    machine: str | None
    water: WaterResult


class PlanResult(Result):
    """What ``brewwater plan --json`` prints."""

    schema_version: Literal[1]
    stamp: str
    source_water: WaterResult
    served_water: WaterResult
    served: list[ServedResult]
    verdicts: list[VerdictResult]
    stages: list[StageResult]
    alternatives: list[AlternativeResult]
    branches: list[BranchResult]
    cartridges: list[CartridgeResult]
    fit: list[CheckResult]
    yearly_cost: CostResult
    made_at_base: AtBaseResult | None
    shelf: list[ShelfResult]
    next_tests: list[NextTestResult]
    warnings: list[WarningResult]


class RowResult(Result):
    """One printed value of a report; numbers and unit as printed."""

    analyte: str
    low: float | None
    typical: float | None
    high: float | None
    unit: str
    basis: str | None
    below_detection: bool
    supply: str | None
    date: str | None
    page: int | None
    text: str | None


class ProblemResult(Result):
    code: str
    field: str | None
    message: str


class UnreadResult(Result):
    page: int | None
    text: str
    why: str


class ReportResult(Result):
    """What ``brewwater report --json`` prints. ``analysis`` is null where there are several supplies."""

    rows: list[RowResult]
    analysis: dict[str, dict[str, object]] | None
    problems: list[ProblemResult]
    missing: list[str]
    supplies: list[str]
    unread: list[UnreadResult] = []
