from __future__ import annotations

import numpy as np
import pytest

from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.plumbing import Branch, Pipe, Pump, Unit, known, peak_flow_gpm, pipe_loss_psi, stage_flow_gpm
from brewwater.plumbing.flow import (
    ATMOSPHERE_PSI,
    drawdown_gal,
    drawn_from_trunk_gpm,
    inlet_pressures,
    pump_flow_at_cut_in,
    pump_psi,
    stage_drop,
    velocity_ft_s,
)
from brewwater.records import Span
from brewwater.treatment import DataSheet, Stage

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


@pytest.mark.parametrize("gpm", [-0.1, 60.1])
def test_a_flow_outside_the_table(gpm: float) -> None:
    with pytest.raises(InputError, match="0 to 60 gpm"):
        pipe_loss_psi(Pipe(length_ft=1), gpm)


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


def test_peak_counts_those_that_draw_at_once() -> None:
    sink = Branch(name="sink", kind="sink", flow_gpm=Span.model_validate(2.0))
    assert peak_flow_gpm([MACHINE, RINSER]).tolist() == [1.5]
    assert peak_flow_gpm([MACHINE, RINSER, sink]).tolist() == [2.0]  # washing up waits, but alone it draws more
    assert peak_flow_gpm([]).tolist() == [0]


def test_a_range_is_drawn() -> None:
    flows = peak_flow_gpm([Branch(name="m", kind="espresso_machine")], Draws(256))
    assert flows.shape == (256,)
    assert 0.3 <= flows.min() < flows.max() <= 0.6


def test_a_drop_goes_with_the_flow() -> None:
    drop = stage_drop(CARBON, np.array([0.5]))
    assert (drop.clean_psi[0], drop.end_psi[0], drop.stated) == (2, 7, True)
    silent = stage_drop(Stage(name="c", medium="carbon"), np.array([0.5]))
    assert not silent.stated


def test_bypass_goes_round() -> None:
    half = Stage(name="resin", medium="weak_acid", bypass_percent=50, sheet=SHEET)
    assert stage_flow_gpm(half, [half], [MACHINE]).tolist() == [0.25]
    assert stage_flow_gpm(half, [half], [RINSER]).tolist() == [0.0]


def test_ahead_of_a_membrane_only_its_feed_flows() -> None:
    train = [CARBON, MEMBRANE, Stage(name="calcite", medium="calcite", sheet=SHEET)]
    feed = 144 / 1440 / 0.25
    assert stage_flow_gpm(CARBON, train, [MACHINE]).tolist() == [pytest.approx(feed)]
    assert stage_flow_gpm(train[2], train, [MACHINE]).tolist() == [0.5]
    assert drawn_from_trunk_gpm(train, [MACHINE, RINSER]).tolist() == [pytest.approx(1.0 + feed)]


def test_inlet_pressure_by_hand() -> None:
    pipe, own = Pipe(length_ft=10, elbows=2), Pipe(length_ft=5)
    unit = Unit(kind="truck", pump=PUMP, pipe=pipe, water_C=15)
    branches = [MACHINE.model_copy(update={"pipe": own}), RINSER]
    at = inlet_pressures(known(unit), branches, [CARBON])["machine"]
    clean = 40 - float(pipe_loss_psi(pipe, 1.5)) - float(pipe_loss_psi(own, 0.5)) - 4 * 0.5
    assert float(at.clean_psi[0]) == pytest.approx(clean)
    assert float(at.end_psi[0]) == pytest.approx(clean - (14 - 4) * 0.5)
    assert at.assumed == ()


def test_a_regulator_caps_at_four_fifths() -> None:
    unit = Unit(kind="shop", mains_psi=Span.model_validate(90), regulator_psi=50, pipe=Pipe())
    bare = Branch(name="b", kind="brewer", pipe=Pipe())
    assert float(inlet_pressures(known(unit), [bare], [])["b"].clean_psi[0]) == pytest.approx(40)


def test_moving_the_rinser_behind_the_filter_takes_pressure_from_the_machine() -> None:
    on = known(Unit(kind="truck", pump=PUMP))
    before = inlet_pressures(on, [MACHINE, RINSER], [CARBON])["machine"]
    after = inlet_pressures(on, [MACHINE, RINSER.model_copy(update={"filtered": True})], [CARBON])["machine"]
    assert float(before.clean_psi[0] - after.clean_psi[0]) == pytest.approx(4 * 1.0)  # 1 gpm more through 4 psi a gpm


def test_a_membrane_wants_a_pump_behind_its_tank() -> None:
    on = known(Unit(kind="truck", pump=PUMP))
    assert "not given" in inlet_pressures(on, [MACHINE], [CARBON, MEMBRANE])["machine"].missing
    on = known(Unit(kind="truck", pump=PUMP, repump=Pump(cut_in_psi=30, cut_out_psi=45, flow_gpm=2)))
    at = inlet_pressures(on, [MACHINE], [CARBON, MEMBRANE])["machine"]
    assert 28 < float(at.clean_psi[0]) < 30
