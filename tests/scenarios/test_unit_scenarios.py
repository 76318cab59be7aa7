"""The job's scenarios that ask whether it fits the unit. Figures invented."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from brewwater.demand import Calendar, DemandInput, Drink, Event, FixedUse, demand
from brewwater.ensemble import Draws
from brewwater.plumbing import Branch, Check, Pump, Unit, fit
from brewwater.records import Span
from brewwater.treatment import DataSheet, Stage
from brewwater.units import GAL_L
from brewwater.verdicts import MachineProfile

# scenario 6: 32 gal fresh, 42 gal waste; 7 gal of coffee water and 12 gal of all else
COFFEE = Branch(name="coffee", kind="espresso_machine", machine="M")
ELSE = Branch(name="else", kind="sink")
TANKS = Unit(kind="truck", fresh_tank_gal=32, waste_tank_gal=42, hours_per_service_day=8)
DAY = {"coffee": np.array([7 * GAL_L]), "else": np.array([12 * GAL_L])}


def of(unit: Unit, reject: float) -> dict[str, Check]:
    return {c.check: c for c in fit(unit, (COFFEE, ELSE), litres=DAY, reject_L_per_L={"coffee": np.array([reject])})}


def test_three_to_one_needs_forty_gallons_and_fails() -> None:
    found = of(TANKS, 3)
    fresh = found["fresh_tank_hours"]
    assert fresh.ok is False
    assert "draws 40 gal" in fresh.why
    assert "21 gal of it reject" in fresh.why
    assert fresh.value == pytest.approx(8 * 32 * 0.95 / 40)
    # the waste tank takes 21 of reject, 12 of sinks and the machine's own drains: full enough to say so
    waste = found["waste_tank_fill"]
    assert waste.value == pytest.approx(21 + 12 + 7 * 0.3)
    assert "thin" in waste.why


def test_one_to_one_needs_twenty_six_and_is_thin() -> None:
    fresh = of(TANKS, 1)["fresh_tank_hours"]
    assert fresh.ok is True
    assert "draws 26 gal" in fresh.why
    assert "thin: 4.4 gal to spare" in fresh.why


@pytest.mark.parametrize("reject", [1, 3])
def test_made_at_base_it_asks_nineteen(reject: float) -> None:
    assert "only 19 gal of the tanks on board" in of(TANKS, reject)["fresh_tank_hours"].why
    base = of(TANKS, 0)
    assert base["fresh_tank_hours"].ok is True
    assert "thin" not in base["fresh_tank_hours"].why


def test_both_tanks_are_in_the_verdict() -> None:
    assert of(TANKS, 3)["waste_tank_ratio"].ok is True  # 42 / 32 = 1.31
    assert of(TANKS.model_copy(update={"jurisdiction": "chicago"}), 3)["waste_tank_ratio"].ok is False
    small = of(TANKS.model_copy(update={"fresh_tank_gal": 60.0, "waste_tank_gal": 34.0}), 3)
    assert small["fresh_tank_hours"].ok is True
    assert small["waste_tank_fill"].ok is False


def test_pressure_and_cold_flow_of_the_membrane_are_in_it_too() -> None:
    sheet = DataSheet(service_flow_gpm=1.5, clean_pressure_drop_psi=2, drop_at_flow_gpm=1.5)
    train = (
        Stage(name="sediment", medium="sediment", sheet=sheet),
        Stage(name="carbon", medium="carbon", sheet=sheet),
        Stage(
            name="membrane",
            medium="reverse_osmosis",
            recovery=0.25,
            sheet=DataSheet(rated_output_gal_per_day=50, rated_pressure_psi=60),
        ),
    )
    pump = Pump(cut_in_psi=40, cut_out_psi=55, flow_gpm=3)
    unit = TANKS.model_copy(update={"pump": pump, "repump": pump, "product_tank_gal": 1.0})

    def found(temperature_C: float) -> dict[str, Check]:
        cold = unit.model_copy(update={"water_C": temperature_C})
        every = fit(
            cold,
            (COFFEE, ELSE),
            train,
            litres=DAY,
            reject_L_per_L={"coffee": np.array([3.0])},
            machines=(MachineProfile(name="M"),),
        )
        return {c.check: c for c in every}

    cold, warm = found(5), found(25)
    assert cold["membrane_pressure"].ok is False  # under 40 psi, and it is rated at 60
    assert warm["membrane_output"].value > cold["membrane_output"].value  # type: ignore[operator]
    assert warm["membrane_output"].ok is True
    assert cold["membrane_output"].ok is False


# scenario 11: forty drinks on weekdays; three weekends at 450 a day
def weekend_truck() -> tuple[tuple[Branch, ...], dict[str, np.ndarray], dict[str, np.ndarray], np.ndarray]:
    machine = Branch(name="machine", kind="espresso_machine", machine="M")
    branches = (machine, Branch(name="hand sink", kind="hand_sink"), Branch(name="rinser", kind="rinser"))
    sure = Span.model_validate
    first = dt.date(2027, 6, 5)
    events = tuple(
        Event(
            name=f"festival {i}",
            start=first + dt.timedelta(14 * i),
            end=first + dt.timedelta(14 * i + 1),
            drinks_per_day=450,
        )
        for i in range(3)
    )
    inputs = DemandInput(
        calendar=Calendar(start=dt.date(2027, 1, 4), events=events),
        main_branch="machine",
        drinks=(Drink(name="milk drink", per_service_day=sure(40), fl_oz=sure(6.8)),),
        fixed=(
            FixedUse(name="hand wash", branch="hand sink", gal_per_service_day=sure(4)),
            FixedUse(name="rinsing", branch="rinser", gal_per_service_day=sure(5)),
        ),
    )
    names = [b.name for b in branches]
    found = demand(inputs, names, Draws(1))
    return (
        branches,
        {n: found.litres_per_service_day(n) for n in names},
        {n: found.peak_day_litres(n) for n in names},
        found.peak_day_litres("machine") / GAL_L,
    )


def test_the_average_hides_what_the_weekend_asks() -> None:
    branches, mean, peak, filtered = weekend_truck()
    assert float(filtered[0]) == pytest.approx(24, abs=0.5)
    unit = Unit(kind="truck", fresh_tank_gal=25, waste_tank_gal=30, hours_per_service_day=8)
    found = {c.check: c for c in fit(unit, branches, litres=mean, peak_litres=peak)}
    assert found["fresh_tank_hours"].ok is True
    assert found["peak_day_fills"].ok is False
    assert "2 fills" in found["peak_day_fills"].why
    twice = {
        c.check: c for c in fit(unit.model_copy(update={"fills_per_day": 2}), branches, litres=mean, peak_litres=peak)
    }
    assert twice["peak_day_fills"].ok is True
