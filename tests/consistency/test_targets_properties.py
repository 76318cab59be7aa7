"""What must hold of verdicts for any water: nothing assumed, nothing averaged, no draw lost."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from brewwater.verdicts import RANK, Goal, MachineProfile, describe, judge
from brewwater.verdicts.judge import REQUIRED
from brewwater.water import Water

ANALYTES = ["total_hardness", "alkalinity", "chloride", "sulfate", "ph", "sodium", "conductivity", "iron"]
amount = st.floats(0, 500)


@st.composite
def waters(draw: st.DrawFn) -> Water:
    """Three phases of four draws, from nearly pure to very hard, salty and alkaline."""
    seed = draw(st.integers(0, 2**31))
    top = draw(st.tuples(amount, amount, amount, amount))
    u = np.random.default_rng(seed).uniform(0.02, 1, (5, 3, 4))
    return Water(
        pH=5.5 + 3.5 * u[4],
        alkalinity_mg_L_as_CaCO3=1 + top[0] * u[0],
        calcium_mg_L=top[1] * u[1] / 2.5,
        sodium_mg_L=top[2] * u[2],
        chloride_mg_L=top[3] * u[3],
        sulfate_mg_L=20.0,
    )


@settings(max_examples=25, deadline=None)
@given(waters(), st.sets(st.sampled_from(ANALYTES)))
def test_nothing_is_called_fine_that_was_not_measured(water: Water, known: set[str]) -> None:
    for verdict in judge(water, known=frozenset(known), weights=np.ones(4)):
        assert verdict.why
        if verdict.subject == "safety":
            assert verdict.status == "unknown"
            continue
        if not set(REQUIRED[verdict.subject]) <= known:
            assert verdict.status in ("unknown", "act") or verdict.assumed
        if verdict.assumed:
            assert verdict.why.startswith(("Holds on assumed values", "Fails on assumed values"))
        assert (verdict.share is None) == (verdict.status == "unknown")
        assert verdict.share is None or 0 <= verdict.share <= 1
        assert verdict.flip


@settings(max_examples=15, deadline=None)
@given(waters())
def test_all_phases_together_are_as_bad_as_the_worst_alone(water: Water) -> None:
    known, weights = frozenset(ANALYTES), np.array([1.0, 2.0, 0.5, 3.0])
    whole = judge(water, known=known, weights=weights, phase_names=["a", "b", "c"])
    alone = [
        judge(water.each(lambda a, p=p: a[p] if a.ndim == 2 else a), known=known, weights=weights)  # type: ignore[misc]
        for p in range(3)
    ]
    for k in range(3):
        assert RANK[whole[k].status] == max(RANK[one[k].status] for one in alone)
        named = alone["abc".index(whole[k].phase or "a")][k]
        assert (named.status, named.share) == (whole[k].status, whole[k].share)


@settings(max_examples=15, deadline=None)
@given(waters(), st.integers(0, 3))
def test_a_draw_of_no_weight_changes_nothing(water: Water, dropped: int) -> None:
    kept = [i for i in range(4) if i != dropped]
    weights = np.ones(4)
    weights[dropped] = 0.0
    known = frozenset(ANALYTES)
    with_it = judge(water, known=known, weights=weights)
    without = judge(water.each(lambda a: a[:, kept] if a.ndim == 2 else a), known=known, weights=np.ones(3))
    for one, other in zip(with_it, without, strict=True):
        assert (one.status, one.share) == (other.status, other.share)


@settings(max_examples=15, deadline=None)
@given(waters(), st.floats(0, 300), st.floats(0, 300))
def test_a_stricter_manual_never_improves_a_verdict(water: Water, one: float, other: float) -> None:
    strict, loose = sorted((one, other))
    state, known, weights = describe(water), frozenset(ANALYTES), np.ones(4)

    def scale(limit: float) -> int:
        machine = MachineProfile(hardness_max_mg_L_as_CaCO3=limit)
        return RANK[judge(water, state, known=known, weights=weights, machine=machine)[1].status]

    assert scale(strict) >= scale(loose)


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(-10, 500), min_size=4, max_size=4).map(sorted), st.floats(-20, 600))
def test_severity_grows_away_from_the_goal(line: list[float], value: float) -> None:
    red_below, low, high, red_above = line
    goal = Goal(red_below=red_below, low=low, high=high, red_above=red_above)
    severity = int(goal.severity(np.array(value)))
    inside, held = low <= value <= high, red_below <= value <= red_above
    assert severity == (0 if inside else 1 if held else 2)
