"""What own units tell: the estimate over units, the figures in a plan, the command and the store."""

from __future__ import annotations

import datetime as dt
import json
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from lived import LivedUnit, firm

from brewwater import cli
from brewwater.ensemble import Draws
from brewwater.errors import InputError
from brewwater.log.own_units import OwnFactor, OwnLife, OwnUnits, filtered_litres
from brewwater.log.pooled import THETA, pool, read_between, read_exactly
from brewwater.plan import make_plan
from brewwater.planning.document import PlanDocument, load_document
from brewwater.planning.fact import coverage, facts_of, wilson
from brewwater.planning.own_units import with_own_units
from brewwater.planning.scenario import prepare
from brewwater.planning.spells import past_of
from brewwater.store import Store


def of_mean(likelihood: np.ndarray[Any, Any]) -> float:
    return float(likelihood @ THETA / likelihood.sum())


def test_many_exact_units_give_their_mean_and_spread() -> None:
    truth = np.random.default_rng(3).normal(0.25, 0.2, 200)
    found = pool([read_exactly(float(t), 0.02) for t in truth])
    assert found.middle == pytest.approx(truth.mean(), abs=0.01)
    assert found.next_sd == pytest.approx(truth.std(), abs=0.02)
    assert found.spread[0] < truth.std() < found.spread[2]


def test_against_the_weighted_mean_where_the_spread_is_small() -> None:
    """Units alike but for their errors: the mean weighed by one over the variance, as without a hierarchy."""
    sds = np.array([0.05, 0.1, 0.2, 0.4] * 10)
    reads = 0.3 + sds * np.random.default_rng(5).standard_normal(len(sds))
    found = pool([read_exactly(float(y), float(s)) for y, s in zip(reads, sds, strict=True)])
    weights = 1 / sds**2
    assert found.middle == pytest.approx(float(weights @ reads / weights.sum()), abs=0.03)
    assert found.spread[1] < 0.06


def test_a_unit_that_says_little_is_drawn_to_the_others() -> None:
    sure = [read_exactly(0.2 + 0.02 * n, 0.02) for n in range(-3, 4)]
    found = pool([*sure, read_exactly(1.0, 0.5), read_exactly(1.0, 0.02)])
    vague, clear = found.units[-2:, 0]
    assert abs(vague - found.middle) < 0.4 * abs(1.0 - found.middle)
    assert clear == pytest.approx(1.0, abs=0.05)


def test_what_was_taken_out_early_does_not_shorten_a_life() -> None:
    """Changed at half of what it bears: counting that as its end would halve the estimate; as 'not yet' it moves
    nothing down."""
    ends = [read_between([0.0], [0.04], 0.05, 0.0) for _ in range(6)]
    early = [read_between([np.log(0.5)], [np.inf], 0.05, 0.0) for _ in range(20)]
    alone, with_early = pool(ends), pool([*ends, *early])
    assert alone.middle == pytest.approx(0.02, abs=0.03)
    assert with_early.middle >= alone.middle - 0.01
    assert of_mean(read_between([0.5], [np.inf], 0.05, 0.0)) > 0.5  # longer than any at the middle: that does tell


def test_with_no_unit_there_is_only_what_is_held_beforehand() -> None:
    found = pool([])
    assert found.middle == pytest.approx(0, abs=1e-9)
    assert found.next_sd > 0.4


FIGURES = OwnUnits(
    as_of=dt.date(2026, 12, 1),
    units=12,
    use=OwnFactor(middle=1.3, log_sd=0.1, units=12, seen=12),
    lives=(OwnLife(medium="softening", rated=True, middle=0.8, log_sd=0.1, units=9, seen=31),),
)


@pytest.fixture(scope="module")
def units() -> list[LivedUnit]:
    return firm(4, seed=11, draws=64)


def test_the_plan_takes_them_and_says_so(units: list[LivedUnit]) -> None:
    plain, own = units[0].bare, with_own_units(units[0].bare, FIGURES)
    stated, used = prepare(plain), prepare(own)
    filtered = [b.name for b in plain.branches if b.filtered]
    centre = filtered_litres(prepare(plain, Draws(1)).demand, filtered)[0]
    low, middle, high = np.percentile(np.log(filtered_litres(used.demand, filtered) / centre), [10, 50, 90])
    assert middle == pytest.approx(np.log(1.3), abs=0.01)
    assert high - low == pytest.approx(2 * 1.2816 * 0.1, rel=0.1)  # the firm's spread, in place of the stated range's
    for branch in plain.branches:
        if not branch.filtered:
            np.testing.assert_array_equal(
                used.demand.branch_amounts(branch.name), stated.demand.branch_amounts(branch.name)
            )
    plan = make_plan(own, search=False)
    told = [w.message for w in plan.warnings if w.code == "own_units"]
    assert len(told) == 2
    assert all("your own 12 units" in line for line in told)
    resin = next(c for c in plan.candidate.cartridges if c.stage.name == "resin")
    rated_eq = float(np.median(resin.capacity.exchange_eq))
    assert rated_eq == pytest.approx(0.8 * resin.stage.sheet.capacity_grains * 64.79891 / 50043, rel=0.01)
    assert not [w for w in make_plan(plain, search=False).warnings if w.code == "own_units"]


def test_it_travels_in_the_document(units: list[LivedUnit]) -> None:
    own = with_own_units(units[0].bare, FIGURES)
    again = load_document(own.to_json())
    assert again == own
    dates = [[d.date for d in make_plan(d, search=False).calendar.dues] for d in (own, again, units[0].bare)]
    assert dates[0] == dates[1] != dates[2]
    with pytest.raises(InputError):
        load_document(json.loads(own.to_json()) | {"own_units": {"as_of": "2026-12-01", "units": 0}})


def test_no_line_after_the_day_is_seen(units: list[LivedUnit]) -> None:
    """What was foretold of a cartridge stays the same, whatever the log says later."""
    document = units[0].document
    first = facts_of(document)
    assert first is not None
    change = min((c for c in first.changes if c.spell.number == 1), key=lambda c: c.spell.out or dt.date.max)
    wild = tuple(
        r.model_copy(update={"value": r.value * 3}) if r.kind == "hardness" and r.date > change.spell.went_in else r
        for r in document.readings
        if r.value is None or r.kind != "hardness" or r.value > 0
    )
    kept = tuple(r for r in document.readings if r.date <= change.spell.went_in)
    later = tuple(r for r in wild if r.date > change.spell.went_in)
    second = facts_of(document.model_copy(update={"readings": kept + later}))
    assert second is not None
    same = next(c for c in second.changes if (c.spell.stage, c.spell.number) == (change.spell.stage, 1))
    assert (same.early, same.expected, same.late) == (change.early, change.expected, change.late)


def test_how_a_cartridge_ended_is_what_tests_showed(units: list[LivedUnit]) -> None:
    by_test, by_meter = past_of(units[0].document), past_of(units[1].document)
    assert by_test is not None and by_meter is not None
    ends = [s for s in by_test.spells if s.stage.name == "resin" and s.out is not None]
    assert ends and all(s.through is not None for s in ends)
    assert all(s.good is None or s.through is None or s.good < s.through for s in ends)
    early = [s for s in by_meter.spells if s.stage.name == "resin" and s.out is not None]
    # changed at 0.7 of a rating that most of them outlast; of one that does not a test shows it
    leaked = {r.date for r in units[1].document.readings if r.kind == "hardness" and r.value}
    assert len(early) > 4 and {s.through for s in early if s.through} <= leaked and len(leaked) < 2
    assert all(s.good is not None and s.good <= s.until for s in early)
    assert not any(s.good or s.through for s in by_test.spells if s.stage.name == "grit")  # no test shows grit


def test_gallons_from_change_to_change_add_up(units: list[LivedUnit]) -> None:
    past = past_of(units[0].document)
    assert past is not None
    last = max(r.own_value() or 0 for r in units[0].document.readings if r.kind == "meter_gal")
    for name in ("resin", "grit"):
        assert sum(s.gal or 0 for s in past.spells if s.stage.name == name) == pytest.approx(last, rel=0.03)


def test_the_interval_of_a_share_as_published() -> None:
    # Wilson's interval for 81 of 263 as printed by Newcombe (1998), table I, method 3: 0.2553 to 0.3662
    assert wilson(81, 263) == pytest.approx((0.2553, 0.3662), abs=5e-5)


def test_little_is_no_coverage() -> None:
    empty = coverage([])
    assert (empty.gal_of, empty.gal_interval, empty.used_up) == (0, None, None)


def saved(unit: LivedUnit) -> str:
    with Store.open_default() as store:
        ref = store.create_unit(unit.document.name).ref
        store.save_plan(ref, unit.bare.model_dump(mode="json"), 0)
        store.add_readings(ref, unit.document.readings)
    return ref


def test_by_the_command(
    units: list[LivedUnit], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path))
    refs = [saved(unit) for unit in units]
    assert cli.main(["fact", refs[0], "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert {c["cartridge"] for c in shown["changes"]} == {"resin", "grit"}
    assert shown["coverage"]["gallons_of"] == len(shown["changes"])
    assert sum(m["made"] for m in shown["money"]) == len(shown["changes"])
    assert cli.main(["fact", refs[0]]) == 0
    assert "eight in ten" in capsys.readouterr().out
    assert cli.main(["fact"]) == 0
    assert "your own 4 units" in capsys.readouterr().out
    assert cli.main(["fact", refs[0], "--use-own"]) == 0
    with Store.open_default() as store:
        plan = store.plan(refs[0])
        assert plan is not None and plan.version == 2
        kept = PlanDocument.model_validate(plan.document).own_units
    assert kept is not None and kept.units == 3  # the unit itself is left out
    assert cli.main(["fact", refs[0], "--forget-own"]) == 0
    with Store.open_default() as store:
        plan = store.plan(refs[0])
        assert plan is not None and plan.document["own_units"] is None
    capsys.readouterr()
    assert cli.main(["fact", "--use-own"]) == 2
    assert "--use-own" in capsys.readouterr().err
