"""Every page opens on the demo, on a unit without any measurement, before and after the search."""

from __future__ import annotations

import pytest

from brewwater.web.router import PAGES

ADDRESSES = [stop.address for stop in PAGES]
TITLES = {stop.address: [stop.question] if stop.question else [] for stop in PAGES}


def test_every_page_opens_on_the_demo_before_the_search(front) -> None:
    for address in ADDRESSES:
        front.go(address)
        assert [t.value for t in front.at.title] == TITLES[address]
        assert front.errors() == []


def test_every_page_opens_on_the_demo_after_the_search(ready) -> None:
    front = ready
    for address in ADDRESSES:
        front.go(address)
        assert [t.value for t in front.at.title] == TITLES[address]
        assert front.errors() == []


def test_every_page_opens_where_nothing_is_known_of_the_water(plain) -> None:
    for address in ADDRESSES:
        plain.go(address)
        assert [t.value for t in plain.at.title] == TITLES[address]
        assert plain.errors() == []
    plain.go("plan")
    scale = plain.html().split('data-subject="scale"')[1].split("</details>")[0]
    assert "Not known" in scale


def test_every_page_opens_in_metric(ready) -> None:
    front = ready
    front.at.radio(key="units").set_value("metric")
    front.run()
    assert front.document.units == "metric"
    for address in ADDRESSES:
        front.go(address)
        assert front.errors() == []
    front.go("branches")
    assert " L on a service day" in " ".join(c.value for c in front.at.caption)


@pytest.mark.parametrize("marks", ["1 234,5", "1.234,5"])
def test_number_marks_are_the_readers_own(front, marks: str) -> None:
    front.at.selectbox(key="marks").set_value(marks)
    front.run()
    assert "0,0" in front.html()  # the cost of a drink, some cents
    front.go("cost")
    assert front.errors() == []
