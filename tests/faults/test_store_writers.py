"""Many writers at once: every save counted, every reading kept, no lock error reaches anyone."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from brewwater.store import Store, make_engine

WORKER = Path(__file__).with_name("_store_worker.py")


@pytest.mark.parametrize(("programs", "pages", "times"), [(2, 1, 25), (4, 5, 4)], ids=["2", "20"])
def test_no_update_is_lost(store_url: str, programs: int, pages: int, times: int) -> None:
    store = Store(make_engine(store_url))
    store.create_unit("truck")
    children = [
        subprocess.Popen(
            [sys.executable, str(WORKER), "write", store_url, str(pages), str(times)], stdout=subprocess.PIPE, text=True
        )
        for _ in range(programs)
    ]
    reports = [json.loads(child.communicate(timeout=300)[0]) for child in children]
    assert [r["errors"] for r in reports] == [[]] * programs
    total = programs * pages * times
    assert sum(r["saved"] for r in reports) == total
    now = store.plan("truck")
    assert now is not None
    assert (now.version, now.document["count"]) == (total, total)
    assert len({line.id for line in store.readings("truck")}) == total
    store.engine.dispose()


def test_programs_that_open_an_empty_store_together(store_url: str) -> None:
    command = [sys.executable, "-c", OPEN, store_url]
    children = [subprocess.Popen(command, stderr=subprocess.PIPE, text=True) for _ in range(4)]
    errors = [child.communicate(timeout=120)[1] for child in children]
    assert [child.returncode for child in children] == [0] * 4, errors
    with Store(make_engine(store_url)) as store:
        assert [u.id for u in store.units()] == ["truck", "truck-2", "truck-3", "truck-4"]


OPEN = """
import sys
from brewwater.store import Store, make_engine
Store(make_engine(sys.argv[1])).create_unit("Truck")
"""
