"""From severities to a verdict: the rule of status, the worst phase, unknowns, sentences, the state."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from brewwater.reference import keyed
from brewwater.verdicts import Goal, MachineProfile, TargetChoice, describe, judge
from brewwater.verdicts.cup import nearest_ph
from brewwater.verdicts.judge import MEASURES, REQUIRED, case_of
from brewwater.verdicts.verdict import Judged, Shares, conclude
from brewwater.water import Water

GOAL = Goal(low=10, high=20, red_below=5, red_above=40, source="a sheet")


def judged(values: list[float] | np.ndarray, **more: object) -> Judged:
    array = np.atleast_2d(np.asarray(values, dtype=np.float64))
    return Judged("alkalinity", "alkalinity", "mg/L as CaCO3", array, GOAL, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("out", "red", "manual", "status"),
    [
        (0.0, 0.0, 0.0, "ok"),
        (0.19, 0.09, 0.0, "ok"),
        (0.2, 0.0, 0.0, "watch"),
        (0.15, 0.1, 0.0, "watch"),
        (0.9, 0.49, 0.0, "watch"),
        (0.5, 0.5, 0.0, "act"),
        (0.2, 0.2, 0.19, "watch"),
        (0.2, 0.2, 0.2, "act"),
    ],
)
def test_rule_of_status(out: float, red: float, manual: float, status: str) -> None:
    assert Shares(out, red, manual).status == status


def test_shares_are_weighted() -> None:
    values = [15.0] * 9 + [100.0]
    even = conclude("cup", [judged(values)], [], np.ones(10), role="source")
    assert (even.status, even.share) == ("watch", 0.9)
    heavy = conclude("cup", [judged(values)], [], np.array([1.0] * 9 + [9.0]), role="source")
    assert (heavy.status, heavy.share) == ("act", 0.5)


def test_the_worst_phase_decides_and_is_named() -> None:
    values = np.array([[15.0, 15, 15, 15], [15, 30, 30, 15], [15, 15, 15, 30]])
    names = ["Mon", "Fri", "Sat"]
    found = conclude("cup", [judged(values)], [], np.ones(4), role="served", phase_names=names)
    assert (found.phase, found.status, found.share) == ("Fri", "watch", 0.5)


def test_measures_out_in_different_draws_add_up() -> None:
    first, second = judged([30.0] + [15.0] * 9), judged([15.0] * 9 + [30.0])
    second = Judged("sodium", *(getattr(second, f.name) for f in fields(second) if f.name != "name"))
    found = conclude("cup", [first, second], [], np.ones(10), role="source")
    assert (found.status, found.share) == ("watch", 0.8)


def test_missing_is_unknown_unless_the_rest_says_act() -> None:
    fine, bad = judged([15.0, 15.0]), judged([90.0, 90.0])
    unknown = conclude("cup", [fine], ["total_hardness"], np.ones(2), role="source")
    assert (unknown.status, unknown.share, unknown.flip_test) == ("unknown", None, "hardness_drop_kit")
    assert conclude("cup", [bad], ["total_hardness"], np.ones(2), role="source").status == "act"
    amber = judged([30.0, 30.0])
    assert conclude("cup", [amber], ["total_hardness"], np.ones(2), role="source").status == "unknown"


@pytest.mark.parametrize(
    ("out_of_ten", "status", "assumed"),
    [(0, "ok", True), (1, "unknown", False), (5, "unknown", False), (9, "act", True)],
)
def test_what_was_not_measured_decides_only_where_nine_of_ten_agree(
    out_of_ten: int, status: str, assumed: bool
) -> None:
    values = np.array([[90.0] * out_of_ten + [15.0] * (10 - out_of_ten)])
    open_ = Judged("sodium", "sodium", "mg/L", values, GOAL, known=False, needs=("sodium",))
    found = conclude("cup", [judged([15.0] * 10), open_], ["sodium"], np.ones(10), role="source")
    assert (found.status, found.assumed) == (status, assumed)
    if assumed:
        assert found.why.startswith(
            f"{'Holds' if status == 'ok' else 'Fails'} on assumed values (not measured: sodium)"
        )
    # what was measured and fails by itself does not rest on it
    bad = Judged("chloride", "chloride", "mg/L", np.array([[90.0] * 10]), GOAL)
    known = conclude("cup", [bad, open_], ["sodium"], np.ones(10), role="source")
    assert (known.status, known.assumed) == ("act", False)
    # an analyte that no measure reads cannot be assumed away
    assert conclude("cup", [judged([15.0] * 10), open_], ["sodium", "ph"], np.ones(10), role="source").status != "ok"


@pytest.mark.parametrize(
    ("red", "status", "said"), [(0.3, "watch", "out of goal in 30 %"), (0.6, "act", "past the limit in 60 %")]
)
def test_past_the_limit_is_said_where_the_status_is_act(red: float, status: str, said: str) -> None:
    n = round(red * 10)
    found = conclude("cup", [judged([90.0] * n + [15.0] * (10 - n))], [], np.ones(10), role="source")
    assert found.status == status
    assert said in found.why


def test_an_unknown_measure_is_shown_and_does_not_count() -> None:
    unknown = Judged("sodium", "sodium", "mg/L", np.array([[500.0]]), GOAL, known=False)
    found = conclude("cup", [judged([15.0]), unknown], [], np.ones(1), role="source")
    assert found.status == "ok"
    sodium = found.measures[1]
    assert (sodium.status, sodium.share, sodium.p50) == ("unknown", None, 500)


def test_unsolved_chemistry_is_unknown_not_ok() -> None:
    found = conclude("cup", [judged([np.nan, np.nan, 15.0])], [], np.ones(3), role="source")
    assert found.status == "unknown"
    assert "not be solved" in found.measures[0].note
    assert found.measures[0].p50 is None


def test_reason_and_flip_carry_figures_units_and_basis() -> None:
    act = conclude("cup", [judged([240.0])], [], np.ones(1), role="source")
    assert act.why == (
        "Alkalinity 240 mg/L as CaCO3 is past the limit (goal 10 to 20); "
        "0 % of the waters the report allows are in range."
    )
    assert act.flip == "An alkalinity drop kit: alkalinity 5 to 40 mg/L as CaCO3 would ease this."
    assert act.source == "a sheet"
    ok = conclude("cup", [judged([15.0])], [], np.ones(1), role="source")
    reading = "alkalinity under 10 or over 20 mg/L as CaCO3"
    assert ok.flip == f"An alkalinity drop kit: {reading} would change this."


@pytest.mark.parametrize(
    ("line", "air", "shown"),
    [
        (5.9, 8.2, 6.8),
        (7.4, 8.2, 7.4),
        (8.6, 8.4, 8.4),
        (5.2, 6.1, 6.1),
        (9.0, 7.5, 7.8),
        (7.9, 8.1, 7.9),
        (7.6, 7.2, 7.6),
    ],
)
def test_cup_ph_is_the_nearest_on_the_way(line: float, air: float, shown: float) -> None:
    goal = Goal(low=6.8, high=7.8)
    assert nearest_ph(np.array(line), np.array(air), goal) == pytest.approx(shown)


def test_state_solves_each_temperature_as_asked() -> None:
    water = Water(pH=7.5, alkalinity_mg_L_as_CaCO3=160.0, calcium_mg_L=60.0, sodium_mg_L=12.0, chloride_mg_L=18.0)
    at_93, at_120 = describe(water), describe(water, 120)
    assert at_93.line_ph == pytest.approx(7.5, abs=1e-6)
    assert at_93.air_ph > 8.3  # 160 mg/L of alkalinity against air
    assert at_93.machine_index == at_93.hot_index == at_120.hot_index
    assert at_120.machine_index > at_120.hot_index > at_120.cold_index
    assert at_120.extrapolated
    assert at_93.conductivity_uS_cm > 200


@pytest.mark.parametrize("shape", [(), (1,), (6,), (3, 6), (3, 1)])
def test_any_shape_of_water_is_judged(shape: tuple[int, ...]) -> None:
    alkalinity = np.full(shape, 55.0)
    water = Water(pH=7.4, alkalinity_mg_L_as_CaCO3=alkalinity, calcium_mg_L=25.0, sodium_mg_L=9.0)
    weights = np.ones(shape[-1] if shape else 1)
    found = judge(water, known=frozenset({"total_hardness", "alkalinity", "ph"}), weights=weights)
    assert [v.subject for v in found] == ["cup", "scale", "corrosion", "safety"]
    assert found[0].status == "ok"


def test_water_without_ions_is_judged_without_a_warning() -> None:
    pure = Water(pH=7.0, alkalinity_mg_L_as_CaCO3=0.0)
    known = frozenset({"total_hardness", "alkalinity", "ph", "chloride", "sulfate"})
    found = {v.subject: v.status for v in judge(pure, known=known, weights=np.ones(1), role="served")}
    assert found["cup"] == "act"  # no alkalinity
    assert found["scale"] in ("ok", "unknown")
    assert found["corrosion"] != "ok"


def test_chlorine_is_red_only_behind_a_filter() -> None:
    water = Water(
        pH=7.4,
        alkalinity_mg_L_as_CaCO3=55.0,
        calcium_mg_L=25.0,
        sodium_mg_L=9.0,
        chloramine_mg_L=2.7,
        free_chlorine_mg_L=0.1,
    )
    known = frozenset({"total_hardness", "alkalinity", "total_chlorine"})
    tap = judge(water, known=known, weights=np.ones(1), role="source")[0]
    served = judge(water, known=known, weights=np.ones(1), role="served")[0]
    assert (tap.status, served.status) == ("watch", "act")
    assert "otal chlorine 2.8" in served.why
    unmeasured = judge(water, known=known - {"total_chlorine"}, weights=np.ones(1), role="served")[0]
    assert unmeasured.status == "ok"
    assert next(m for m in unmeasured.measures if m.name == "total_chlorine").status == "unknown"


def test_every_measure_with_a_goal_has_a_test_that_could_flip_it() -> None:
    water = Water(pH=7.4, alkalinity_mg_L_as_CaCO3=55.0, calcium_mg_L=25.0)
    machine = MachineProfile(
        wetted_metal="stainless",
        steam_fraction=0.5,
        alkalinity_max_mg_L_as_CaCO3=90,
        tds_max_mg_L=900,
        hardness_min_mg_L_as_CaCO3=1,
        alkalinity_min_mg_L_as_CaCO3=1,
    )
    tests = keyed("flip_tests", "measure")
    for edition in ("trade", "scaa_2009"):
        choice = TargetChoice(edition=edition)
        case = case_of(water, describe(water), frozenset(), machine, choice, (), "served")
        for subject, measures in MEASURES.items():
            bound = {j.name for j in measures(case) if not j.informs_only}
            assert bound <= set(tests), subject
            assert set(REQUIRED[subject]) <= set(tests)


def test_an_acid_line_of_metal_fails_without_a_measured_ph() -> None:
    """Every pH that the report leaves open is under the red limit of 6.5; nobody need measure it to know."""
    water = Water(
        pH=np.linspace(5.8, 6.1, 16),
        calcium_mg_L=np.full(16, 30.0),
        chloride_mg_L=10.0,
        alkalinity_mg_L_as_CaCO3=np.full(16, 60.0),
    )
    known = frozenset({"total_hardness", "alkalinity", "chloride"})
    for metal, status, assumed in (("copper_brass", "act", True), ("non_metallic", "watch", True)):
        machine = MachineProfile(line_material=metal)  # type: ignore[arg-type]
        found = {v.subject: v for v in judge(water, known=known, weights=np.ones(16), role="served", machine=machine)}
        verdict = found["corrosion"]
        assert (verdict.status, verdict.assumed) == (status, assumed), verdict.why
        assert verdict.why.startswith("Fails on assumed values (not measured: pH)")
        assert found["safety"].status == "unknown"
