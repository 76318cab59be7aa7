"""Plan and fact as a page: this truck's changes, and what all trucks tell."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

from lived import firm

from brewwater.planning.document import PlanDocument
from brewwater.store import Store


def test_plan_and_fact_over_four_trucks(front: Any) -> None:
    front.go("fact")
    assert any("Nothing to compare yet" in i.value for i in front.at.info)
    units = firm(4, seed=11, draws=64)
    front = type(front)(units[0].document)
    with Store.open_default() as store:
        for unit in units[1:]:
            ref = store.create_unit(unit.document.name).ref
            store.save_plan(ref, unit.document.model_dump(mode="json"), 0)
    front.go("fact")
    assert front.errors() == []
    shown = front.html()
    assert "used up: after" in shown
    assert "no test shows" in shown  # of the sediment cartridge
    front.at.button(key="fleet_work").click()
    front.run()
    assert "Life of softener" in front.html()
    front.at.button(key="fleet_use").click()
    front.run()
    assert front.errors() == []
    typed: PlanDocument = front.desk.typed
    assert typed.own_units is not None
    assert typed.own_units.units == 3
    assert any("your own 3 units" in m.value for m in front.at.markdown)
    front.at.button(key="fleet_forget").click()
    front.run()
    assert front.desk.typed.own_units is None
