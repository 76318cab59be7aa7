"""What is bought and done to build a unit: sizes, adapters and sanitising on the printed sheet."""

from __future__ import annotations

from typing import Any

import pytest

from brewwater.output.result import plan_result
from brewwater.output.sheet.branches import weight_rows
from brewwater.output.sheet.building import adapters_section, sanitise_section, sized, sizes_section
from brewwater.output.sheet.pages import pages, tree_of
from brewwater.output.tables import tables
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import load_document, mobile_template
from brewwater.plumbing.tanks import lb_per_gal

SHEET = {"service_flow_gpm": 2, "clean_pressure_drop_psi": 2, "drop_at_flow_gpm": 2, "connection": "3/8 in NPT"}
CARBON = {"name": "Carbon", "medium": "carbon", "sheet": SHEET}
MEMBRANE = {
    "name": "Membrane",
    "medium": "reverse_osmosis",
    "recovery": 0.5,
    "sheet": {"rated_output_gal_per_day": 50, "rated_pressure_psi": 60, "connection": "3/8 in BSP"},
}


def plan(*train: dict[str, Any], **unit: Any) -> Plan:
    made = mobile_template().model_dump()
    made["unit"].update(unit)
    made["train"] = list(train)
    made["settings"]["draws"] = 64
    return make_plan(load_document(made), search=False)


def cells(made: Plan, key: str) -> str:
    return str(next(p for p in pages(made) if p.key == key))


def test_adapters_are_on_the_shopping_list_with_the_warning() -> None:
    made = plan(CARBON, MEMBRANE)
    table = adapters_section(tree_of(made)).table
    assert table is not None
    rows = {row[1]: row for row in table.rows}
    assert rows["3/8 in BSP to 3/8 in NPT"][0] == "1"  # carbon to membrane
    assert "start to screw together" in rows["3/8 in BSP to 3/8 in NPT"][3]
    assert "3/8 in BSP to 3/8 in NPT" in cells(made, "shopping")


def test_sizes_pass_the_busiest_day_and_are_printed() -> None:
    made = plan(CARBON, MEMBRANE, fills_per_day=2)
    found = sized(made)
    by = {(c.check, c.part): c for c in found.checks}
    assert by["peak_day_fills", "tanks"].ok is True
    assert by["pump_flow", "pump"].ok is True
    # the membrane's tank bridges what it cannot make in the hours of service; without it the day runs short
    output = next(c for c in found.checks if c.check == "membrane_output")
    assert output.ok is True
    assert found.unit.product_tank_gal is not None
    assert output.value is not None
    assert output.limit is not None
    assert output.value - found.unit.product_tank_gal < output.limit
    assert found.unit.repump is not None
    printed = cells(made, "shopping")
    for part, why in found.reasons:
        assert part in printed
        assert why in printed


def test_a_membrane_of_unknown_output_is_not_sized() -> None:
    bare = {**MEMBRANE, "sheet": {}}
    found = sized(plan(CARBON, bare))
    assert found.unit.product_tank_gal is None
    assert ("membrane's storage tank", "not sized: the membrane's rated output is not given") in found.reasons


def test_a_day_that_no_usual_tank_holds_says_so() -> None:
    made = mobile_template().model_dump()
    made["train"], made["settings"]["draws"] = [], 1
    made["demand"]["fixed"][0]["gal_per_service_day"] = 900
    section = sizes_section(make_plan(load_document(made), search=False))
    assert section.table is None
    assert section.lines[0].startswith("tank: ")


def test_sanitising_is_printed_for_this_tank_before_opening_again() -> None:
    made = plan(CARBON, fresh_tank_gal=30)
    winter = next(p for p in pages(made) if p.key == "winter")
    headings = [s.heading for s in winter.sections]
    assert headings.index("Sanitise") < headings.index("Open again")
    (section,) = sanitise_section(made, tree_of(made))
    order = [i for i, line in enumerate(section.lines) if "cartridge of Carbon out" in line or "Half fill" in line]
    assert len(order) == 2
    assert order == sorted(order)
    assert "usual one of its kind" not in section.lines[0]
    dose = next(line for line in section.lines if "Half fill" in line)
    assert f"add {30 * 0.13:.3g} fl oz" in dose
    # 0.13 fl oz of 6 % in a gallon: 0.13 x 29.5735 mL x 60 mg/mL / 3.78541 L
    assert f"{0.13 * 29.5735 * 60 / 3.78541:.0f} mg/L" in dose
    assert "usual one of its kind" in sanitise_section(plan(CARBON), tree_of(made))[0].lines[0]
    assert sanitise_section(plan(CARBON, kind="shop"), tree_of(made)) == ()


def test_each_branch_says_what_filtering_it_costs() -> None:
    made = plan({**CARBON, "sheet": {**SHEET, "price": 60, "rated_gal": 900}}, kind="truck")
    result = plan_result(made)
    by = {b.name: b for b in result.branches}
    spent = next(line.amount for line in result.yearly_cost.lines if line.name == "Cartridges: Carbon")
    machine, rinser = by["Espresso machine"], by["Pitcher rinser"]
    # the only filtered branch uses all of the life and bears the whole of the cartridges, in each draw
    assert machine.filter_life_share.p10 == machine.filter_life_share.p90 == 1
    assert machine.filtering_cost.p50 == pytest.approx(spent, rel=1e-3)
    assert rinser.filtering_cost.p50 is not None
    assert rinser.filtering_cost.p50 > 0
    assert "behind them it would use" in rinser.advice
    assert by["Hand sink"].if_not_filtered == "no machine on it"
    rows = tables(made, result)["branches"]
    assert dict(zip(rows[0], rows[1], strict=True))["filtering_cost_p50"] == machine.filtering_cost.p50


def test_weight_in_four_states_in_both_units() -> None:
    weights = {
        "empty_lb": 4000,
        "hitch_in": 120,
        "track_in": 60,
        "fresh_at": {"ahead_in": 24},
        "product_at": {"left_in": 20},
    }
    tanks = {"fresh_tank_gal": 30, "waste_tank_gal": 35, "product_tank_gal": 5}
    made = plan(CARBON, MEMBRANE, weights=weights, **tanks)
    rows = {row[0]: row for row in weight_rows(made)}
    assert set(rows) == {"empty", "fresh full", "half served", "waste full"}
    assert rows["empty"][1:3] == ("4,000", "1,814")
    per_gal = lb_per_gal(made.document.unit.water_C)
    assert rows["fresh full"][1] == f"{4000 + 35 * per_gal:,.0f}"
    assert rows["fresh full"][3] == f"{3000 * per_gal * 24 / 120 / (4000 + 35 * per_gal):.1f} %"
    assert rows["waste full"][4] == f"{50 + 500 * per_gal * 20 / 60 / (4000 + 40 * per_gal):.1f} %"
    assert "half served" in cells(made, "inspector")
    assert weight_rows(plan(CARBON)) == ()


def test_changing_a_cartridge_says_how_much_to_flush_and_where_to() -> None:
    made = plan({**CARBON, "sheet": {**SHEET, "flush_gal": [3, 4, 5]}})
    assert "Flush it to waste, 3 to 5 gal: have that much room in the waste tank" in cells(made, "swap")
    plumbed = plan({**CARBON, "sheet": {**SHEET, "flush_gal": [3, 4, 5]}}, kind="shop")
    assert "Flush it to waste, 3 to 5 gal. Then" in cells(plumbed, "swap")
