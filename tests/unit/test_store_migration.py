"""Documents of every earlier format can be opened. The plan document is at format 1; the chain is ready."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from brewwater.errors import InputError
from brewwater.store import Migrations, Store, make_engine, migrate, plans

FIRST = {"schema_version": 1, "drinks": 120, "town": {"name": "A"}}


def chain() -> Migrations:
    steps = Migrations()

    @steps.step(1)
    def _(found: dict[str, Any]) -> dict[str, Any]:
        found["drinks_per_day"] = found.pop("drinks")
        return found

    @steps.step(2)
    def _(found: dict[str, Any]) -> dict[str, Any]:
        found["towns"] = [found.pop("town")]
        return found

    return steps


def test_each_step_runs_once_and_what_was_given_is_not_changed() -> None:
    before = {"schema_version": 1, "drinks": 120, "town": {"name": "A"}}
    after = {"schema_version": 3, "drinks_per_day": 120, "towns": [{"name": "A"}]}
    assert chain()(before) == after
    assert before == FIRST
    assert chain()(after) is after
    assert chain()({"schema_version": 2, "drinks_per_day": 1, "town": 2}) == {
        "schema_version": 3,
        "drinks_per_day": 1,
        "towns": [2],
    }


def test_the_chain_of_the_plan_document_starts_at_format_1() -> None:
    assert migrate(FIRST) is FIRST
    assert migrate.newest == 1
    assert migrate({"drinks": 1}) == {"schema_version": 1, "drinks": 1}  # none stated: the first format


@pytest.mark.parametrize("version", ["1", None, 1.0, True, 0, -1, 4])
def test_versions_that_are_not_known(version: object) -> None:
    with pytest.raises(InputError, match="schema_version"):
        chain()({"schema_version": version})


def test_steps_come_without_a_gap() -> None:
    with pytest.raises(ValueError, match="starts at version 1"):
        Migrations().step(2)(lambda found: found)


def test_a_plan_saved_in_the_first_format_opens(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    url = f"sqlite:///{tmp_path / 's.sqlite3'}"
    with Store(make_engine(url)) as store:
        store.create_unit("truck")
        store.save_plan("truck", FIRST, 0)
    monkeypatch.setattr(plans, "migrate", chain())
    with Store(make_engine(url)) as store:
        found = store.plan("truck")
        assert found is not None
        assert found.saved_as == FIRST  # what was saved stays as it was
        assert found.document == {"schema_version": 3, "drinks_per_day": 120, "towns": [{"name": "A"}]}
        assert store.restore_version("truck", 1, 1).saved_as["schema_version"] == 3
