"""Parcels between this program's processes: the same again, whole or refused."""

from __future__ import annotations

import datetime as dt
import os
import pickle
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from pydantic import BaseModel

from brewwater.ensemble import Draws
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import demo_document
from brewwater.plumbing import Branch
from brewwater.web.search_service.parcel import Unfit, clear, receive, send

PLAIN = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text()
    | st.binary()
    | st.decimals(allow_nan=False)
    | st.dates()
    | st.slices(9)
)
KEYS = st.text() | st.integers() | st.floats(allow_nan=False) | st.tuples(st.text(), st.integers())
ARRAYS = arrays.arrays(
    st.sampled_from(["f8", "i8", "?", "M8[D]", "f4", "c16", "<U5"]),
    arrays.array_shapes(min_dims=0, max_dims=3, min_side=0, max_side=4),
)
VALUES = st.recursive(
    PLAIN | ARRAYS,
    lambda inner: st.lists(inner) | st.tuples(inner, inner) | st.dictionaries(KEYS, inner) | st.frozensets(KEYS),
    max_leaves=20,
)


def there_and_back(value: Any, folder: Path) -> Any:
    pipe = BytesIO()
    send(value, pipe, folder)
    pipe.seek(0)
    found = receive(pipe, folder)
    assert not list(folder.iterdir())
    return found


def same(one: Any, two: Any) -> bool:
    """Equal down to types, with NaN equal to NaN; objects by their state."""
    if type(one) is not type(two):
        return False
    if isinstance(one, np.ndarray):
        alike = one.dtype == two.dtype and one.shape == two.shape and one.tobytes() == two.tobytes()
        return alike and one.flags.writeable == two.flags.writeable
    if isinstance(one, (list, tuple)):
        return len(one) == len(two) and all(map(same, one, two))
    if isinstance(one, dict):
        return list(one) == list(two) and all(same(a, two[k]) for k, a in one.items())
    if type(one).__module__.startswith("brewwater"):
        return same(one.__getstate__(), two.__getstate__())
    return bool(one == two) or (one != one and two != two)


@given(VALUES)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_value_comes_back_the_same(tmp_path: Path, value: Any) -> None:
    assert same(there_and_back(value, tmp_path), value)


@pytest.fixture(scope="module")
def plan() -> Plan:
    document = demo_document()
    return make_plan(document.model_copy(update={"settings": document.settings.model_copy(update={"draws": 64})}))


def test_a_plan_with_its_search_comes_back_the_same(plan: Plan, tmp_path: Path) -> None:
    back = there_and_back(plan, tmp_path)
    assert same(back, plan)
    assert back.document == plan.document
    assert back.document.model_fields_set == plan.document.model_fields_set
    assert back.document.fingerprint() == plan.document.fingerprint()
    assert [a.candidate.stages for a in back.alternatives] == [a.candidate.stages for a in plan.alternatives]


def test_what_is_one_stays_one(plan: Plan, tmp_path: Path) -> None:
    array = np.arange(3.0)
    draws = Draws(2)
    back = there_and_back((array, [array], draws, {"draws": draws}), tmp_path)
    assert back[0] is back[1][0] and back[2] is back[3]["draws"]
    back[0][0] = 7  # it can be written to, as the one that was sent
    once, twice = BytesIO(), BytesIO()
    send(plan, once, tmp_path)
    send((plan, [plan]), twice, tmp_path)
    one, two = sorted(file.stat().st_size for file in tmp_path.iterdir())
    assert one == two  # no array goes twice


def test_a_write_that_fails_leaves_nothing(tmp_path: Path) -> None:
    resource = pytest.importorskip("resource")
    pipe = BytesIO()
    limit = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, limit[1]))
    try:
        with pytest.raises(OSError, match="File too large"):
            send(np.zeros(100_000), pipe, tmp_path)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limit)
    assert not list(tmp_path.iterdir()) and not pipe.getvalue()


def test_a_folder_is_cleared_of_files_and_nothing_else(tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "parcel").write_bytes(b"x")
    (tmp_path / "two" / "folder").mkdir()
    (tmp_path / "two" / "folder" / "kept").write_bytes(b"x")
    clear(tmp_path / "one")
    clear(tmp_path / "two")
    clear(tmp_path / "missing")
    assert not (tmp_path / "one").exists()
    assert (tmp_path / "two" / "folder" / "kept").exists()


@pytest.mark.parametrize("cut", [0, 1, 40, -1])
def test_a_line_that_is_cut_off_is_the_end(cut: int, tmp_path: Path) -> None:
    pipe = BytesIO()
    send({"a": dt.date(2026, 1, 2), "b": Decimal("1.20")}, pipe, tmp_path)
    with pytest.raises(EOFError):
        receive(BytesIO(pipe.getvalue()[:cut]), tmp_path)


def test_a_file_that_is_cut_off_is_refused(tmp_path: Path) -> None:
    pipe = BytesIO()
    send(np.arange(9.0), pipe, tmp_path)
    (file,) = tmp_path.iterdir()
    os.truncate(file, 24)
    pipe.seek(0)
    with pytest.raises(Unfit, match="cut off"):
        receive(pipe, tmp_path)


def test_what_is_no_parcel_is_refused(tmp_path: Path) -> None:
    for said in (b"nonsense", pickle.dumps(1), pickle.dumps(("missing", [], b""))):
        with pytest.raises(Unfit):
            receive(BytesIO(len(said).to_bytes(8, "big") + said), tmp_path)


def test_models_are_made_without_being_checked_anew(tmp_path: Path) -> None:
    branch = demo_document().branches[0]
    back = there_and_back(branch, tmp_path)
    assert isinstance(back, Branch) and isinstance(back, BaseModel)
    assert back == branch and back.model_fields_set == branch.model_fields_set
