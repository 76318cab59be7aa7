from __future__ import annotations

import numpy as np
import pytest

from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.plumbing import Branch, Network, Pipe, Pump, Unit, known, pipe_loss_psi
from brewwater.plumbing.flow import (
    ATMOSPHERE_PSI,
    drawdown_gal,
    drop_stated,
    pump_flow_at_cut_in,
    pump_psi,
    stage_drop,
    velocity_ft_s,
)
from brewwater.records import Span
from brewwater.treatment import DataSheet, Stage
from brewwater.units import GAL_L

MACHINE = Branch(name="machine", kind="espresso_machine", flow_gpm=Span.model_validate(0.5))
RINSER = Branch(name="rinser", kind="rinser", flow_gpm=Span.model_validate(1.0))
PUMP = Pump(cut_in_psi=40, cut_out_psi=55, flow_gpm=3)
SHEET = DataSheet(service_flow_gpm=1, clean_pressure_drop_psi=4, drop_at_flow_gpm=1, end_pressure_drop_psi=14)
CARBON = Stage(name="carbon", medium="carbon", sheet=SHEET)
MEMBRANE = Stage(
    name="membrane", medium="reverse_osmosis", recovery=0.25, sheet=DataSheet(rated_output_gal_per_day=144)
)


def test_ten_feet_of_rise_take_433_psi_a_hundredth_a_foot() -> None:
    assert float(pipe_loss_psi(Pipe(rise_ft=10), 0.0)) == pytest.approx(4.33, abs=0.01)
    assert float(pipe_loss_psi(Pipe(rise_ft=-10), 0.0)) == pytest.approx(-4.33, abs=0.01)


def test_fittings_add_and_warm_water_loses_less() -> None:
    bare = float(pipe_loss_psi(Pipe(length_ft=10), 2))
    assert float(pipe_loss_psi(Pipe(length_ft=10, elbows=4), 2)) > bare
    assert float(pipe_loss_psi(Pipe(length_ft=10), 2, 60)) < bare
    assert float(pipe_loss_psi(Pipe(length_ft=20), 2)) == pytest.approx(2 * bare)


@pytest.mark.parametrize("gpm", [-0.1, float("nan"), float("inf")])
def test_a_flow_that_is_none(gpm: float) -> None:
    with pytest.raises(InputError, match="0 gpm or more"):
        pipe_loss_psi(Pipe(length_ft=10), gpm)


def test_past_the_table_the_loss_grows_on_without_a_step() -> None:
    at, just_past, twice = (float(pipe_loss_psi(Pipe(length_ft=10), gpm)) for gpm in (60, 60.001, 120))
    assert at < just_past < 1.001 * at
    assert twice == pytest.approx(at * 2**1.85)


def test_speed() -> None:
    # 1 gpm is 231 in3/min; the bore is 0.475 in
    by_hand = 231 / 60 / (np.pi * 0.475**2 / 4) / 12
    assert float(velocity_ft_s(Pipe(), 1.0)) == pytest.approx(by_hand)


def test_a_pressure_switch_holds_its_cut_in_until_the_pump_is_past_its_flow() -> None:
    assert pump_psi(PUMP, np.array([0, 1, 3])).tolist() == [40, 40, 40]
    assert float(pump_psi(PUMP, 4.0)) == pytest.approx(35)
    assert float(pump_psi(PUMP, 9.0)) == 0


def test_a_curve_goes_before_the_straight_line() -> None:
    pump = PUMP.model_copy(update={"curve": ((0.0, 60.0), (2.0, 50.0), (4.0, 20.0))})
    assert float(pump_psi(pump, 3.0)) == pytest.approx(35)
    assert pump_flow_at_cut_in(pump) == pytest.approx(2 + 2 / 3)
    assert float(pump_psi(pump, 4.1)) == 0


def test_drawdown_by_boyle() -> None:
    air = 1.0 * (38 + ATMOSPHERE_PSI)
    assert drawdown_gal(1.0, 38, 40, 55) == pytest.approx(air / (40 + ATMOSPHERE_PSI) - air / (55 + ATMOSPHERE_PSI))
    with pytest.raises(InputError, match="at most the cut-in of 40"):
        drawdown_gal(1.0, 45, 40, 55)


def piped(stages: list[Stage], branches: list[Branch], unit: Unit | None = None, **more: object) -> Network:
    return Network(known(unit or Unit(kind="truck", pump=PUMP)), branches, stages, **more)  # type: ignore[arg-type]


def test_peak_counts_those_that_draw_at_once() -> None:
    sink = Branch(name="sink", kind="sink", flow_gpm=Span.model_validate(2.0))
    assert piped([], [MACHINE, RINSER]).trunk_gpm.tolist() == [1.5]
    # washing up waits, but alone it draws more
    assert piped([], [MACHINE, RINSER, sink]).trunk_gpm.tolist() == [2.0]
    assert piped([], []).trunk_gpm.tolist() == [0]


def test_a_range_is_drawn() -> None:
    flows = piped([], [Branch(name="m", kind="espresso_machine")], draws=Draws(256)).trunk_gpm
    assert flows.shape == (256,)
    assert 0.3 <= flows.min() < flows.max() <= 0.6


def test_no_peak_is_below_the_mean_of_the_busiest_day() -> None:
    # 0.5 gpm while it draws; 480 gal in 8 h is 1 gpm without a pause
    unit = Unit(kind="truck", pump=PUMP, hours_per_service_day=8)
    busy = piped([CARBON], [MACHINE, RINSER], unit, busiest_L={"machine": np.array([480 * GAL_L])})
    assert busy.flow_gpm(CARBON).tolist() == [pytest.approx(1.0)]
    assert busy.fixture_gpm(MACHINE).tolist() == [pytest.approx(1.0)]
    assert busy.trunk_gpm.tolist() == [pytest.approx(2.0)]
    idle = piped([CARBON], [MACHINE, RINSER], unit, busiest_L={"machine": np.array([20 * GAL_L])})
    assert idle.flow_gpm(CARBON).tolist() == [0.5]


def test_a_drop_goes_with_the_flow() -> None:
    drop = stage_drop(CARBON, np.array([0.5]))
    assert (drop.clean_psi[0], drop.end_psi[0], drop_stated(CARBON)) == (2, 7, True)
    silent = Stage(name="c", medium="carbon")
    assert not drop_stated(silent)
    low, usual, high = (float(stage_drop(silent, np.array([0.5]), at).end_psi[0]) for at in ("low", "usual", "high"))
    assert low < usual < high


def test_bypass_goes_round() -> None:
    half = Stage(name="resin", medium="weak_acid", bypass_percent=50, sheet=SHEET)
    assert piped([half], [MACHINE]).flow_gpm(half).tolist() == [0.25]
    assert piped([half], [RINSER]).flow_gpm(half).tolist() == [0.0]
    three = Stage(name="valve", medium="blend", bypass_percent=75)
    # a blend valve's water comes from before the train
    assert piped([CARBON, three], [MACHINE]).flow_gpm(CARBON).tolist() == [0.125]
    assert piped([CARBON, three], [MACHINE]).trunk_gpm.tolist() == [0.5]


def test_ahead_of_a_membrane_only_what_fills_its_tank_flows() -> None:
    calcite = Stage(name="calcite", medium="calcite", sheet=SHEET)
    feed = 144 / 1440 / 0.25
    at = piped([CARBON, MEMBRANE, calcite], [MACHINE, RINSER])
    assert at.flow_gpm(CARBON).tolist() == [pytest.approx(feed)]
    assert at.flow_gpm(MEMBRANE).tolist() == [pytest.approx(feed)]
    assert at.flow_gpm(calcite).tolist() == [0.5]
    assert at.trunk_gpm.tolist() == [pytest.approx(1.0 + feed)]
    assert at.tank_draw_gpm(MEMBRANE).tolist() == [0.5]


def test_the_blend_joins_before_the_tank() -> None:
    """At 40 % bypass 0.1 gpm of product takes 0.1 x 0.4 / 0.6 with it, whatever the fixtures draw."""
    mixing = MEMBRANE.model_copy(update={"bypass_percent": 40.0})
    at = piped([CARBON, mixing], [MACHINE])
    assert at.flow_gpm(CARBON).tolist() == [pytest.approx(0.4 + 0.1 * 0.4 / 0.6)]
    assert at.product_share(mixing).tolist() == [pytest.approx(0.6)]
    assert at.tank_draw_gpm(mixing).tolist() == [0.5]
    valve = Stage(name="valve", medium="blend", bypass_percent=40)
    raw = piped([CARBON, MEMBRANE, valve], [MACHINE])
    assert raw.flow_gpm(CARBON).tolist() == [pytest.approx(0.4)]  # it comes from before the carbon
    assert raw.trunk_gpm.tolist() == [pytest.approx(0.4 + 0.1 * 0.4 / 0.6)]
    # all round it: no membrane, no tank
    none = piped([CARBON, MEMBRANE.model_copy(update={"bypass_percent": 100.0})], [MACHINE])
    assert none.flow_gpm(CARBON).tolist() == [0.5]
    assert none.membranes == ()


def test_a_membrane_on_one_branch_and_a_fixture_beside_it() -> None:
    own = MEMBRANE.model_copy(update={"branch": "machine"})
    brewer = Branch(name="brewer", kind="brewer", flow_gpm=Span.model_validate(0.7))
    at = piped([CARBON, own], [MACHINE, brewer, RINSER])
    assert at.flow_gpm(CARBON).tolist() == [pytest.approx(0.7 + 0.4)]
    assert at.trunk_gpm.tolist() == [pytest.approx(0.7 + 1.0 + 0.4)]
    # two branches behind one membrane fill one tank
    both = piped([CARBON, MEMBRANE], [MACHINE, brewer])
    assert both.flow_gpm(CARBON).tolist() == [pytest.approx(0.4)]
    assert both.tank_draw_gpm(MEMBRANE).tolist() == [pytest.approx(1.2)]


def test_a_second_membrane_drinks_from_the_first_ones_tank() -> None:
    second = MEMBRANE.model_copy(update={"name": "second", "sheet": DataSheet(rated_output_gal_per_day=72)})
    at = piped([CARBON, MEMBRANE, second], [MACHINE])
    assert at.flow_gpm(CARBON).tolist() == [pytest.approx(0.4)]
    assert at.tank_draw_gpm(MEMBRANE).tolist() == [pytest.approx(0.2)]
    assert at.tank_draw_gpm(second).tolist() == [0.5]
    litres = {"machine": np.array([10.0])}
    assert at.tank_litres(MEMBRANE, litres).tolist() == [pytest.approx(40)]
    assert at.tank_litres(second, litres).tolist() == [10]


def test_inlet_pressure_by_hand() -> None:
    pipe, own = Pipe(length_ft=10, elbows=2), Pipe(length_ft=5)
    unit = Unit(kind="truck", pump=PUMP, pipe=pipe, water_C=15)
    machine = MACHINE.model_copy(update={"pipe": own})
    at = piped([CARBON], [machine, RINSER], unit).inlet(machine)
    clean = 40 - float(pipe_loss_psi(pipe, 1.5)) - float(pipe_loss_psi(own, 0.5)) - 4 * 0.5
    assert float(at.clean_psi[0]) == pytest.approx(clean)
    assert float(at.end_psi[0]) == pytest.approx(clean - (14 - 4) * 0.5)
    assert at.assumed == ()


def test_a_regulator_caps_at_four_fifths() -> None:
    unit = Unit(kind="shop", mains_psi=Span.model_validate(90), regulator_psi=50, pipe=Pipe())
    bare = Branch(name="b", kind="brewer", pipe=Pipe())
    assert float(piped([], [bare], unit).inlet(bare).clean_psi[0]) == pytest.approx(40)


def test_moving_the_rinser_behind_the_filter_takes_pressure_from_the_machine() -> None:
    before = piped([CARBON], [MACHINE, RINSER]).inlet(MACHINE)
    after = piped([CARBON], [MACHINE, RINSER.model_copy(update={"filtered": True})]).inlet(MACHINE)
    assert float(before.clean_psi[0] - after.clean_psi[0]) == pytest.approx(4 * 1.0)  # 1 gpm more through 4 psi a gpm


def test_a_membrane_wants_a_pump_behind_its_tank() -> None:
    assert "not given" in piped([CARBON, MEMBRANE], [MACHINE]).inlet(MACHINE).missing
    unit = Unit(kind="truck", pump=PUMP, repump=Pump(cut_in_psi=30, cut_out_psi=45, flow_gpm=2))
    at = piped([CARBON, MEMBRANE], [MACHINE], unit).inlet(MACHINE)
    assert 28 < float(at.clean_psi[0]) < 30


def test_a_membranes_inlet_and_output_by_hand() -> None:
    pipe = Pipe(length_ft=10)
    unit = Unit(kind="truck", pump=PUMP, pipe=pipe, water_C=25)
    at = piped([CARBON, MEMBRANE], [MACHINE, RINSER], unit)
    # while its tank fills and nothing else draws, the carbon at its end
    psi = 40 - float(pipe_loss_psi(pipe, 0.4, 25)) - 14 * 0.4
    assert float(at.membrane_inlet(MEMBRANE).end_psi[0]) == pytest.approx(psi)
    # 1,046 mg/L: 10.46 psi in the feed; at 25 % recovery the mean of feed and reject is 7/6 of it
    made = at.product_gal_per_day(MEMBRANE, np.array([psi]), 1046)
    assert float(made[0]) == pytest.approx(144 * (psi - 10.46 * 7 / 6) / 57.5)
    base = at.membrane_inlet(MEMBRANE, np.array([60.0])).end_psi
    assert float(base[0]) == pytest.approx(60 - 14 * 0.4)


def test_a_demand_that_no_pipe_carries_leaves_no_pressure() -> None:
    """Past the friction table a plan still gets an answer: it does not reach."""
    unit = Unit(kind="truck", pump=PUMP, hours_per_service_day=8)
    litres = {"machine": np.array([5e6])}
    at = piped([CARBON], [MACHINE], unit, busiest_L=litres)
    assert float(at.trunk_gpm[0]) > 60
    assert float(at.inlet(MACHINE).clean_psi[0]) < -1000
    slower = piped([CARBON], [MACHINE], unit, busiest_L={"machine": np.array([4e6])})
    assert float(slower.inlet(MACHINE).clean_psi[0]) > float(at.inlet(MACHINE).clean_psi[0])
