"""Random valid documents through the whole house: what a document may hold, the house must bear."""

from __future__ import annotations

import os
from typing import get_args

from random_documents import random_document

from brewwater.log.entry import KINDS
from brewwater.planning.document import load_document
from brewwater.treatment.stage import Medium

MANY = int(os.environ.get("BREWWATER_RANDOM_DOCUMENTS", "12"))


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
