"""Random valid documents through the whole house: what a document may hold, the house must bear."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import os
import re
from collections.abc import Iterator
from typing import Any, get_args

import jsonschema
import pytest
from random_documents import random_document

from brewwater.log.entry import KINDS
from brewwater.output.calendar_file import calendar_file
from brewwater.output.result import plan_result, summary
from brewwater.output.result_schema import PlanResult
from brewwater.output.sheet.html import html_text
from brewwater.output.sheet.pages import pages
from brewwater.output.sheet.pdf import pdf_bytes
from brewwater.output.tables import csv_text, tables, workbook
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import load_document
from brewwater.treatment.stage import Medium

MANY = int(os.environ.get("BREWWATER_RANDOM_DOCUMENTS", "12"))
FIRST = int(os.environ.get("BREWWATER_RANDOM_FIRST", "0"))


def test_a_seed_gives_one_document_and_it_is_valid() -> None:
    assert random_document(7) == random_document(7) != random_document(8)
    for seed in range(60):
        document = load_document(random_document(seed))
        assert load_document(document.to_json()) == document


def test_the_documents_reach_what_a_document_may_hold() -> None:
    found = [load_document(random_document(seed)) for seed in range(200)]
    stages = [s for d in found for s in d.train or ()]
    assert {s.medium for s in stages} == set(get_args(Medium))
    assert {r.kind for d in found for r in d.readings} == set(KINDS)
    assert {len(d.train) for d in found if d.train is not None} == set(range(7))
    assert {len(d.readings) for d in found} >= {0, 1} and max(len(d.readings) for d in found) >= 250
    filtered = [sum(b.filtered for b in d.branches) / len(d.branches) for d in found]
    assert {0.0, 1.0} < set(filtered)
    assert any(
        s.branch and not b.filtered for d in found for s in d.train or () for b in d.branches if b.name == s.branch
    )
    assert any(d.in_service for d in found) and any(d.demand.calendar.closures for d in found)
    assert any(d.demand.calendar.suspensions for d in found) and any(len(d.supplies) == 3 for d in found)
    unused = [{s.name for s in d.supplies} - {f.supply for f in d.fill.fills} for d in found]
    assert any(unused) and {d.policy.risk for d in found} >= {None, 0.0, 1.0}


# What no reader should meet: a number with an exponent, one that is none, a pressure under nothing.
UNREADABLE = re.compile(r"\d[eE][+-]\d|\b(?:nan|inf|NaN|Infinity)\b|(?<![\w-])-\d[\d.,]* (?:psi|kPa|bar)\b")
SCHEMA = PlanResult.model_json_schema(mode="serialization")


def texts(x: Any) -> Iterator[str]:
    """Every text in a structure of records, mappings and rows."""
    if isinstance(x, str):
        yield x
    elif isinstance(x, dict):
        for value in x.values():
            yield from texts(value)
    elif isinstance(x, list | tuple):
        for value in x:
            yield from texts(value)
    elif dataclasses.is_dataclass(x):
        for field in dataclasses.fields(x):
            yield from texts(getattr(x, field.name))


def through_the_house(plan: Plan) -> Iterator[str]:
    """Every text that is made of a plan: JSON, terminal, sheets, tables and calendar, each as it is handed on."""
    result = plan_result(plan)
    handed = result.model_dump_json()
    plain = json.loads(handed)
    jsonschema.validate(plain, SCHEMA)
    assert not {"NaN", "Infinity"} & set(re.findall(r"\w+", handed))
    yield from (text.replace(plan.stamp, "") for text in texts(plain))
    for check in plain["fit"]:
        assert check["unit"] != "psi" or check["value"] is None or check["value"] >= 0, check
    yield summary(plan).replace(plan.stamp, "")
    printed = pages(plan, result)
    assert len(printed) >= 10 and html_text(printed, "x") and pdf_bytes(printed, "x", "A4").startswith(b"%PDF")
    yield from (text.replace(plan.stamp, "") for text in texts(printed))
    rows = tables(plan, result)
    assert all(csv_text(table) for table in rows.values()) and workbook(rows)
    yield from texts(rows)
    kept = calendar_file(plan, dt.datetime(2026, 1, 1, tzinfo=dt.UTC)).decode().replace("\r\n ", "")
    yield from (line for line in kept.splitlines() if not line.startswith(("UID", "X-WR")))


def unreadable(document: dict[str, Any], search: bool = False) -> list[str]:
    """What a reader would stumble on, with the words around it."""
    plan = make_plan(load_document(document), search=search)
    found = []
    for text in through_the_house(plan):
        found += [text[max(m.start() - 50, 0) : m.end() + 20] for m in UNREADABLE.finditer(text)]
    return found


@pytest.mark.parametrize("seed", range(FIRST, FIRST + MANY))
def test_a_document_passes_the_whole_house(seed: int) -> None:
    assert unreadable(random_document(seed)) == []


@pytest.mark.parametrize("seed", range(FIRST, FIRST + max(MANY // 12, 1)))
def test_a_document_is_searched(seed: int) -> None:
    document = random_document(1000 + seed)
    document.pop("train", None)
    few = document | {"settings": {"draws": 16}, "readings": document["readings"][:20]}
    assert unreadable(few, search=True) == []
