"""From Python: the public names, what a plan may be made from, and frames with units in their columns."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import brewwater as bw
from brewwater.cli import main
from brewwater.errors import InputError
from brewwater.output.result import plan_result
from brewwater.plan import Plan
from brewwater.planning.document import PlanDocument, demo_document, mobile_template, new_unit

PUBLIC = ["Water", "make_plan", "quick_plan", "read_report", "speciate"]


@pytest.fixture(scope="module")
def demo() -> Plan:
    return bw.make_plan(few(demo_document().model_dump(mode="json")), search=False)


def few(document: dict[str, Any], draws: int = 64) -> dict[str, Any]:
    return document | {"settings": {"draws": draws}}


def test_the_public_names_are_these_and_each_is_documented() -> None:
    assert sorted(bw.__all__) == PUBLIC
    assert set(PUBLIC) <= set(dir(bw))
    for name in PUBLIC:
        assert getattr(bw, name).__doc__
    with pytest.raises(AttributeError):
        bw.__getattr__("find_better")


def test_a_plan_is_made_from_a_document_a_mapping_a_text_or_a_path(demo: Plan, tmp_path: Path) -> None:
    document = demo.document
    place = tmp_path / "plan.json"
    place.write_text(document.to_json(), encoding="utf-8")
    for source in (document, json.loads(document.to_json()), document.to_json(), place, str(place)):
        made = bw.make_plan(source, search=False)
        assert made.stamp == demo.stamp
        assert np.array_equal(made.cost.total, demo.cost.total)


@pytest.mark.parametrize("source", ["nowhere.json", "", "x" * 5000, "a\0b", Path("/"), 3, None, [1], b"{}", "{"])
def test_what_is_no_document_is_one_clear_line(source: Any) -> None:
    with pytest.raises(InputError, match="plan document") as caught:
        bw.make_plan(source)
    assert "\n" not in str(caught.value)


def test_a_quick_plan_is_the_command_lines(monkeypatch: pytest.MonkeyPatch) -> None:
    planned: list[PlanDocument] = []

    def keep(document: PlanDocument, **more: object) -> None:
        planned.append(document)
        raise InputError("plan", "kept", "it is only looked at", "Go on.")

    monkeypatch.setattr("brewwater.plan.make_plan", keep)
    assert main(["plan", "--hardness", "290", "--alkalinity", "4.8 meq/L", "--drinks", "120"]) == 2
    with pytest.raises(InputError):
        bw.quick_plan(hardness=290, alkalinity="4.8 meq/L", drinks=120)
    one, other = planned
    assert one == other and set(one.supplies[0].analysis) == {"total_hardness", "alkalinity"}


@pytest.mark.parametrize(
    ("figure", "names"),
    [
        ({"hardness": -1}, "hardness"),
        ({"drinks": 1e9}, "drinks"),
        ({"tds": "3 furlongs"}, ""),
        ({"supply": "N"}, "supply"),
    ],
)
def test_a_quick_plan_refuses_in_one_line(figure: dict[str, Any], names: str) -> None:
    with pytest.raises(InputError) as caught:
        bw.quick_plan(**figure)
    assert names in str(caught.value) and "--" not in str(caught.value)


def test_the_frames_hold_what_the_result_holds(demo: Plan) -> None:
    result = plan_result(demo)
    money = demo.cost.frame()
    assert list(money.columns) == ["line", f"first_year_{result.yearly_cost.currency}"]
    amounts = money.iloc[:, 1]
    assert amounts.iloc[-1] == result.yearly_cost.expected == pytest.approx(amounts.iloc[:-1].sum(), abs=1e-6)
    waters = demo.waters.frame()
    assert list(waters.columns[2:]) == list(type(result.source_water).model_fields)
    middle = waters[waters["percentile"] == 50].set_index("water")
    assert list(middle.index) == ["as it comes", *(s.branch for s in result.served)]
    for name, water in (("as it comes", result.source_water), *((s.branch, s.water) for s in result.served)):
        for measure in middle.columns[1:]:
            assert middle.loc[name, measure] == pytest.approx(getattr(water, measure).p50, rel=1e-5, abs=1e-8)
    dates = demo.calendar.frame()
    assert len(dates) == len(demo.calendar.dues) and dates["expected"].dtype.kind == "M"


def test_a_plan_shows_itself_with_every_text_escaped(demo: Plan) -> None:
    hostile = "<script>alert(1)</script>"
    train = [{"name": f"{hostile} C", "medium": "carbon"}]
    document = few(json.loads(demo.document.to_json())) | {"name": hostile, "train": train}
    shown = bw.make_plan(document, search=False)._repr_html_()
    assert "<script" not in shown and "&lt;script&gt;" in shown
    assert shown.count("<table") == 4 and "nan" not in shown.lower()


def test_a_report_is_a_frame_and_shows_itself(tmp_path: Path) -> None:
    place = tmp_path / "report.csv"
    place.write_text("Analyte,Result,Unit\nTotal hardness,17,gpg\nAlkalinity,140,mg/L as CaCO3\n", encoding="utf-8")
    report = bw.read_report(place)
    frame = report.frame()
    assert isinstance(frame, pd.DataFrame) and len(frame) == len(report.rows) == 2
    hard = frame[frame["analyte"] == "total_hardness"].iloc[0]
    assert hard["unit"] == "gpg" and hard["plan_unit"] == "mg/L as CaCO3"
    ends = hard[["low_in_plan_unit", "high_in_plan_unit"]].astype(float)
    assert ends.to_list() == pytest.approx([17 * 17.118] * 2, rel=1e-4)
    hostile = dataclasses.replace(
        report, rows=(dataclasses.replace(report.rows[0], supply="<b>x</b>"),), name="<i>y</i>"
    )
    shown = hostile._repr_html_()
    assert "<b>x" not in shown and "<i>y" not in shown and "&lt;b&gt;x" in shown and "<table" in shown


def test_a_plan_that_is_made_now_starts_today() -> None:
    before = dt.date.today()
    made = bw.quick_plan(hardness=290, alkalinity=240, search=False).document.demand.calendar
    assert before <= made.start <= dt.date.today()
    # and the rest of it is the plain unit's
    plain = mobile_template().demand.calendar
    assert made.model_copy(update={"start": plain.start}) == plain
    assert new_unit(dt.date(2027, 3, 2)).demand.calendar.start == dt.date(2027, 3, 2)
