"""The real plan document, hurt in every way: it is kept as it was checked, or refused in one clear line."""

from __future__ import annotations

import copy
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from brewwater.errors import BrewwaterError
from brewwater.log.entry import printable
from brewwater.planning.document import load_document, mobile_template
from brewwater.store import Store, make_engine, read_document

EXAMPLES = 5000 if os.environ.get("BREWWATER_LONG") == "1" else 300
GOOD: dict[str, Any] = {"schema_version": 1} | json.loads(mobile_template().to_json())


def check(document: dict[str, Any]) -> dict[str, Any]:
    """What the front end hands to the store."""
    found: dict[str, Any] = json.loads(load_document(document).to_json())
    return found


def places(value: Any, trail: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if trail:
        yield trail
    if isinstance(value, dict | list):
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield from places(inner, (*trail, key))


PLACES = list(places(GOOD))
scalars = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=12),
    st.sampled_from(
        [
            0,
            -1,
            1e300,
            5e-324,
            "1",
            "=1",
            "\x00",
            "2026-02-30",
            "2027-01-04",
            [],
            {},
            [1, 0],
            [0, 1, 2],
            "x" * 121,
            10**400,
        ]
    ),
)


@st.composite
def hurt(draw: st.DrawFn) -> dict[str, Any]:
    document = copy.deepcopy(GOOD)
    for _ in range(draw(st.integers(0, 2))):
        trail = draw(st.sampled_from(PLACES))
        holder: Any = document
        try:
            for step in trail[:-1]:
                holder = holder[step]
            holder[trail[-1]]
        except (KeyError, IndexError, TypeError):
            continue  # an earlier change took this place away
        way = draw(st.sampled_from(["replace", "remove", "add", "twice"]))
        if way == "replace":
            holder[trail[-1]] = draw(scalars)
        elif way == "remove":
            del holder[trail[-1]]
        elif way == "add" and isinstance(holder, dict):
            holder[draw(st.text(max_size=8))] = draw(scalars)
        elif isinstance(holder, list):
            holder.append(copy.deepcopy(holder[trail[-1]]))
    return document


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(make_engine(f"sqlite:///{tmp_path / 's.sqlite3'}"), validate=check) as found:
        found.create_unit("truck")
        yield found


def clear(error: BrewwaterError) -> None:
    text = str(error)
    assert printable(text), ascii(text)
    assert len(text) < 1500


@settings(
    max_examples=EXAMPLES,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(document=hurt())
def test_hostile_plan_documents(store: Store, document: dict[str, Any]) -> None:
    try:
        read = read_document(json.dumps(document))
        now = store.plan("truck")
        saved = store.save_plan("truck", read, now.version if now else 0)
    except BrewwaterError as error:
        clear(error)
    else:
        assert {"schema_version": 1} | check(saved.document) == saved.document  # checked, it stays as it is
        assert load_document(saved.document) == load_document(read)


def test_the_packaged_documents_are_kept_unchanged(store: Store) -> None:
    saved = store.save_plan("truck", GOOD, 0)
    assert saved.document == GOOD
    assert load_document(saved.document) == mobile_template()
