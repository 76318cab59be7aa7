"""The potability gate: it stops, warns or says it cannot tell; it never sells a filter."""

from __future__ import annotations

from datetime import date

import pytest

from brewwater.reference import table
from brewwater.reports.analysis import Supply
from brewwater.verdicts import Potability, potability
from brewwater.verdicts.measure import Status
from brewwater.verdicts.safety import _limit_in_plan_units

# An invented report that covers the gate, every figure lawful.
CLEAN: dict[str, dict[str, object]] = {
    "e_coli": {"value": 0, "unit": "count"},
    "nitrate": {"value": [0.8, 1.4, 2.1], "unit": "mg/L", "basis": "N"},
    "nitrite": {"value": [0, 0.02], "unit": "mg/L", "basis": "N", "below_detection": True},
    "arsenic": {"value": [0, 2], "unit": "µg/L", "below_detection": True},
    "lead": {"value": 2.3, "unit": "µg/L"},
    "copper": {"value": 0.21, "unit": "mg/L"},
    "fluoride": {"value": 0.7, "unit": "mg/L"},
}


def supply(
    changes: dict[str, dict[str, object] | None] | None = None, *, method: str = "report", **facts: object
) -> Supply:
    merged = {**CLEAN, **(changes or {})}
    rows = {a: {"method": method, **row} for a, row in merged.items() if row is not None}
    return Supply.model_validate({"name": "Weir Street", "analysis": rows, **facts})


def gate(changes: dict[str, dict[str, object] | None] | None = None, **facts: object) -> Potability:
    return potability(supply(changes, **facts))  # type: ignore[arg-type]


def test_a_report_that_covers_the_gate_is_ok_and_says_how_far() -> None:
    found = gate()
    assert (found.verdict.status, found.uncovered) == ("ok", ())
    assert "not a potability tool" in found.verdict.why


@pytest.mark.parametrize("analyte", CLEAN)
def test_any_analyte_left_out_is_unknown_and_named(analyte: str) -> None:
    found = gate({analyte: None})
    assert found.verdict.status == "unknown"
    assert len(found.uncovered) == 1
    assert found.uncovered[0] in found.verdict.why


@pytest.mark.parametrize("method", ["typed", "strip", "drop_kit", "meter", "unknown"])
def test_only_a_report_or_a_laboratory_covers(method: str) -> None:
    assert gate(method=method).verdict.status == "unknown"


def test_nothing_known_is_unknown() -> None:
    found = potability(Supply(name="Ferry Road"))
    assert found.verdict.status == "unknown"
    assert len(found.uncovered) == len(table("potability_gate"))


@pytest.mark.parametrize(
    ("changes", "status"),
    [
        ({"nitrate": {"value": 9.9, "unit": "mg/L", "basis": "N"}}, "ok"),
        ({"nitrate": {"value": 10.2, "unit": "mg/L", "basis": "N"}}, "stop"),
        ({"nitrate": {"value": [2, 3, 10.2], "unit": "mg/L", "basis": "N"}}, "stop"),  # acute: the top counts
        ({"nitrate": {"value": 43, "unit": "mg/L", "basis": "NO3"}}, "ok"),
        ({"nitrate": {"value": 46, "unit": "mg/L", "basis": "NO3"}}, "stop"),
        ({"arsenic": {"value": 9, "unit": "µg/L"}}, "ok"),
        ({"arsenic": {"value": 11, "unit": "µg/L"}}, "stop"),
        ({"arsenic": {"value": [4, 6, 12], "unit": "µg/L"}}, "watch"),  # average lawful
        ({"lead": {"value": 16, "unit": "µg/L"}}, "stop"),
        ({"lead": {"value": 12, "unit": "µg/L"}}, "watch"),  # over the EU's and the coming US figure
        ({"copper": {"value": 1.4, "unit": "mg/L"}}, "stop"),
        ({"fluoride": {"value": 4.2, "unit": "mg/L"}}, "stop"),
        ({"iron": {"value": 0.5, "unit": "mg/L"}}, "watch"),
        ({"manganese": {"value": 0.09, "unit": "mg/L"}}, "watch"),
        ({"total_dissolved_solids": {"value": 620, "unit": "mg/L"}}, "ok"),  # shown, but no matter of safety
    ],
)
def test_limits(changes: dict[str, dict[str, object] | None], status: Status) -> None:
    assert gate(changes).verdict.status == status


def test_eu_nitrite_is_stricter_and_nitrate_wider() -> None:
    # 0.6 mg/L nitrite as NO2 is lawful in the US (1 as N = 3.3 as NO2) and over the EU's 0.5
    town = supply({"nitrite": {"value": 0.6, "unit": "mg/L", "basis": "NO2"}})
    assert potability(town).verdict.status == "watch"
    assert potability(town, law="eu").verdict.status == "stop"
    town = supply({"nitrate": {"value": 11.0, "unit": "mg/L", "basis": "N"}})  # 48.7 as NO3
    assert potability(town).verdict.status == "stop"
    assert potability(town, law="eu").verdict.status == "watch"


def test_nitrate_and_nitrite_together() -> None:
    town = supply(
        {
            "nitrate": {"value": 45, "unit": "mg/L", "basis": "NO3"},
            "nitrite": {"value": 0.4, "unit": "mg/L", "basis": "NO2"},
        }
    )
    found = potability(town, law="eu")  # 0.90 + 0.13 = 1.03, each lawful alone
    assert found.verdict.status == "stop"
    assert "1.03" in found.verdict.why


def test_limits_are_dated() -> None:
    town = supply({"lead": {"value": 12, "unit": "µg/L"}})
    now = potability(town, on=date(2026, 11, 25))
    later = potability(town, on=date(2027, 11, 2))
    assert "holds from 2027-11-01" in now.verdict.why
    assert (now.verdict.status, later.verdict.status) == ("watch", "stop")


def test_lead_is_said_to_come_from_sampled_homes() -> None:
    assert "sampled homes" in gate({"lead": {"value": 16, "unit": "µg/L"}}).verdict.why


def test_a_detection_limit_above_the_law_decides_nothing() -> None:
    found = gate({"arsenic": {"value": [0, 25], "unit": "µg/L", "below_detection": True}})
    assert found.verdict.status != "stop"
    assert found.verdict.status != "ok"


FACTS: list[dict[str, object]] = [
    {"notice": "boil_water"},
    {"notice": "do_not_drink"},
    {"violation_reported": True},
]


@pytest.mark.parametrize("facts", FACTS)
def test_notice_or_violation_stops(facts: dict[str, object]) -> None:
    found = gate(**facts)
    assert found.verdict.status == "stop"
    assert "authority" in found.verdict.why


def test_one_positive_sample_without_a_violation_warns_and_cites_the_row() -> None:
    found = gate({"e_coli": {"value": [0, 1], "unit": "count", "text": "E. coli 1 of 300, violation No"}})
    assert found.verdict.status == "watch"
    assert "1 of 300" in found.verdict.why
    assert "141.860" in found.verdict.source
    stopped = gate({"e_coli": {"value": [0, 1], "unit": "count"}}, violation_reported=True)
    assert stopped.verdict.status == "stop"


@pytest.mark.parametrize("analyte", ["e_coli", "fecal_coliform", "total_coliform"])
def test_any_germ_warns_and_none_found_does_not(analyte: str) -> None:
    assert gate({analyte: {"value": 2, "unit": "count"}}).verdict.status == "watch"
    assert gate({analyte: {"value": [0, 1], "unit": "count", "below_detection": True}}).verdict.status == "ok"


def test_wells() -> None:
    untested = gate({"e_coli": None}, kind="well")
    assert untested.verdict.status == "stop"
    assert "germs" in untested.verdict.why
    assert gate(kind="well").verdict.status == "ok"
    assert gate({"e_coli": {"value": 1, "unit": "count"}}, kind="well").verdict.status == "stop"
    assert potability(Supply(name="Bore", kind="well")).verdict.status == "stop"


def test_stop_names_value_limit_and_authority_and_never_a_remedy() -> None:
    why = gate({"nitrate": {"value": 12, "unit": "mg/L", "basis": "N"}}).verdict.why
    assert "Nitrate 12 mg/L as N against the US federal limit of 10 mg/L as N" in why
    assert "call the water authority" in why
    iron = gate({"iron": {"value": 0.5, "unit": "mg/L"}})
    for verdict in (iron.verdict, gate(notice="boil_water").verdict):
        text = f"{verdict.why} {verdict.flip}".lower()
        for remedy in ("carbon", "cartridge", "softener", "osmosis", "install"):
            assert remedy not in text


def test_every_row_of_the_limits_can_be_compared() -> None:
    for row in table("legal_limits"):
        if row["kind"] == "germ":
            continue
        assert _limit_in_plan_units(row["high"], row["unit"], row["analyte"], row["basis"]) > 0


@pytest.mark.parametrize(
    ("law", "analyte", "value", "unit", "status"),
    [
        ("us_federal", "uranium", 0.1, "mg/L", "stop"),
        ("us_federal", "uranium", 29, "µg/L", "ok"),
        ("us_federal", "radium", 6, "pCi/L", "stop"),
        ("us_federal", "radium", 0.19, "Bq/L", "stop"),  # 5.1 pCi/L
        ("us_federal", "radium", 0.18, "Bq/L", "ok"),  # 4.9
        ("us_federal", "gross_alpha", 16, "pCi/L", "stop"),
        ("us_federal", "beryllium", 5, "µg/L", "stop"),
        ("us_federal", "thallium", 0.003, "mg/L", "stop"),
        ("us_federal", "cyanide", 0.25, "mg/L", "stop"),
        ("us_federal", "chlorite", 1.1, "mg/L", "stop"),
        ("eu", "cadmium", 0.02, "mg/L", "stop"),
        ("eu", "chromium", 30, "µg/L", "watch"),  # 50 until 2036, 25 from then
        ("eu", "mercury", 2, "µg/L", "stop"),
        ("eu", "trihalomethanes", 90, "µg/L", "watch"),  # over the US limit, which is not the law here
        ("eu", "pfoa", 150, "ng/L", "stop"),
        ("who", "cadmium", 0.004, "mg/L", "stop"),
        ("who", "uranium", 40, "µg/L", "stop"),
    ],
)
def test_metals_radionuclides_and_by_products(law: str, analyte: str, value: float, unit: str, status: Status) -> None:
    found = potability(supply({analyte: {"value": value, "unit": unit}}), law=law)  # type: ignore[arg-type]
    assert found.verdict.status == status, found.verdict.why
