"""The round over several trucks, and the shelf that plans are bought from, as pages."""

from __future__ import annotations

import datetime as dt
from typing import Any

from brewwater.log.entry import Reading
from brewwater.planning.document import mobile_template
from brewwater.store import Store
from brewwater.treatment import Stage

TRAIN = [{"name": "grit", "medium": "sediment"}, {"name": "carbon", "medium": "carbon"}]
LINE = "name,medium,size,rated,price,in_stock\nPleated grit,sediment,medium,4000 gal,18,1\n"


def saved(name: str, start: dt.date, train: list[dict[str, Any]] = TRAIN) -> str:
    document: dict[str, Any] = mobile_template().model_dump(mode="json")
    document["demand"]["calendar"]["start"] = start.isoformat()
    document |= {"name": name, "train": train, "settings": {"draws": 64, "seed": 1}}
    with Store.open_default() as store:
        ref = store.create_unit(name).ref
        store.save_plan(ref, document, 0)
    return ref


def test_the_round_over_two_trucks(front: Any) -> None:
    front.go("round")
    assert "No truck is saved yet" in front.at.info[0].value
    long_ago = dt.date.today() - dt.timedelta(days=700)
    refs = [saved("Blue", long_ago), saved("Red", dt.date.today())]
    front.go("round")
    front.at.segmented_control(key="round_weeks").set_value(13)
    front.run()
    assert front.errors() == []
    shown = front.html()
    assert "Overdue" in shown  # the one that nobody looked after for two years
    assert "Visit to Blue" in shown
    front.at.button(key=next(b.key for b in front.at.button if str(b.key).startswith(f"round_open_{refs[0]}"))).click()
    front.run()
    assert front.desk.ref == refs[0]


def test_the_round_by_week_place_and_part_and_as_files(front: Any) -> None:
    saved("Blue", dt.date.today() - dt.timedelta(days=700))
    saved("Red", dt.date.today() - dt.timedelta(days=700))
    front.go("round")
    for by, told in (("Weeks", "Week of"), ("Places", "trunk"), ("Parts", "sediment filter, medium")):
        front.at.segmented_control(key="round_by").set_value(by)
        front.run()
        assert front.errors() == []
        assert told in front.html(), by
        assert "Visit to" not in front.html()
    names = {b.proto.id.rsplit("-", 1)[-1] for b in front.at.get("download_button")}
    assert {f"round_file_{name}" for name in ("round.csv", "parts.csv", "round.ics")} <= names


def test_a_reading_past_its_limit_is_an_alarm_on_the_round(front: Any) -> None:
    ref = saved("Blue", dt.date.today() - dt.timedelta(days=60), train=[{"name": "softener", "medium": "softening"}])
    with Store.open_default() as store:
        line = {"date": dt.date.today().isoformat(), "kind": "hardness", "value": 400, "unit": "mg/L as CaCO3"}
        store.add_readings(ref, [Reading.model_validate({**line, "where": "Espresso machine"})])
    front.go("round")
    assert any("Blue" in e and "400" in e for e in front.errors())
    front.at.button(key=f"round_alarm_{ref}_0").click()
    front.run()
    assert front.desk.ref == ref


def test_the_address_for_a_calendar_program_is_shown_once_and_revoked(front: Any) -> None:
    saved("Blue", dt.date.today())
    front.go("round")
    front.at.button(key="feed_make").click()
    front.run()
    (first,) = [c.value for c in front.at.code if "/feed/" in c.value]
    one, secret = first.rsplit("/", 1)[1].removesuffix(".ics").split("-", 1)
    with Store.open_default() as store:
        assert store.feed_person(one, secret) == (True, "local")
    front.at.button(key="feed_make").click()
    front.run()
    (second,) = [c.value for c in front.at.code if "/feed/" in c.value]
    assert second != first
    front.at.button(key="feed_revoke").click()
    front.run()
    assert not [c.value for c in front.at.code if "/feed/" in c.value]
    with Store.open_default() as store:
        assert store.feed_made() is None


def test_a_cartridge_goes_on_the_shelf_and_into_the_plan(front: Any) -> None:
    train = tuple(Stage.model_validate(stage) for stage in TRAIN)
    front = type(front)(mobile_template().model_copy(update={"train": train}))
    front.go("shelf")
    assert "Nothing is on the shelf yet" in front.at.info[0].value
    front.at.text_area(key="shelf_lines").set_value(LINE)
    front.at.button(key="shelf_add").click()
    front.run()
    assert front.errors() == []
    front.run()
    assert "4000 gal: " in front.html()  # as printed, and what it is here
    front.at.number_input(key="stock_Pleated grit").set_value(5)
    front.run()
    with Store.open_default() as store:
        (item,) = store.shelf().items
    assert (item.in_stock, item.sheet.rated_gal) == (5, 4000)
    front.at.text_area(key="shelf_lines").set_value("name,medium\nx,sponge\n")
    front.at.button(key="shelf_add").click()
    front.run()
    assert any("medium" in e for e in front.errors())
