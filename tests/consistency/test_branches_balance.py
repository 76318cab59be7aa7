"""Laws that hold for any unit and its tree."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brewwater.plumbing import Branch, Pump, Unit, build_tree, fit, follow, pipe_loss_psi, tree_problems
from brewwater.plumbing.flow import (
    density_kg_m3,
    hazen_williams_psi_per_ft,
    inside_diameter_in,
    pump_psi,
    viscosity_Pa_s,
)
from brewwater.plumbing.parts import Pipe
from brewwater.treatment import DataSheet, Stage
from brewwater.units import INCH_M

KINDS = ("espresso_machine", "brewer", "hot_water", "ice", "rinser", "hand_sink", "sink", "fill", "other")
amounts = st.floats(0, 400, allow_nan=False)


@st.composite
def units(draw: st.DrawFn) -> Unit:
    return Unit(
        kind=draw(st.sampled_from(["cart", "truck", "kiosk", "shop"])),
        on_board=draw(st.sampled_from([None, True, False])),
        fresh_tank_gal=draw(st.floats(1, 200)),
        waste_tank_gal=draw(st.floats(1, 250)),
        usable_fresh_share=draw(st.floats(0.5, 1)),
        fills_per_day=draw(st.integers(1, 6)),
        hours_per_service_day=draw(st.integers(1, 16)),
    )


@st.composite
def fixtures(draw: st.DrawFn) -> list[Branch]:
    kinds = draw(st.lists(st.sampled_from(KINDS), min_size=1, max_size=6))
    filtered = st.sampled_from([None, True, False])
    return [
        Branch.model_validate({"name": f"b{i}", "kind": kind, "filtered": draw(filtered)})
        for i, kind in enumerate(kinds)
    ]


@settings(max_examples=60, deadline=None)
@given(units(), fixtures(), st.booleans())
def test_a_generated_tree_has_no_fault_and_comes_back(unit: Unit, branches: list[Branch], membrane: bool) -> None:
    sheet = DataSheet(service_flow_gpm=2, rated_output_gal_per_day=100)
    stages = [
        Stage(name="sediment", medium="sediment", sheet=sheet),
        Stage(name="carbon", medium="carbon", sheet=sheet),
    ]
    if membrane:
        stages.append(Stage(name="membrane", medium="reverse_osmosis", sheet=sheet))
    tree = build_tree(unit, branches, stages)
    wanted = stages if any(b.filtered for b in branches) else []
    assert tree_problems(tree, branches, wanted) == ()
    assert follow(tree, branches, wanted) == (tuple(branches), tuple(wanted))


@settings(max_examples=50, deadline=None)
@given(st.sampled_from(["1/2", "3/4", "1"]), st.floats(0.5, 12), st.floats(0.1, 200))
def test_darcy_and_hazen_williams_agree_within_a_third(size: str, gpm: float, feet: float) -> None:
    """Two formulas for one pipe, at the speeds a unit knows (turbulent, 1 to 10 ft/s)."""
    inch = inside_diameter_in(size)
    speed = gpm * 231 / 60 / (np.pi * inch**2 / 4) / 12
    reynolds = speed * 12 * INCH_M * inch * INCH_M * density_kg_m3(15.6) / viscosity_Pa_s(15.6)
    if not (1 <= speed <= 10 and reynolds >= 4000):  # Hazen-Williams is for turbulent flow alone
        return
    ours = float(pipe_loss_psi(Pipe.model_validate({"size": size, "length_ft": feet}), gpm, 15.6))
    theirs = feet * hazen_williams_psi_per_ft(gpm, inch)
    assert 0.95 <= ours / theirs <= 1.33


@settings(max_examples=30, deadline=None)
@given(st.floats(1, 8), st.floats(20, 60), st.floats(1, 40))
def test_pressure_never_rises_with_flow(gpm: float, cut_in: float, band: float) -> None:
    pump = Pump(cut_in_psi=cut_in, cut_out_psi=cut_in + band, flow_gpm=gpm)
    flows = np.linspace(0, 20, 101)
    assert np.all(np.diff(pump_psi(pump, flows)) <= 1e-12)
    assert np.all(np.diff(pipe_loss_psi(Pipe(length_ft=10, elbows=3, tees=2, valves=2), flows)) > 0)


@settings(max_examples=25, deadline=None)
@given(units(), fixtures(), st.floats(1, 300), st.floats(1.0, 3.0))
def test_more_water_never_helps(unit: Unit, branches: list[Branch], litres: float, more: float) -> None:
    def hours(times: float) -> float | None:
        asked = {b.name: np.array([litres * times]) for b in branches}
        return next((c.value for c in fit(unit, branches, litres=asked) if c.check == "fresh_tank_hours"), None)

    first, second = hours(1.0), hours(more)
    if unit.has_tanks:
        assert first is not None
        assert second is not None
        assert second <= first * (1 + 1e-9)
        assert second * more == pytest.approx(first)
    else:
        assert first is second is None
