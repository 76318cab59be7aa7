"""``brewwater waters``: the columns, bad rows, streaming, and the real analyses."""

from __future__ import annotations

import io
import threading
import tracemalloc
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from brewwater.errors import InputError
from brewwater.reports import batch
from brewwater.water import Water, speciate

HEADER = ",".join(("id", *batch.NUMBERS))
GOOD = "20,7.6,45,10,20,2,25,40,5,120"


def judged(tmp_path: Path, *rows: str, temperatures: tuple[float, ...] = (93.0,), header: str = HEADER) -> pd.DataFrame:
    source = tmp_path / "in.csv"
    source.write_text("\n".join((header, *rows)) + "\n", encoding="utf-8")
    out = io.StringIO()
    batch.run_waters(source, temperatures, out)
    out.seek(0)
    return pd.read_csv(out, dtype={"id": str, "problem": str}, keep_default_na=True)


def test_columns_of_the_contract(tmp_path: Path) -> None:
    table = judged(tmp_path, f"a,{GOOD}", temperatures=(93.0, 60.0, 120.5))
    assert list(table.columns) == [
        "id",
        "charge_balance_percent",
        "ionic_strength_mol_L",
        "hardness_mg_L_as_CaCO3",
        "langelier_index",
        "langelier_index_simplified",
        "ryznar_index",
        "larson_skold_ratio",
        "pH_at_own",
        "calcite_saturation_index_at_own",
        "ccpp_mg_L_as_CaCO3_at_own",
        "pH_at_93C",
        "calcite_saturation_index_at_93C",
        "ccpp_mg_L_as_CaCO3_at_93C",
        "pH_at_60C",
        "calcite_saturation_index_at_60C",
        "ccpp_mg_L_as_CaCO3_at_60C",
        "pH_at_120.5C",
        "calcite_saturation_index_at_120.5C",
        "ccpp_mg_L_as_CaCO3_at_120.5C",
        "problem",
    ]


def test_a_row_is_what_the_array_path_gives(tmp_path: Path) -> None:
    row = judged(tmp_path, f"a,{GOOD}").iloc[0]
    water = Water(
        temperature_C=20,
        pH=7.6,
        calcium_mg_L=45,
        magnesium_mg_L=10,
        sodium_mg_L=20,
        potassium_mg_L=2,
        chloride_mg_L=25,
        sulfate_mg_L=40,
        nitrate_mg_L=5,
        alkalinity_mg_L_as_CaCO3=120,
    )
    own, hot = speciate(water), speciate(water, 93)
    assert row["pH_at_own"] == pytest.approx(7.6, abs=1e-5)
    assert row["pH_at_93C"] == pytest.approx(float(hot.ph), abs=1e-4)
    assert row["calcite_saturation_index_at_own"] == pytest.approx(float(own.calcite_saturation_index), abs=1e-4)
    assert row["ccpp_mg_L_as_CaCO3_at_93C"] == pytest.approx(float(hot.ccpp_mg_L_as_CaCO3), abs=0.01)
    assert row["hardness_mg_L_as_CaCO3"] == pytest.approx(float(water.hardness_mg_L_as_CaCO3), abs=1e-3)
    cations = 2 * 45 / 40.078 + 2 * 10 / 24.305 + 20 / 22.98977 + 2 / 39.0983
    anions = 25 / 35.453 + 2 * 40 / 96.0626 + 5 / 62.0049 + 120 / 50.04345
    assert row["charge_balance_percent"] == pytest.approx(100 * (cations - anions) / (cations + anions), abs=1e-3)
    assert row["ryznar_index"] == pytest.approx(7.6 - 2 * row["langelier_index"], abs=2e-4)
    assert pd.isna(row["problem"])


@pytest.mark.parametrize(
    ("row", "problem"),
    [
        ("13.2,1700,468.5,132.8,0,1913.7,850,2406,0,2106", "pH: 1700 is outside 0 to 14"),
        ("20,7.6,abc,10,20,2,25,40,5,120", "calcium_mg_L: 'abc' is not a number"),
        ("20,7.6,-45,10,20,2,25,40,5,120", "calcium_mg_L: -45 is negative"),
        ("20,7.6,nan,10,20,2,25,40,5,120", "not a finite number"),
        ("20,7.6,inf,10,20,2,25,40,5,120", "not a finite number"),
        ("20,,45,10,20,2,25,40,5,120", "pH is empty"),
        ("200,7,45,10,20,2,25,40,5,120", "temperature_C: 200 is outside 0 to 130"),
        ("20,11,45,10,20,2,25,40,5,20", "no inorganic carbon"),
        ("20,7.6,45,10", "too many or too few cells"),
        (GOOD + ",9,9", "too many or too few cells"),
    ],
)
def test_a_bad_row_keeps_its_id_and_place(tmp_path: Path, row: str, problem: str) -> None:
    name = "bad" if "cells" in problem else '"bad, one"'
    table = judged(tmp_path, f"first,{GOOD}", f"{name},{row}", f"last,{GOOD}")
    assert [i[:3] for i in table["id"]] == ["fir", "bad", "las"]
    assert problem in table["problem"][1]
    assert table.iloc[1, 1:-1].isna().all()
    assert table.iloc[[0, 2], 1:-1].notna().all().all()
    assert table["problem"][[0, 2]].isna().all()


def test_notes_beside_results(tmp_path: Path) -> None:
    table = judged(
        tmp_path,
        "a,20,7.6,45,10,20,,25,40,5,120",
        "b,95,7.6,45,10,20,2,25,40,5,120",
        "c,20,7.6,400,10,3000,2,5000,40,5,120",
    )
    assert table["pH_at_93C"].notna().all()
    assert list(table["problem"].str[:5]) == ["note:"] * 3
    assert "potassium_mg_L is empty" in table["problem"][0]
    assert "90 °C" in table["problem"][1]
    assert "ionic strength" in table["problem"][2]


def test_columns_in_any_order_and_more_of_them(tmp_path: Path) -> None:
    header = "town,alkalinity_mg_L_as_CaCO3,id," + ",".join(n for n in batch.NUMBERS if n[:4] != "alka")
    table = judged(tmp_path, "Ulm,120,a,20,7.6,45,10,20,2,25,40,5", header=header)
    assert table["ccpp_mg_L_as_CaCO3_at_93C"][0] == judged(tmp_path, f"a,{GOOD}")["ccpp_mg_L_as_CaCO3_at_93C"][0]


def test_a_file_that_cannot_be_used(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="existing CSV"):
        batch.run_waters(tmp_path / "none.csv", [], io.StringIO())
    (tmp_path / "empty.csv").write_text("")
    with pytest.raises(InputError, match="header"):
        batch.run_waters(tmp_path / "empty.csv", [], io.StringIO())
    (tmp_path / "short.csv").write_text("id,pH\na,7\n")
    out = tmp_path / "kept.csv"
    out.write_text("yesterday's")
    with pytest.raises(InputError, match="temperature_C"):
        batch.run_waters(tmp_path / "short.csv", [], out)
    assert out.read_text() == "yesterday's"
    with pytest.raises(InputError, match="0 to 130"):
        batch.run_waters(tmp_path / "short.csv", [140.0], io.StringIO())


def test_header_alone(tmp_path: Path) -> None:
    assert len(judged(tmp_path)) == 0


def test_many_blocks_keep_order_in_bounded_memory(tmp_path: Path) -> None:
    n = 120_000  # several blocks; with ragged and unusable rows here and there
    source, out = tmp_path / "in.csv", tmp_path / "out.csv"
    with source.open("w") as handle:
        handle.write(HEADER + "\n")
        for i in range(n):
            ph = 6.5 + i % 30 / 10
            handle.write(f"w{i},1,2\n" if i % 9973 == 5 else f"w{i},20,{ph:.1f},45,10,20,2,25,40,5,120\n")
    tracemalloc.start()
    batch.run_waters(source, [93.0], out)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    table = pd.read_csv(out)
    assert list(table["id"]) == [f"w{i}" for i in range(n)]
    bad = np.arange(n) % 9973 == 5
    np.testing.assert_array_equal(table["problem"].notna(), bad)
    np.testing.assert_array_equal(table["pH_at_own"].isna(), bad)
    np.testing.assert_allclose(table["pH_at_own"][~bad], (6.5 + np.arange(n) % 30 / 10)[~bad], atol=1e-4)
    assert peak < 200e6, f"{peak / 1e6:.0f} MB for {source.stat().st_size / 1e6:.0f} MB of input"
    assert threading.active_count() < 20


def test_real_analyses(samples: Path, tmp_path: Path) -> None:
    """The analyses of two textbooks: charge balances, and one pH that cannot be."""
    folder = samples / "ions"
    ground = pd.read_csv(folder / "usgs_MiscGW.csv")
    europe = pd.read_csv(folder / "zaporozec.csv").query("units == 'mg/l'")
    rows = []
    for _, r in ground.iterrows():
        alkalinity = r["Bicarbonate"] * 0.8202 + (r["Carbonate"] if r["Carbonate"] > 0 else 0) * 1.668
        rows.append(
            [
                r["rownames"],
                12,
                7.5,
                r["Calcium"],
                r["Magnesium"],
                r["Sodium"],
                r["Potassium"],
                r["Chloride"],
                r["Sulfate"],
                r["Nitrate"],
                alkalinity,
            ]
        )
    for _, r in europe.iterrows():
        at, ph = r["tempC"] if r["tempC"] > 0 else 12, r["pH"] if r["pH"] > 0 else 7.2
        rows.append(
            [r["location"], at, ph, r["Ca"], r["Mg"], 0, r["K"], r["Cl"], r["SO4"], r["NO3"], r["HCO3"] * 0.8202]
        )
    source, out = tmp_path / "in.csv", tmp_path / "out.csv"
    pd.DataFrame(rows, columns=["id", *batch.NUMBERS]).to_csv(source, index=False)
    batch.run_waters(source, [60.0, 93.0], out)
    table = pd.read_csv(out)
    assert list(table["id"]) == [r[0] for r in rows]
    impossible = table["problem"].fillna("").str.contains("1700")
    assert impossible.sum() == 1
    assert table.loc[impossible].iloc[:, 1:-1].isna().all().all()
    assert table.loc[~impossible, "ccpp_mg_L_as_CaCO3_at_93C"].notna().all()
    assert (table.loc[: len(ground) - 1, "charge_balance_percent"].abs() < 10).all()
