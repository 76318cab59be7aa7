"""One plan, one status: the JSON, the sheet, the first page and the page of the unit say the same of random documents.

``BREWWATER_STATUS_DOCUMENTS`` sets how many are tried (a few in CI).
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from typing import Any

import pytest
from random_documents import random_document

from brewwater.output.result import plan_result
from brewwater.output.result_schema import PlanResult
from brewwater.output.sheet.cards import inspector_sheet
from brewwater.output.sheet.pages import pages
from brewwater.output.vocabulary import CHECKS, STATUS, SUBJECT, fit_word, met
from brewwater.plan import make_plan
from brewwater.planning.document import PlanDocument, load_document

MANY = int(os.environ.get("BREWWATER_STATUS_DOCUMENTS", "2"))


def documents() -> list[int]:
    """Seeds of documents with a train of their own: nothing is to be searched."""
    found = (seed for seed in range(10_000) if random_document(seed).get("train"))
    return [next(found) for _ in range(MANY)]


def of_json(result: PlanResult, water: str) -> dict[str, str]:
    main = result.served[0].branch
    return {v.subject: v.status for v in result.verdicts if v.water == water and v.branch in (None, main)}


def of_page(html: str) -> dict[str, list[str]]:
    """Words of the badges, as it comes and served, by subject."""
    cards = re.findall(r'data-subject="(\w+)">(.*?)<details>', html, re.S)
    return {subject: re.findall(r"bw-badge[^>]*><span[^>]*>[^<]*</span> ([^<]+)<", card) for subject, card in cards}


@pytest.mark.parametrize("seed", documents())
def test_every_status_is_the_same_everywhere(
    seed: int, open_page: Callable[..., Any], few_draws: Callable[[PlanDocument], PlanDocument]
) -> None:
    document = few_draws(load_document(random_document(seed)))
    plan = make_plan(document, search=False)
    result = plan_result(plan)
    before, after = of_json(result, "source"), of_json(result, "served")
    front = open_page(document, plan)
    shown = of_page(front.html())
    assert set(shown) == set(before)
    for subject, words in shown.items():
        wanted = [STATUS.label(before[subject]), STATUS.label(after.get(subject, before[subject]))]
        assert words == wanted[: len(words)], (seed, subject)
    printed = {row[0]: row[1:] for p in pages(plan, result) for s in p.sections if s.table for row in s.table.rows}
    for subject in before:
        cells = printed[SUBJECT.label(subject)]
        assert cells[0].split(",")[0] == STATUS.label(before[subject])
        if subject in after:
            assert cells[1].split(",")[0] == STATUS.label(after[subject])
    # the checks of the unit: the inspector's sheet and the page of the unit
    told = [(CHECKS.label(c.check), fit_word(c.ok, c.assumed)) for c in result.fit]
    rows = [
        (row[0], row[3])
        for s in inspector_sheet(plan, result).sections
        if s.table
        for row in s.table.rows
        if len(row) == 5
    ]
    assert told == rows
    page = front.go("tanks").html()
    badges = re.findall(r'bw-label">([^<]+)</span><span class="bw-badge bw-(\w+)"', page)
    order = ("act", "watch", "unknown", "ok")
    wanted_badges = sorted((met(c.ok, c.assumed) for c in result.fit), key=order.index)
    assert [
        status for label, status in badges if label.split(":")[0] in {CHECKS.label(k) for k in CHECKS}
    ] == wanted_badges
