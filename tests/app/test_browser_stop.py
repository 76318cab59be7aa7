"""The stop on the round in a real Chromium at 390 px: done in little time, with the connection cut, never twice."""

from __future__ import annotations

import datetime as dt
import io
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from fleet import fleet, keep
from PIL import Image

from brewwater.store import Store, make_engine

HERE = Path(__file__).resolve()
STOP_S = 15.0


class Round:
    """A server with three units, a browser, and the store behind them."""

    def __init__(self, kit: Any, browser: Any, address: str, url: str) -> None:
        self.kit, self.browser, self.address, self.url = kit, browser, address, url

    @property
    def store(self) -> Store:
        return Store(make_engine(self.url))

    def lines(self, ref: str) -> list[tuple[str, float | None, str, str]]:
        """What was logged at the stops: kind, value, where, note."""
        fresh = [r for r in self.store.readings(ref) if r.recorded_by and r.date >= dt.date.today()]
        return sorted((r.kind, r.value, r.where, r.note) for r in fresh)

    def open(self, scheme: str = "light") -> Any:
        seen = self.kit.Watched(self.browser, 390, scheme)
        seen.page.set_default_timeout(30_000)
        seen.page.goto(f"{self.address}/stop")
        seen.page.locator("#units li").first.wait_for()
        return seen


@pytest.fixture(scope="module")
def served(kit: ModuleType, chromium: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Round]:
    data = tmp_path_factory.mktemp("stop")
    url = f"sqlite:///{data / 'brewwater.sqlite3'}"
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("BREWWATER_DATABASE_URL", raising=False)
        with Store(make_engine(url)) as store:  # a year that ended long ago: everything is overdue
            keep(store, fleet(3, last=dt.date.today() - dt.timedelta(days=200)))
        with kit.serving(HERE.parents[2] / "app.py", data) as address:
            yield Round(kit, chromium, address, url)


@pytest.fixture
def phone(served: Round) -> Iterator[Callable[..., Any]]:
    made: list[Any] = []

    def one(**more: Any) -> Any:
        made.append(served.open(**more))
        return made[-1]

    yield one
    for seen in made:
        seen.close()


def camera() -> bytes:
    """A photo that says where it was taken."""
    tags = Image.Exif()
    tags[0x010F] = "A maker"
    tags.get_ifd(0x8825).update({1: "N", 2: (47.0, 22.0, 11.0)})
    out = io.BytesIO()
    Image.new("RGB", (3000, 2000), (90, 120, 60)).save(out, "JPEG", exif=tags)
    return out.getvalue()


def stop_at(page: Any, name: str, **typed: str) -> None:
    page.goto(page.url.partition("#")[0] + "#")
    page.locator("#units a").filter(has_text=name).click()
    page.get_by_role("heading", level=1, name=name).wait_for()
    for kind, value in typed.items():
        page.locator(f"[name={kind}]").fill(value)


def test_a_stop_is_done_in_little_time(served: Round, phone: Callable[..., Any]) -> None:
    seen = phone()
    page = seen.page
    started = time.monotonic()
    stop_at(
        page,
        "Amber",
        meter_gal="40210",
        pressure_in_psi="52",
        pressure_out_psi="44",
        hardness="40",
        ph="7.2",
        note="ok",
    )
    page.get_by_role("checkbox").first.check()
    page.locator("#photo").set_input_files({"name": "a.jpg", "mimeType": "image/jpeg", "buffer": camera()})
    page.get_by_alt_text("The photo of this stop").wait_for()
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    page.locator("#done").click()
    page.get_by_text("Amber barge 1: in the log.").wait_for()
    took = time.monotonic() - started
    assert took < STOP_S, took
    assert page.get_by_role("heading", level=1).inner_text() != "Amber barge 1"  # the next stop stands there
    ticked = next(where for kind, _, where, _ in served.lines("amber-barge-1") if kind == "changed_cartridge")
    assert served.lines("amber-barge-1") == [
        ("changed_cartridge", None, ticked, ""),
        ("hardness", 40, "served", ""),
        ("meter_gal", 40210, "", ""),
        ("ph", 7.2, "served", ""),
        ("pressure_in_psi", 52, "", ""),
        ("pressure_out_psi", 44, "", ""),
        ("visited", None, "", "ok"),
    ]
    (photo,) = served.store.photos("amber-barge-1")
    kept = served.store.photo("amber-barge-1", photo.id)
    assert photo.line_id == next(r.id for r in served.store.readings("amber-barge-1") if r.kind == "visited")
    with Image.open(io.BytesIO(kept)) as picture:
        assert max(picture.size) <= 1600
        assert not picture.getexif()
    seen.clean()


def test_cut_off_in_the_middle_nothing_is_lost_and_nothing_twice(served: Round, phone: Callable[..., Any]) -> None:
    seen = phone()
    page = seen.page
    page.evaluate("navigator.serviceWorker.ready")
    page.wait_for_function("async () => (await (await caches.open('brewwater-stop-1')).keys()).length >= 3")
    stop_at(page, "Blue", meter_gal="3")  # half typed
    seen.context.set_offline(True)
    page.locator("[name=meter_gal]").fill("31000")
    page.reload()  # without a connection
    page.get_by_role("heading", level=1, name="Blue").wait_for()
    assert page.locator("[name=meter_gal]").input_value() == "31000"  # kept as it was typed
    page.locator("#photo").set_input_files({"name": "b.jpg", "mimeType": "image/jpeg", "buffer": camera()})
    page.get_by_alt_text("The photo of this stop").wait_for()
    page.locator("#done").click()
    page.get_by_text("Blue barge 2: kept on this phone").wait_for()
    stop_at(page, "Copper", meter_gal="32000", note="gate code asked")
    page.locator("#done").click()
    page.get_by_text("Copper barge 3: kept on this phone").wait_for()
    assert "2 kept here" in page.locator("#state").inner_text()
    page.reload()
    page.get_by_text("2 kept here").wait_for()
    assert served.lines("blue-barge-2") == served.lines("copper-barge-3") == []
    # the first answer to everything is lost on its way back: what was taken is sent again
    lost: set[str] = set()

    def lose(route: Any) -> None:
        what = (
            route.request.url + (route.request.post_data or "")[:200] if "photo" not in route.request.url else "photo"
        )
        if what in lost:
            route.continue_()
        else:
            lost.add(what)
            assert route.fetch().status == 200
            route.abort()

    seen.context.route("**/stop/entry", lose)
    seen.context.route("**/stop/photo*", lose)
    seen.context.set_offline(False)
    page.wait_for_function(
        "() => { send(); return !Object.keys(localStorage).some(k => k.startsWith('brewwater.entry.')); }", polling=300
    )
    assert len(lost) == 3
    assert served.lines("blue-barge-2") == [("meter_gal", 31000, "", ""), ("visited", None, "", "")]
    assert served.lines("copper-barge-3") == [("meter_gal", 32000, "", ""), ("visited", None, "", "gate code asked")]
    assert len(served.store.photos("blue-barge-2")) == 1
    assert page.evaluate("photos('readonly', all => all.count())") == 0  # nothing is left on the phone
    assert not seen.blocked


def test_what_cannot_be_used_is_said_at_the_stop(served: Round, phone: Callable[..., Any]) -> None:
    before = served.lines("copper-barge-3")
    seen = phone(scheme="dark")
    page = seen.page
    stop_at(page, "Copper", meter_gal="41 or so", note="<b>bold</b>")
    page.locator("#done").click()
    said = page.locator("#problem")
    said.wait_for()
    assert "value" in said.inner_text() and "41 or so" in said.inner_text()
    assert served.lines("copper-barge-3") == before
    page.locator("[name=meter_gal]").fill("41")
    page.locator("#done").click()
    page.get_by_text("Copper barge 3: in the log.").wait_for()
    assert sorted(set(served.lines("copper-barge-3")) - set(before)) == [
        ("meter_gal", 41, "", ""),
        ("visited", None, "", "<b>bold</b>"),
    ]
    seen.errors = [e for e in seen.errors if "422" not in e]  # the refusal itself
    seen.clean()


def test_the_order_is_kept_and_followed(served: Round, phone: Callable[..., Any]) -> None:
    seen = phone()
    page = seen.page
    names = page.locator("#units .name").all_inner_texts()
    last = names[-1].splitlines()[0]
    page.locator("#order").click()
    for _ in names[1:]:
        page.get_by_role("button", name=f"{last} earlier").click()
    page.locator("#order").click()
    page.wait_for_function("() => round.chosen && !localStorage.getItem('brewwater.order')")
    again = phone().page
    assert again.locator("#units .name").first.inner_text().startswith(last)
    again.get_by_text("In your order").wait_for()
    assert served.store.round_order()[0].replace("-", " ") == last.lower()
    again.locator("#units a").first.click()
    again.locator("#next").wait_for()
    seen.clean()


def test_a_unit_is_dragged_to_its_place(served: Round, phone: Callable[..., Any]) -> None:
    seen = phone()
    page = seen.page
    page.locator("#order").click()
    names = [name.split(" ", 1)[1] for name in page.locator("#units .name").all_inner_texts()]
    grips = page.locator("#units .grip")
    begin, end = grips.nth(0).bounding_box(), grips.nth(len(names) - 1).bounding_box()
    assert begin is not None
    assert end is not None
    page.mouse.move(begin["x"] + 20, begin["y"] + 20)
    page.mouse.down()
    page.mouse.move(begin["x"] + 20, end["y"] + 60, steps=5)
    page.mouse.up()
    moved = [name.split(" ", 1)[1] for name in page.locator("#units .name").all_inner_texts()]
    assert moved == [*names[1:], names[0]]
    page.wait_for_function("() => round.chosen && !localStorage.getItem('brewwater.order')")
    assert served.store.round_order()[-1].replace("-", " ") == names[0].lower()
    seen.clean()
