"""Printed values and labels, one by one."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from brewwater.reports.names import read_label
from brewwater.reports.values import decimal_mark, read_value


@pytest.mark.parametrize(
    ("text", "mark", "low", "typical", "high", "below"),
    [
        ("39", ".", 39, 39, 39, False),
        ("0.230*", ".", 0.23, 0.23, 0.23, False),
        ("8.65--9.43", ".", 8.65, None, 9.43, False),
        ("7,4 bis 8,1", ",", 7.4, None, 8.1, False),
        ("2.4–53", ".", 2.4, None, 53, False),
        ("0.017 -\n0.049", ".", 0.017, None, 0.049, False),
        ("<2.0", ".", 0, None, 2, True),
        ("< 0,05", ",", 0, None, 0.05, True),
        ("ND", ".", 0, None, None, True),
        ("ND-40", ".", 0, None, 40, True),
        ("n.n.", ",", 0, None, None, True),
        ("45 (40-52)", ".", 40, 45, 52, False),
        ("1,000", ".", 1000, 1000, 1000, False),
        ("12,5", ",", 12.5, 12.5, 12.5, False),
        ("12.0{1}", ".", 12, 12, 12, False),
        ("120 mg/L", ".", 120, 120, 120, False),
        (">100", ".", 100, None, None, False),
        ("(4.5-14.6)", ".", 4.5, None, 14.6, False),
        ("<0.1-0.5", ".", 0, None, 0.5, True),
    ],
)
def test_a_value(text: str, mark: str, low: float, typical: float, high: float, below: bool) -> None:
    value = read_value(text, mark)  # type: ignore[arg-type]
    assert value is not None
    assert (value.low, value.typical, value.high, value.below_detection) == (low, typical, high, below)


@pytest.mark.parametrize("text", ["", "N/A", "NR", "No", "June 2018", "Highest LRAA = 28{E}", "-", "see note", "word"])
def test_no_value(text: str) -> None:
    assert read_value(text) is None


@pytest.mark.parametrize(
    ("text", "mark", "doubt"),
    [
        ("13-Aug", ".", "date_not_range"),
        ("2018-08-13 00:00:00", ".", "date_not_range"),
        ("=1+1", ".", "formula"),
        ("1.000", "?", "decimal_mark"),
        ("1.234", ",", ""),
        ("12,5", ".", "decimal_mark"),
        ("12 345", ".", "decimal_mark"),
        ("5.9 1", ".", "several_values"),
        ("245 {1} 120 {2}", ".", "several_values"),
        ("ND - 18 {1}", ".", "footnoted"),
        ("0.35 - 0.92 (0.28 - 0.89)", ".", "several_values"),
        ("9-4", ".", "range_reversed"),
        (">5", ".", "no_upper_end"),
    ],
)
def test_a_doubt_is_kept(text: str, mark: str, doubt: str) -> None:
    value = read_value(text, mark)  # type: ignore[arg-type]
    assert value is not None
    assert doubt in value.doubts if doubt else not value.doubts


def test_a_second_figure_in_brackets_stays_apart() -> None:
    value = read_value("70 [4.1]")
    assert value is not None
    assert (value.typical, value.aside) == (70, 4.1)


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=80))
def test_any_text_is_read_without_an_error(text: str) -> None:
    read_value(text)
    read_value(text, ",")
    read_label(text)


@settings(max_examples=100, deadline=None)
@given(st.decimals(0, 9999, places=2), st.decimals(0, 9999, places=2))
def test_a_printed_range_is_read_back(a: object, b: object) -> None:
    low, high = sorted((float(str(a)), float(str(b))))
    value = read_value(f"{low:.2f} - {high:.2f}")
    assert value is not None
    assert (value.low, value.high) == (low, high)
    comma = read_value(f"{low:.2f}-{high:.2f}".replace(".", ","), ",")
    assert comma is not None
    assert (comma.low, comma.high) == (low, high)


def test_the_decimal_mark_is_counted() -> None:
    assert decimal_mark(["1,5", "2,25", "1.000"]) == ","
    assert decimal_mark(["1.5", "1,000"]) == "."
    assert decimal_mark(["1.000", "12"]) == "?"


@pytest.mark.parametrize(
    ("text", "analyte", "basis", "unit"),
    [
        ("Total Hardness (as CaCO3)", "total_hardness", "CaCO3", None),
        ("Hardness, total", "total_hardness", None, None),
        ("Gesamthärte in °dH", "total_hardness", None, "dH"),
        ("Säurekapazität bis pH 4,3", "alkalinity", None, None),
        ("K_S4,3", "alkalinity", None, None),
        ("Nitrate-N", "nitrate", "N", None),
        ("Nitrate (as N)", "nitrate", "N", None),
        ("Calcium hardness", "calcium", "CaCO3", None),
        ("Bicarbonate Alkalinity", "bicarbonate", "?", None),
        ("E. coli {C}", "e_coli", None, None),
        ("Copper (at tap)", "copper", None, None),
        ("Chlorine Residual - distribution system", "total_chlorine", None, None),
        ("calcium_mg_L", "calcium", None, "mg/L"),
        ("Specific Conductance (µS/cm)", "conductivity", None, "uS/cm"),
        ("Dureza total (como CaCO3)", "total_hardness", "CaCO3", None),
        ("Durezza totale", "total_hardness", None, None),
        ("Titre alcalimétrique complet (TAC)", "alkalinity", None, None),
        ("Geleidbaarheid", "conductivity", None, None),
        ("Leitfähigkeit bei 25 °C", "conductivity", None, None),
    ],
)
def test_a_label(text: str, analyte: str, basis: str | None, unit: str | None) -> None:
    label = read_label(text)
    assert label is not None
    assert (label.analyte, label.basis, label.unit.unit if label.unit else None) == (analyte, basis, unit)


@pytest.mark.parametrize(
    "text", ["Lead service lines", "Hardness scale", "The nitrate limit", "Total", "Major sources", "12"]
)
def test_not_a_label(text: str) -> None:
    assert read_label(text) is None


def test_near_names_are_not_taken_for_another() -> None:
    for text, analyte in (
        ("Nitrate + Nitrite", "nitrate_plus_nitrite"),
        ("Karbonathärte", "carbonate_hardness"),
        ("Noncarbonate hardness", "noncarbonate_hardness"),
        ("Nitrit", "nitrite"),
        ("Hexavalent Chromium", "hexavalent_chromium"),
    ):
        label = read_label(text)
        assert label is not None
        assert label.analyte == analyte
