"""An average printed as ND beside a range: most samples lie at the lower end, the range is kept."""

from __future__ import annotations

from brewwater.reports import read_text


def test_the_middle_is_the_lower_end_and_the_rows_keep_what_is_printed() -> None:
    report = read_text(
        "constituent,units,range,average,sample_date\n"
        "Manganese,PPB,ND-36,ND,2018\n"
        "Iron,PPB,ND-250,40,2018\n"
        "Chloride,PPM,10-30,20,2018\n"
    )
    rows = {row.analyte: row for row in report.rows}
    assert (rows["manganese"].typical, rows["manganese"].high) == (None, 36.0)
    manganese = report.analysis()["manganese"].value
    assert (manganese.low, manganese.typical, round(manganese.high, 9)) == (0.0, 0.0, 0.036)
    assert report.analysis()["manganese"].confidence == 1.0
    assert report.analysis()["iron"].value.typical == 0.04
