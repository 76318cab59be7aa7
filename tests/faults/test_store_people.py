"""Person A cannot read, change or notice what is B's, by any id; and no text reaches the database as code."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import inspect

from brewwater.errors import InputError, StoreError
from brewwater.log.entry import Reading
from brewwater.store import NotAllowed, StaleSave, Store, UnknownUnit, make_engine

ANN, BEA = "ann@example.org", "bea@example.org"
DOCUMENT = {"schema_version": 1, "words": "Ann's plan"}
CALLS: dict[str, Callable[[Store, str], Any]] = {
    "unit": lambda s, ref: s.unit(ref),
    "plan": lambda s, ref: s.plan(ref),
    "version": lambda s, ref: s.plan(ref, 1),
    "history": lambda s, ref: s.history(ref),
    "save": lambda s, ref: s.save_plan(ref, DOCUMENT, 1),
    "restore_version": lambda s, ref: s.restore_version(ref, 1, 1),
    "readings": lambda s, ref: s.readings(ref),
    "rows": lambda s, ref: s.readings_as_rows(ref),
    "stamp": lambda s, ref: s.log_stamp(ref),
    "add": lambda s, ref: s.add_readings(ref, [line()]),
    "import": lambda s, ref: s.import_log(ref, "date,kind,value,unit\n2026-03-31,meter,1,gal\n"),
    "log csv": lambda s, ref: s.export_log(ref),
    "export": lambda s, ref: s.export_unit(ref),
    "rename": lambda s, ref: s.rename_unit(ref, "mine now"),
    "share": lambda s, ref: s.share(ref, BEA, True),
    "shared_with": lambda s, ref: s.shared_with(ref),
}
READS = {
    "unit",
    "plan",
    "version",
    "history",
    "readings",
    "rows",
    "stamp",
    "log csv",
    "export",
    "shared_with",
}


def line() -> Reading:
    return Reading(date="2026-03-31", kind="meter_gal", value=1, unit="gal")


@pytest.fixture
def ann(store_url: str) -> Store:
    store = Store(make_engine(store_url), ANN)
    store.create_unit("Truck")
    store.save_plan("truck", DOCUMENT, 0)
    store.add_readings("truck", [line()])
    return store


def refs(store: Store) -> list[str]:
    """Every spelling by which B might ask for A's unit."""
    return [
        "truck",
        "Truck",
        f"truck@{ANN}",
        f"TRUCK@{ANN}",
        f"truck@{ANN.upper()}",
        f"Truck@{ANN}",
        f"truck@{BEA}",
        "1",
        "0",
        "-1",
        "truck@",
        "@",
        f"@{ANN}",
        f"truck@{ANN}@{BEA}",
        f"truck@{ANN}\x00",
        "%",
        f"%@{ANN}",
        "_ruck",
        "truck@%",
        "*",
        "truck' OR '1'='1",
        f"x' UNION SELECT * FROM brewwater_plan --@{ANN}",
        f"truck@{ANN}' --",
        "../truck",
        f"../{ANN}/truck",
        "truck\x00",
        "truck;DROP TABLE brewwater_unit",
        "",
        " ",
        "t" * 100_000,
        "\ud800",
    ]


@pytest.mark.parametrize("call", CALLS)
def test_no_id_opens_what_is_not_shared(ann: Store, call: str) -> None:
    bea = Store(ann.engine, BEA)
    before = json.loads(ann.export_unit("truck"))["content"]
    assert bea.units() == []
    for ref in refs(ann):
        with pytest.raises((UnknownUnit, InputError)) as error:
            CALLS[call](bea, ref)
        assert "\n" not in str(error.value)
        assert len(str(error.value)) < 300
    # the answer is the same for a unit that is another's and for one that is nobody's
    for there, nowhere in ((f"truck@{ANN}", f"trick@{ANN}"), ("truck", "trick")):
        lines = []
        for ref in (there, nowhere):
            with pytest.raises(UnknownUnit) as error:
                CALLS[call](bea, ref)
            lines.append(str(error.value).replace("trick", "truck"))
        assert lines[0] == lines[1]
    assert json.loads(ann.export_unit("truck"))["content"] == before
    assert ann.shared_with("truck") == {}
    ann.engine.dispose()


def test_adding_by_name_never_lands_in_anothers_unit(ann: Store) -> None:
    bea = Store(ann.engine, BEA)
    bea.add_reading_text("truck", date="2026-03-31", kind="meter", value="5", unit="gal")
    assert len(ann.readings("truck")) == 1
    assert [u.owner for u in bea.units()] == [BEA]
    with pytest.raises(UnknownUnit):
        bea.add_reading_text(f"truck@{ANN}", date="2026-03-31", kind="meter", value="5", unit="gal")
    # and a file of Ann's restores as Bea's own, beside what she has
    ref = bea.restore_unit(ann.export_unit("truck"))
    assert bea.unit(ref).owner == BEA
    assert ref == "truck-2"
    ann.engine.dispose()


@pytest.mark.parametrize("may_edit", [False, True])
def test_what_sharing_allows(ann: Store, may_edit: bool) -> None:
    bea = Store(ann.engine, BEA)
    ann.share("truck", "Bea@Example.org", may_edit)
    ref = f"truck@{ANN}"
    assert [(u.ref, u.may_edit) for u in bea.units()] == [(ref, may_edit)]
    for name, call in CALLS.items():
        if name == "share":
            with pytest.raises(NotAllowed):
                call(bea, ref)
        elif name in READS or may_edit:
            call(bea, ref)
        else:
            with pytest.raises(NotAllowed):
                call(bea, ref)
    with pytest.raises(UnknownUnit):
        bea.plan("truck")  # her own name space stays hers
    ann.share("truck", BEA, None)
    with pytest.raises(UnknownUnit):
        bea.plan(ref)
    ann.engine.dispose()


def test_two_people_on_one_plan(ann: Store) -> None:
    ann.share("truck", BEA, True)
    bea = Store(ann.engine, BEA)
    assert bea.save_plan(f"truck@{ANN}", DOCUMENT | {"words": "Bea's"}, 1).saved_by == BEA
    with pytest.raises(StaleSave, match=f"saved by {BEA}"):
        ann.save_plan("truck", DOCUMENT | {"words": "Ann's"}, 1)
    ann.engine.dispose()


HOSTILE = [
    "'; DROP TABLE brewwater_plan; --",
    '" OR 1=1 --',
    "%s %(x)s {0} :name ?",
    "<script>alert(1)</script>",
    "$$; SELECT pg_sleep(9); $$",
    "\\'; --",
    "Robert'); --",
]


@pytest.mark.parametrize("text", HOSTILE)
def test_text_stays_text(ann: Store, text: str) -> None:
    tables = set(inspect(ann.engine).get_table_names())
    ref = ann.create_unit(text).ref
    assert ann.unit(ref).name == text
    ann.save_plan(ref, {"schema_version": 1, "x": text, text: 1}, 0, text)
    ann.add_readings(ref, [line().model_copy(update={"note": text, "where": text})])
    found = ann.plan(ref)
    assert found is not None
    assert (found.document["x"], found.document[text], found.note) == (text, 1, text)
    assert ann.readings(ref)[0].note == text
    other = Store(ann.engine, f"{text}@example.org".replace(" ", ""))
    assert other.units() == []
    with pytest.raises(StoreError):
        other.plan(f"truck@{ANN}")
    assert set(inspect(ann.engine).get_table_names()) == tables
    ann.engine.dispose()
