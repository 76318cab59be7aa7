"""A change whose day has passed without a line in the log is told first, everywhere, and not left out."""

from __future__ import annotations

import datetime as dt

import pytest

from brewwater.output.answer import answer
from brewwater.output.drawing import SCREEN, answer_html
from brewwater.output.numbers import Words
from brewwater.output.sheet.one_page import one_page
from brewwater.output.terminal import text
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import PlanDocument, mobile_template

START = dt.date(2027, 1, 4)
TRAIN = [{"name": "grit", "medium": "sediment"}, {"name": "carbon", "medium": "carbon"}]


@pytest.fixture(scope="module")
def plan() -> Plan:
    document = mobile_template().model_dump(mode="json") | {"train": TRAIN, "settings": {"draws": 32, "seed": 1}}
    document["demand"]["calendar"]["start"] = START.isoformat()
    return make_plan(PlanDocument.model_validate(document), search=False)


def test_the_first_of_each_cartridge_stays_however_late_it_is(plan: Plan) -> None:
    calendar = plan.calendar
    assert calendar.coming(START) == calendar.dues
    end = calendar.dues[-1].date
    for today in (calendar.dues[0].date + dt.timedelta(days=1), START + dt.timedelta(days=400), end):
        found = calendar.coming(today)
        for name in calendar.lives:
            first, *later = calendar.of(name)
            assert [d for d in found if d.cartridge == name] == [first, *(d for d in later if d.date >= today)]
        assert list(found) == sorted(found, key=lambda d: (d.date, d.cartridge))


def test_it_is_told_as_overdue_on_every_first_page(plan: Plan) -> None:
    first = plan.calendar.dues[0]
    today = first.date + dt.timedelta(days=3)
    told = answer(plan, Words(False), today)
    assert told.next is not None
    assert (told.next.date, told.next_label) == (first.date, "Overdue since")
    assert told.overdue(told.next)
    page = answer_html(told, plan.document.demand.calendar, SCREEN)
    assert "Overdue since" in page
    assert "Overdue since" in one_page(told, plan.document.demand.calendar, "letter")
    shown = text(told)
    assert "Overdue" in shown
    before = answer(plan, Words(False), first.date)
    assert before.next_label == "Next change"
    assert "verdue" not in answer_html(before, plan.document.demand.calendar, SCREEN)
