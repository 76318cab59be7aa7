"""Whatever the log says, the plan stands: finite weights, neutral waters, every line used or flagged or kept."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from brewwater.planning.candidate import route
from brewwater.planning.cartridges import cartridge
from brewwater.planning.correction import correct
from brewwater.planning.document import demo_document, load_document
from brewwater.planning.scenario import prepare

UNITS = {
    "meter_gal": "gal",
    "drinks_sold": "",
    "pressure_in_psi": "psi",
    "pressure_out_psi": "psi",
    "hardness": "mg/L",
    "alkalinity": "mg/L",
    "conductivity": "uS/cm",
    "tds": "mg/L",
    "total_chlorine": "mg/L",
    "free_chlorine": "mg/L",
    "chloride": "mg/L",
    "ph": "1",
    "changed_cartridge": "",
    "sanitised": "",
    "descaled": "",
    "lay_up": "",
    "taste_note": "",
}
EVENTS = ("changed_cartridge", "sanitised", "descaled", "lay_up", "taste_note")
PLACES = ["", "source", "served", "Chalkworth", "Saltmarsh End", "Espresso machine", "Carbon", "Resin", "Elsewhere"]
BASE: dict[str, Any] = demo_document().model_dump(mode="json") | {
    "train": [{"name": "Carbon", "medium": "carbon"}, {"name": "Resin", "medium": "weak_acid", "bypass_percent": 20}],
    "settings": {"draws": 64, "seed": 1},
}
START = dt.date.fromisoformat(BASE["demand"]["calendar"]["start"])


@st.composite
def lines(draw: st.DrawFn) -> dict[str, Any]:
    kind = draw(st.sampled_from(sorted(UNITS)))
    value = draw(st.one_of(st.floats(0, 14), st.floats(0, 2000), st.sampled_from([0.0, 1e9])))
    return {
        "date": (START + dt.timedelta(days=draw(st.integers(-1500, 900)))).isoformat(),
        "kind": kind,
        "value": None if kind in EVENTS else value,
        "unit": UNITS[kind],
        "where": draw(st.sampled_from(PLACES)),
        "method": draw(st.sampled_from(["lab", "drop_kit", "meter", "strip", "typed", "unknown"])),
    }


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(lines(), max_size=25), st.booleans())
def test_any_log_leaves_a_plan_that_stands(log: list[dict[str, Any]], placed: bool) -> None:
    in_service = [{"stage": "Carbon", "installed": (START - dt.timedelta(days=90)).isoformat(), "used": [0.1, 0.3]}]
    document = load_document(BASE | {"readings": log, "in_service": in_service if placed else []})
    prior = prepare(document)
    found = correct(prior, document.train)
    weights = found.scenario.weights
    assert np.all(np.isfinite(weights))
    assert np.all(weights >= 0)
    assert weights.sum() > 0
    for water in found.scenario.supply_waters:
        assert np.abs(water.totals.charge_imbalance).max() < 1e-9
    loads = route(found.scenario, document.train or (), document.branches).loads
    for stage in document.train or ():
        for due in cartridge(found.scenario, stage, loads[stage.name]).alone.dues:
            assert due.early is not None
            assert due.early <= due.date
            assert due.late is None or due.date <= due.late
    ids = {r.id for r in document.readings}
    assert {f.reading_id for f in found.flags} <= ids
    assert {i for d in found.diagnoses for i in d.reading_ids if i} <= ids
