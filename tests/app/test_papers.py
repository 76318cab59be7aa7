"""The pack and the quote on the page of what goes on paper."""

from __future__ import annotations

import io
import zipfile
from typing import Any

from brewwater.web.pages import papers


def buttons(front: Any) -> dict[str, Any]:
    return {b.proto.id.rsplit("-", 1)[-1]: b.proto for b in front.at.get("download_button")}


def test_the_pack_and_the_quote_are_one_press_each(ready: Any) -> None:
    ready.go("files")
    ready.at.text_input(key="paper_owner").set_value("Clear line")
    ready.at.number_input(key="quote_tax").set_value(8.25)
    ready.run()
    assert ready.errors() == []
    assert not buttons(ready)["take_pack"].disabled
    assert not buttons(ready)["take_quote"].disabled


def test_a_quote_waits_for_the_search(front: Any) -> None:
    front.go("files")
    assert buttons(front)["take_quote"].disabled
    assert not buttons(front)["take_pack"].disabled


def test_what_is_pressed_for_is_one_file() -> None:
    with zipfile.ZipFile(io.BytesIO(papers._zipped({"quote.csv": b"a,b", "quote.pdf": b"%PDF"}))) as found:
        assert {name: found.read(name) for name in found.namelist()} == {"quote.csv": b"a,b", "quote.pdf": b"%PDF"}
