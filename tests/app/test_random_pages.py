"""Every page opens on random documents, without an error and without a number that nobody can read."""

from __future__ import annotations

import os
import re

import pytest
from random_documents import random_document

from brewwater.plan import make_plan
from brewwater.planning.document import load_document
from brewwater.web.router import PAGES

MANY = max(int(os.environ.get("BREWWATER_RANDOM_DOCUMENTS", "12")) // 6, 1)
FIRST = int(os.environ.get("BREWWATER_RANDOM_FIRST", "0"))
UNREADABLE = re.compile(r"\d[eE][+-]\d\d|\b(?:nan|inf)\b|(?<![\w-])-\d[\d.,]* (?:psi|kPa|bar)\b")


@pytest.mark.parametrize("seed", range(FIRST, FIRST + MANY))
def test_every_page_opens(seed: int, front_of, few_draws) -> None:
    document = few_draws(load_document(random_document(seed)))
    front = front_of(document, make_plan(document, search=False))
    for stop in PAGES:
        front.go(stop.address)
        assert front.errors() == [], stop.address
        shown = [*(c.value for c in front.at.caption), *(m.value for m in front.at.markdown), front.html()]
        found = [t[max(m.start() - 40, 0) : m.end() + 20] for t in shown for m in UNREADABLE.finditer(t)]
        assert not found, (stop.address, found[:3])
