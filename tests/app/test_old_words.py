"""No page uses a word that the vocabulary replaced, and each measure stands in the measures that were chosen."""

from __future__ import annotations

import re
from typing import Any

import pytest

from brewwater.web.router import PAGES

# what the vocabulary says instead: bypass N%, before, after, membrane, weak-acid resin, salt to alkalinity
OLD = (
    "goes round",
    "as it comes",
    "reverse osmosis (",
    "reverse osmosis →",
    "weak-acid exchange (",
    "larson",
    ", served",
)


def seen(front: Any) -> list[str]:
    """Every text on the page and in its menu: blocks, labels, options, charts and drawings."""
    found = []
    for node in front.at._tree:  # no public way to all elements of a page
        proto = getattr(node, "proto", None)
        if proto is None:
            continue
        for field, value in proto.ListFields():
            if field.name in ("id", "key", "data", "icon"):
                continue
            found.append(re.sub(r"<style>.*?</style>|<[^>]*>", "\n", str(value)))
    return found


@pytest.mark.parametrize("address", [stop.address for stop in PAGES if stop.address != "sources"])
def test_no_page_uses_a_word_that_was_replaced(ready: Any, address: str) -> None:
    ready.go(address)
    texts = seen(ready)
    assert len(texts) > 3
    for text in texts:
        for old in OLD:
            assert old not in text.lower(), (old, text[max(text.lower().find(old) - 60, 0) :][:160])
