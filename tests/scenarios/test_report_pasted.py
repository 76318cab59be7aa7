"""Pasted tables as people print them: ragged spacing, remarks between rows, limits beside values."""

from __future__ import annotations

from brewwater.reports import Report, read_text

Figures = tuple[float | None, float | None, float | None, str]


def figures(report: Report, supply: str | None = None) -> dict[str, Figures]:
    return {
        r.analyte: (r.low, r.typical, r.high, r.unit)
        for r in report.rows
        if r.certain and (supply is None or r.supply == supply)
    }


def test_ragged_columns_with_a_unit_in_each_label() -> None:
    report = read_text(
        "Our water is treated with chlorine and ammonia to form chloramines.\n"
        "Substance (Unit of Measure)   Year Sampled   MCL [MRDL]   Amount Detected   Range Low-High   Violation\n"
        "Chloramines (ppm)             2022           [4]          2.6               0.4-3.8          No\n"
        "Nitrate (ppm)                 2022           10           1.3               0.9-1.6          No\n"
        "Secondary Substances\n"
        "pH (Units)                    2022           6.5-8.5      7.8               7.5-8.1          No\n"
        "Total Dissolved Solids [TDS] (ppm)  2022     500          242               210-280          No\n"
        "Hardness (as CaCO3) (ppm)     2022           NA           132               118-150          NA\n"
    )
    assert figures(report) == {
        "chloramine": (0.4, 2.6, 3.8, "ppm"),
        "nitrate": (0.9, 1.3, 1.6, "ppm"),
        "ph": (7.5, 7.8, 8.1, "1"),
        "total_dissolved_solids": (210, 242, 280, "ppm"),
        "total_hardness": (118, 132, 150, "ppm"),
    }
    assert report.disinfectant() == "chloramine"
    assert next(r.basis for r in report.rows if r.analyte == "nitrate") == "N"


def test_a_row_of_words_between_values_is_not_a_head() -> None:
    report = read_text(
        "Stadtwerke;;;;\nParameter;Einheit;Grenzwert TrinkwV;Werk Nord;Werk Süd\nGesamthärte;°dH;-;13,4;7,2\n"
        "Härtebereich;;;mittel;weich\nSäurekapazität (KS 4,3);mmol/l;-;3,9;2,1\nNatrium;mg/l;200;14,1;9,9\n"
        "pH-Wert;;6,5 - 9,5;7,43;7,61\nEisen;mg/l;0,2;<0,01;0,02\n"
    )
    assert report.supplies == ("Werk Nord", "Werk Süd")
    assert figures(report, "Werk Süd") == {
        "total_hardness": (7.2, 7.2, 7.2, "°dH"),
        "alkalinity": (2.1, 2.1, 2.1, "mmol/l"),
        "sodium": (9.9, 9.9, 9.9, "mg/l"),
        "ph": (7.61, 7.61, 7.61, "1"),
        "iron": (0.02, 0.02, 0.02, "mg/l"),
    }


def test_units_that_name_the_element_and_the_temperature() -> None:
    report = read_text(
        "Determinand,Units,PCV,Min,Mean,Max,No. of samples\nCalcium,mg/l Ca,,98,104,110,8\n"
        "Hydrogen ion (pH),pH value,6.5 - 9.5,7.2,7.35,7.5,52\nConductivity,uS/cm at 20C,2500,560,590,640,52\n"
        "Iron,ug Fe/l,200,<5,<5,18,52\nResidual chlorine - Free,mg/l,,0.2,0.45,0.7,52\n"
    )
    assert figures(report) == {
        "calcium": (98, 104, 110, "mg/l Ca"),
        "ph": (7.2, 7.35, 7.5, "pH value"),
        "conductivity": (560, 590, 640, "uS/cm at 20C"),
        "iron": (0, None, 18, "ug Fe/l"),
        "free_chlorine": (0.2, 0.45, 0.7, "mg/l"),
    }
    assert report.analysis()["conductivity"].value.typical == 590 * 2790 / 2500


def test_not_applicable_is_not_sodium() -> None:
    report = read_text("Parameter,Result,Unit,Goal\nCalcium,40,mg/L,NA\nChloride,9,mg/L,NA\nMagnesium,8,mg/L,NA")
    assert set(figures(report)) == {"calcium", "chloride", "magnesium"}
