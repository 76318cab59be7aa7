"""Every table in ``reference/`` can be read, every row has a known source, and no source goes unused."""

from __future__ import annotations

import pytest

from brewwater import reference
from brewwater.errors import ReferenceTableError

TABLES = sorted(p.stem for p in reference.folder().glob("*.csv") if p.stem != "sources")
# Cited where the tests hold figures against them, not in a table.
GENERIC = {"common_practice", "memory", "definition", "placeholder"}


@pytest.mark.parametrize("name", TABLES)
def test_every_row_has_a_known_source(name: str) -> None:
    rows = reference.table(name)
    assert rows
    assert all(None not in row and None not in row.values() for row in rows), "a row is longer or shorter than the head"


def test_a_row_without_a_source_is_refused(tmp_path: object, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reference, "_read", lambda path: ({"key": "x", "source": "nobody"},))
    reference.table.cache_clear()
    with pytest.raises(ReferenceTableError, match="nobody"):
        reference.table("anything")
    reference.table.cache_clear()


def test_an_unknown_key_is_refused() -> None:
    with pytest.raises(ReferenceTableError, match="no_such_source"):
        reference.cite("no_such_source")


def test_a_citation_says_how_sure_it_is() -> None:
    for key, source in reference.sources().items():
        text = reference.cite(key)
        if source.standing == "common_practice":
            assert "common practice" in text
        if source.standing == "memory":
            assert "memory" in text
        if source.standing == "placeholder":
            assert "placeholder" in text
