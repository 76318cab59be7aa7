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
    "set reverse osmosis",
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


# of the other system; what was printed in a report, and the choice of a drop kit's unit, stay as they were given
FOREIGN = {
    "us": re.compile(r"hardness[a-z ]*(?:, |\()(?:mg/L|ppm)|\d (?:L|kPa|kg|mL|°C)\b|\((?:L|kPa|kg|mL|°C)\)", re.I),
    "metric": re.compile(r"(?:, |\(|\d )(?:grains|gal|gal/min|psi|lb|fl oz|ft|oz|°F)\b"),
}
SAID_AS_PRINTED = ("Bed volume (L)", "Exchange capacity (grains as CaCO3)")


@pytest.mark.parametrize("units", list(FOREIGN))
@pytest.mark.parametrize(
    "address", ["plan", "targets", "treatment", "compare", "days", "tanks", "branches", "readings"]
)
def test_every_field_and_table_is_in_the_measures_chosen(ready: Any, units: str, address: str) -> None:
    """Labels of fields, heads of tables and the first cell of each row."""
    ready.at.radio(key="units").set_value(units)
    ready.run()
    ready.go(address)
    labels = [label for node in ready.at._tree if (label := getattr(getattr(node, "proto", None), "label", ""))]
    heads = re.findall(r"<th[^>]*>(.*?)</th>", ready.html(), re.S)
    assert len(labels) > 3
    wrong = [t for t in (*labels, *heads) if t not in SAID_AS_PRINTED and FOREIGN[units].search(t)]
    assert wrong == []
