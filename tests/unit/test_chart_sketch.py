"""The plain drawing of the water in the cup: the marks of the chart, at their places, told in words as well."""

from __future__ import annotations

import re
from base64 import b64decode
from html import unescape
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given as drawn_from
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from brewwater.output.charts import DARK, LIGHT, Palette, cup_cloud, cup_sketch
from brewwater.output.charts.sketch import SIDE, ticks
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import demo_document
from brewwater.treatment import Stage

GOAL = ((50.0, 120.0), (40.0, 70.0))
RESIN = Stage.model_validate({"name": "Resin", "medium": "weak_acid", "bypass_percent": 30})


@pytest.fixture(scope="module")
def plan() -> Plan:
    return make_plan(demo_document(), search=False, train=(RESIN,))


def sketch(plan: Plan, goal=GOAL, colours: Palette = LIGHT, number=lambda v: f"{v:.4g}") -> str:
    return cup_sketch(plan.scenario, plan.candidate.main.water, goal, colours, number)


def image(html: str) -> str:
    return b64decode(re.findall(r"base64,([^\"]+)", html)[0]).decode()


def told(html: str) -> str:
    return unescape(re.findall(r'alt="([^"]*)"', html)[0])


def places(svg: str, colour: str) -> list[tuple[int, int]]:
    path = re.findall(rf'd="([^"]*)" stroke="{colour}"', svg)[0]
    return [(int(x), int(y)) for x, y in re.findall(r"M(-?\d+) (-?\d+)h\.01", path)]


@pytest.mark.parametrize("colours", [LIGHT, DARK])
def test_it_shows_the_marks_of_the_chart(plan: Plan, colours: Palette) -> None:
    frames = cup_cloud(plan.scenario, plan.candidate.main.water, GOAL, colours)["datasets"]
    most = frames["room"].iloc[0]
    svg = image(sketch(plan, colours=colours))
    for name, colour in (("Before", colours.source), ("After", colours.served)):
        marks = frames["points"][frames["points"].water == name]
        assert len(marks) == 220
        xs, ys = SIDE * (marks.x / most.x), SIDE * (most.y - marks.y) / most.y
        wanted = {(round(x), round(y)) for x, y in zip(xs, ys, strict=True)}
        assert set(places(svg, colour)) == wanted
        assert all(0 <= x <= SIDE and 0 <= y <= SIDE for x, y in wanted)


def test_its_goal_and_its_axes_are_to_scale(plan: Plan) -> None:
    html = sketch(plan)
    most = cup_cloud(plan.scenario, plan.candidate.main.water, GOAL, LIGHT)["datasets"]["room"].iloc[0]
    left, bottom, right, top = map(int, re.findall(r"M(\d+) (\d+)H(\d+)V(\d+)H\1Z", image(html))[0])
    assert_allclose([left * most.x, right * most.x], np.array(GOAL[0]) * SIDE, atol=most.x)
    assert_allclose([(SIDE - bottom) * most.y, (SIDE - top) * most.y], np.array(GOAL[1]) * SIDE, atol=most.y)
    for side, end in (("left", most.x), ("top", most.y)):
        labels = re.findall(rf'<span style="{side}:([\d.]+)%">([\d.]+)</span>', html)
        assert len(labels) > 2
        share = [float(at) / 100 if side == "left" else 1 - float(at) / 100 for at, _ in labels]
        assert_allclose(share, [float(value) / end for _, value in labels], atol=1e-3)


def test_it_says_in_words_where_the_waters_lie(plan: Plan) -> None:
    frames = cup_cloud(plan.scenario, plan.candidate.main.water, GOAL, LIGHT)["datasets"]
    served = frames["points"].query("water == 'After'")
    low, high = np.percentile(served.x, (10, 90))
    assert f"After: hardness {low:.4g} to {high:.4g}, alkalinity " in told(sketch(plan))
    assert told(sketch(plan)).endswith("Goal: hardness 50 to 120, alkalinity 40 to 70.")


@pytest.mark.parametrize(
    ("goal", "words"),
    [
        (((None, 120.0), (40.0, None)), "Goal: hardness at most 120, alkalinity at least 40."),
        (((None, None), (None, None)), "Goal: hardness any, alkalinity any."),
        (((None, 120.0), (900.0, None)), "Goal: hardness at most 120, alkalinity at least 900."),
        (((900.0, None), (0.0, 70.0)), "Goal: hardness at least 900, alkalinity 0 to 70."),
    ],
)
def test_a_goal_that_is_open_reaches_to_the_end(plan: Plan, goal, words: str) -> None:
    html = sketch(plan, goal)
    assert told(html).endswith(words)
    left, bottom, right, top = map(int, re.findall(r"M(\d+) (\d+)H(\d+)V(\d+)H\1Z", image(html))[0])
    assert 0 <= left < right <= SIDE and 0 <= top < bottom <= SIDE
    assert (left == 0) == (goal[0][0] is None) and (bottom == SIDE) == (not goal[1][0])
    assert (right == SIDE) == (goal[0][1] is None) and (top == 0) == (goal[1][1] is None)


def test_a_goal_of_nothing_at_all_is_said(plan: Plan) -> None:
    assert told(sketch(plan, ((None, 120.0), (None, 0.0)))).endswith("alkalinity at most 0.")


def test_what_a_number_is_written_as_cannot_become_markup(plan: Plan) -> None:
    html = sketch(plan, number=lambda v: '"><script>')
    assert "<script" not in html and "<script" not in image(html)


def test_waters_below_nothing_have_their_place(plan: Plan) -> None:
    # mineral acidity: less alkalinity than none
    sour: Any = SimpleNamespace(hardness_mg_L_as_CaCO3=np.array([80.0]), alkalinity_mg_L_as_CaCO3=np.array([-30.0]))
    html = cup_sketch(plan.scenario, sour, GOAL, LIGHT, lambda v: f"{v:.4g}")
    assert {y for _, y in places(image(html), LIGHT.served)} == {SIDE}
    (zero,) = (float(at) for at in re.findall(r'<span style="top:([\d.]+)%">0</span>', html))
    most = cup_cloud(plan.scenario, sour, GOAL, LIGHT)["datasets"]["room"].iloc[0].y
    assert zero == pytest.approx(100 * most / (most + 30), abs=0.1)


@drawn_from(st.floats(-1e6, 0), st.floats(1e-3, 1e6))
def test_ticks_are_round_few_and_reach_the_ends(least: float, most: float) -> None:
    found = ticks(least, most)
    step = found[1] - found[0]
    assert 0 in found and 2 <= len(found) <= 7
    slack = step * 1e-6
    assert found[-1] <= most + slack and most < found[-1] + step + slack
    assert found[0] >= least - slack and least > found[0] - step - slack
    mantissa = step / 10.0 ** np.floor(np.log10(step * (1 + 1e-9)))
    assert np.isclose(mantissa, [1, 2, 2.5, 5, 10]).any()
