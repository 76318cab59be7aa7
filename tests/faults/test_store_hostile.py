"""Hostile documents, log files and unit files: a clear error or a right result, never anything else.

``fuzz_one(store, data)`` is the entry point for any fuzzer: bytes in, and an exception only for a defect.
With ``BREWWATER_LONG=1`` the suite tries 5,000 of each kind. From a shell:

    python tests/faults/test_store_hostile.py FILE...     try these files
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from brewwater.errors import BrewwaterError
from brewwater.log.entry import make_reading, printable
from brewwater.store import Store, UnknownUnit, make_engine, read_document
from brewwater.store.text import canonical, sha256

EXAMPLES = 5000 if os.environ.get("BREWWATER_LONG") == "1" else 300
hostile = settings(
    max_examples=EXAMPLES,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)


def clear(error: BrewwaterError) -> None:
    text = str(error)
    assert text
    assert printable(text), ascii(text)
    assert len(text) < 1500


def fuzz_one(store: Store, data: bytes) -> None:
    """Read ``data`` as a plan document, as a log and as a unit's file. Raises only for a defect."""
    try:
        document = read_document(data)
    except BrewwaterError as error:
        clear(error)
    else:
        now = store.plan("plan")
        saved = store.save_plan("plan", document, now.version if now else 0)
        assert saved.document == document
        again = store.plan("plan")
        assert again is not None
        assert again.document == document
    before = store.readings("log")
    try:
        added = store.import_log("log", data)
    except BrewwaterError as error:
        clear(error)
        added = 0
    after = store.readings("log")
    assert after[: len(before)] == before
    assert len(after) == len(before) + added
    units = len(store.units())
    try:
        ref = store.restore_unit(data)
    except BrewwaterError as error:
        clear(error)
        assert len(store.units()) == units
    else:
        assert store.restore_unit(store.export_unit(ref)) == ref  # what it wrote itself is the same again


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store(make_engine(f"sqlite:///{tmp_path / 's.sqlite3'}")) as found:
        found.create_unit("plan")
        found.create_unit("log")
        yield found


scalars = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.floats(),
    st.text(max_size=20),
    st.sampled_from(["=1+1", "\x00", "\u202e", "../..", "'; --", "NaN", "9" * 400, "<b>", "2026-13-01"]),
)
values = st.recursive(
    scalars,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)
documents = st.dictionaries(st.text(max_size=12), values, max_size=5).flatmap(
    lambda d: st.sampled_from([1, 1, 1, 1, 0, 2, "1", None]).map(lambda v: d | {"schema_version": v})
)
broken = st.sampled_from([b"", b"}", b"\xff", b"\x00", b"[" * 5000, b",", b'"'])


@st.composite
def document_bytes(draw: st.DrawFn) -> bytes:
    text = json.dumps(draw(documents), ensure_ascii=draw(st.booleans())).encode("utf-8", "surrogatepass")
    if draw(st.integers(0, 3)) == 0:
        at = draw(st.integers(0, len(text)))
        text = text[:at] + draw(broken) + text[at:]
    return text


KIND = st.sampled_from(["meter", "ph", "taste_note", "withdrawn", "hardness", "vibes", ""])
cell = st.one_of(
    st.text(max_size=12),
    st.sampled_from(["2026-03-31", "384", "gal", "strip", "0" * 32, "=1", '"', "\n", "-1", "1e999"]),
)


@st.composite
def log_bytes(draw: st.DrawFn) -> bytes:
    columns = draw(st.permutations(["date", "kind", "value", "unit", "note", "corrects", "id", "recorded_at"]))
    columns = [c for c in columns if c in ("date", "kind", "value") or draw(st.booleans())]
    good = {
        "date": st.just("2026-03-31"),
        "kind": KIND,
        "value": st.just("1"),
        "unit": st.just("gal"),
        "corrects": st.just(""),
        "id": st.just(""),
        "recorded_at": st.just(""),
    }
    rows = [",".join(columns)]
    for _ in range(draw(st.integers(0, 4))):
        hurt = draw(st.integers(0, 2)) == 0
        rows.append(",".join(draw(cell if hurt else good.get(c, cell)) for c in columns))
    text = draw(st.sampled_from(["\n", "\r\n", "\r"])).join(rows).encode("utf-8", "surrogatepass")
    return draw(st.sampled_from([b"", b"\xef\xbb\xbf"])) + text


@st.composite
def unit_bytes(draw: st.DrawFn) -> bytes:
    reading = make_reading({"date": "2026-03-31", "kind": "meter_gal", "value": 1, "unit": "gal"}).model_dump(
        mode="json"
    )
    plan: dict[str, Any] = {
        "version": 1,
        "saved_at": "",
        "saved_by": "",
        "note": "",
        "document": {"schema_version": 1},
    }
    content: dict[str, Any] = {
        "id": "u",
        "name": "U",
        "created_at": "",
        "plans": [plan],
        "readings": [reading],
    }
    if draw(st.booleans()):
        part = draw(st.sampled_from([content, plan, plan["document"], reading]))
        part[draw(st.one_of(st.sampled_from(sorted(part)), st.text(max_size=6)))] = draw(values)
    try:
        digest = sha256(canonical(content))
    except ValueError:
        digest = ""
    frame = {
        "format": "brewwater-unit",
        "format_version": 1,
        "exported_at": "",
        "sha256": digest,
        "content": content,
    }
    if draw(st.integers(0, 4)) == 0:
        frame[draw(st.sampled_from(sorted(frame)))] = draw(values)
    return json.dumps(frame).encode()


@hostile
@given(data=document_bytes())
def test_hostile_documents(store: Store, data: bytes) -> None:
    fuzz_one(store, data)


@hostile
@given(data=log_bytes())
def test_hostile_logs(store: Store, data: bytes) -> None:
    fuzz_one(store, data)


@hostile
@given(data=unit_bytes())
def test_hostile_unit_files(store: Store, data: bytes) -> None:
    fuzz_one(store, data)


@settings(
    max_examples=EXAMPLES // 3,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(ref=st.text(max_size=60), name=st.text(max_size=130))
def test_hostile_ids_and_names(store: Store, ref: str, name: str) -> None:
    with pytest.raises(UnknownUnit) as error:
        Store(store.engine, "nobody@example.org").plan(ref)
    clear(error.value)
    try:
        unit = store.create_unit(name)
    except BrewwaterError as error:
        clear(error)
    else:
        assert store.unit(unit.ref) == unit
        assert unit.id.replace("-", "").isalnum()
        assert unit.id.isascii()


if __name__ == "__main__":
    with (
        tempfile.TemporaryDirectory() as folder,
        Store(make_engine(f"sqlite:///{folder}/s.sqlite3")) as place,
    ):
        place.create_unit("plan")
        place.create_unit("log")
        for argument in sys.argv[1:]:
            fuzz_one(place, Path(argument).read_bytes())
            print(f"{argument}: handled")
