"""``brewwater waters`` on everyday tables: headers, units, delimiters, decimal commas, and what the balance says."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from brewwater.errors import InputError
from brewwater.reports import batch
from brewwater.reports.batch_headers import read_columns

CONTRACT = ",".join(("id", *batch.NUMBERS))
# calcium, magnesium, sodium, potassium, chloride, sulfate, nitrate, bicarbonate: in balance within 0.1 %
WATER = {"Ca": 80, "Mg": 12.15, "Na": 23, "K": 3.9, "Cl": 35.45, "SO4": 48, "NO3": 6.2, "HCO3": 250.2}


def judged(path: Path, text: str | bytes) -> tuple[pd.DataFrame, list[str]]:
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    out = io.StringIO()
    remarks = batch.run_waters(path, [93.0], out)
    return pd.read_csv(io.StringIO(out.getvalue()), dtype={"id": str, "problem": str}), remarks


def results(table: pd.DataFrame) -> np.ndarray:
    return table.iloc[:, 1:-1].to_numpy(dtype=float)


@pytest.fixture
def plain(tmp_path: Path) -> pd.DataFrame:
    """The water under the names of the contract."""
    numbers = [12.5, 7.6, *list(WATER.values())[:7], 250.2 / 61.0168 * 50.04345]
    return judged(tmp_path / "plain.csv", f"{CONTRACT}\nA,{','.join(map(str, numbers))}\n")[0]


@pytest.mark.parametrize(
    ("header", "factors"),
    [
        ("Sample,T,pH,Ca,Mg,Na,K,Cl,SO4,NO3,HCO3", {}),
        ("site;Temp (°C);pH (lab);Ca2+ (mg/L);Mg++;Na+;K+;Cl-;SO4 2-;NO3-;HCO3-", {}),
        (
            "Name\tt_C\tpH\tcalcium_mg_l\tMagnesium\tSodium\tPotassium\tChloride\tSulphate\tNitrate as N\tBicarbonate",
            {"NO3": 14.0067 / 62.0049},
        ),
        (
            "id;Temperatur [°C];pH-Wert;Calcium [mmol/l];Magnesium in mmol/l;Natrium;Kalium;Chlorid;Sulfat;Nitrat;"
            "Hydrogencarbonat",
            {"Ca": 1 / 40.078, "Mg": 1 / 24.305},
        ),
        ("id|T (°F)|pH|Ca (meq/L)|Mg|Na|K|Cl|SO4|NO3-N (mg/L)|HCO3", {"Ca": 2 / 40.078, "NO3": 14.0067 / 62.0049}),
        ("id,temp C,pH,Ca µg/L,Mg,Na,K,Cl,SO4,NO3,Alk (mg/L as CaCO3)", {"Ca": 1000.0, "HCO3": 50.04345 / 61.0168}),
        ("id,tempC,pH,Ca,Mg,Na,K,Cl,SO4,NO3,Alkalinity (meq/L)", {"HCO3": 1 / 61.0168}),
    ],
)
@pytest.mark.parametrize("comma", [False, True])
def test_the_same_water_under_everyday_headers(
    tmp_path: Path, plain: pd.DataFrame, header: str, factors: dict[str, float], comma: bool
) -> None:
    mark = next(m for m in "\t;|," if m in header)
    at = 54.5 if "°F" in header else 12.5
    cells = [f"{x:.9g}" for x in (at, 7.6, *(v * factors.get(k, 1.0) for k, v in WATER.items()))]
    if comma:
        if mark == ",":
            pytest.skip("commas cannot part columns and mark decimals")
        cells = [c.replace(".", ",") for c in cells]
    table, _ = judged(tmp_path / "in.csv", f"{header}\n{mark.join(['A', *cells])}\n")
    assert list(table.columns) == list(plain.columns)
    np.testing.assert_allclose(results(table), results(plain), rtol=1e-4, atol=2e-3)


def test_a_row_of_units_an_encoding_and_a_line_for_the_spreadsheet(tmp_path: Path, plain: pd.DataFrame) -> None:
    rows = "Probe;T;pH;Ca;Mg;Na;K;Cl;SO4;NO3;HCO3\n;°C;;mg/l;µg/l;mg/l;mg/l;mg/l;mg/l;mg/l;mmol/l\n"
    cells = [12.5, 7.6, 80, 12150, 23, 3.9, 35.45, 48, 6.2, 250.2 / 61.0168]
    text = rows + ";".join(["A", *(f"{c:.9g}".replace(".", ",") for c in cells)]) + "\n"
    for data in (text.encode("utf-8-sig"), text.encode("cp1252"), text.encode("utf-16"), ("sep=;\n" + text).encode()):
        table, remarks = judged(tmp_path / "in.csv", data)
        assert list(table["id"]) == ["A"]
        np.testing.assert_allclose(results(table), results(plain), rtol=1e-4, atol=2e-3)
        assert not any("no unit" in r for r in remarks)


def test_what_is_taken_for_granted_is_said(tmp_path: Path) -> None:
    table, remarks = judged(tmp_path / "in.csv", "well;pH;Ca;HCO3;Fe\nA;7,6;80;244\n".replace("244", "244;0,1"))
    said = " ".join(remarks)
    assert "mg/L: Ca, HCO3" in said and "not used: Fe" in said
    problem = table["problem"][0]
    assert "temperature_C 25" in problem and "sodium_mg_L 0" in problem
    assert np.isnan(table["charge_balance_percent"][0])  # a balance without sodium and chloride says nothing
    assert table["pH_at_own"][0] == pytest.approx(7.6)


@pytest.mark.parametrize(
    ("cell", "value", "said"),
    [
        ("<4", 2.0, "Cl is below a limit"),
        ("< 0,5", 0.25, "Cl is below a limit"),
        ("n.d.", 0.0, "Cl not found"),
        ("BDL", 0.0, "Cl not found"),
        ("1 234,5", 1234.5, None),
        ("1.234,5", 1234.5, None),
    ],
)
def test_cells_that_are_no_plain_numbers(tmp_path: Path, cell: str, value: float, said: str | None) -> None:
    head = "id;T;pH;Ca;Mg;Na;K;Cl;SO4;NO3;HCO3\n"
    rows = [
        f"{i};12,5;7,6;80;12,2;23;3,9;{c};48;6,2;244\n" for i, c in (("a", cell), ("b", f"{value}".replace(".", ",")))
    ]
    table, _ = judged(tmp_path / "in.csv", head + "".join(rows))
    np.testing.assert_allclose(results(table)[0], results(table)[1])
    if said:
        assert said in table["problem"][0]


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("1.234", "as a thousand or as a decimal"),
        ("abc", "'abc' is not a number"),
        ("", "Cl is empty"),
        ("-3", "negative"),
    ],
)
def test_cells_that_cannot_be_used_name_the_files_own_column(tmp_path: Path, cell: str, said: str) -> None:
    text = f"id;T;pH;Ca;Mg;Na;K;Cl;SO4;NO3;HCO3\na;12,5;7,6;80;12,2;23;3,9;{cell};48;6,2;244\n"
    table, _ = judged(tmp_path / "in.csv", text)
    assert "Cl" in table["problem"][0] and said in table["problem"][0]
    assert np.isnan(results(table)[0]).all()


def test_a_file_that_lacks_something_is_refused_for_what_it_lacks(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"delimiter.*one column"):
        judged(tmp_path / "in.csv", "id:pH:Ca:HCO3\na:7:80:244\n")
    with pytest.raises(InputError, match=r"'pH'.*Calcium"):
        judged(tmp_path / "in.csv", "id;Calcium;HCO3\na;80;244\n")
    with pytest.raises(InputError, match=r"Ca \(lb\).*not in the list"):
        judged(tmp_path / "in.csv", "id,pH,Ca (lb),HCO3\na,7,80,244\n")
    with pytest.raises(InputError, match="binary"):
        judged(tmp_path / "in.csv", b"PK\x03\x04rest\x00of it")


def balanced_rows(rng: np.random.Generator, rows: int, bicarbonate: float) -> str:
    """Invented waters in balance within a few percent, their bicarbonate column multiplied."""
    lines = ["id,T,pH,Ca,Mg,Na,K,Cl,SO4,NO3,HCO3"]
    for i in range(rows):
        ca, mg, na = rng.uniform(30, 110), rng.uniform(4, 30), rng.uniform(8, 60)
        cations = ca / 20.04 + mg / 12.15 + na / 22.99
        share = rng.dirichlet([8, 8, 20])
        cl, so4, hco3 = cations * share * (35.45, 48.03, 61.017) * rng.normal(1, 0.01)
        lines.append(f"w{i},12,7.5,{ca:.1f},{mg:.1f},{na:.1f},0,{cl:.1f},{so4:.1f},0,{hco3 * bicarbonate:.1f}")
    return "\n".join(lines) + "\n"


def test_a_set_whose_bicarbonate_is_as_carbonate_of_calcium_is_told_so(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    for rows in (1, 2, 6, 300):
        table, _ = judged(tmp_path / "in.csv", balanced_rows(rng, rows, 50.04345 / 61.0168))
        told = table["problem"].fillna("").str.contains("if HCO3 is as CaCO3")
        assert told.mean() > 0.6, (rows, table["problem"].tolist()[:3])
        true, _ = judged(tmp_path / "in.csv", balanced_rows(rng, rows, 1.0))
        assert true["problem"].isna().all()


def test_a_small_gap_is_told_with_both_balances(tmp_path: Path) -> None:
    """+4.8 % as printed and +1.0 % with the bicarbonate as CaCO3."""
    cations, share = 10.0, 0.35  # meq/L
    anions = cations * (1 - 0.048) / (1 + 0.048)
    wanted = cations * (1 - 0.010) / (1 + 0.010)
    hco3 = (wanted - anions) / (61.0168 / 50.04345 - 1)
    rest = anions - hco3
    assert hco3 > share
    text = (
        "id,T,pH,Ca,Mg,Na,K,Cl,SO4,NO3,HCO3\n"
        f"a,15,7.5,{5 * 20.039:.3f},{2 * 12.1525:.3f},{3 * 22.98977:.3f},0,{rest / 2 * 35.453:.3f},"
        f"{rest / 2 * 48.0313:.3f},0,{hco3 * 61.0168:.3f}\n"
    )
    table, _ = judged(tmp_path / "in.csv", text)
    assert table["charge_balance_percent"][0] == pytest.approx(4.8, abs=0.05)
    assert "+4.8 % as printed, +1.0 % if HCO3 is as CaCO3" in table["problem"][0]


@pytest.mark.parametrize(
    ("column", "factor", "said"),
    [("SO4", 32.06 / 96.06, "SO4 is as S"), ("Ca", 2.497, "Ca is as CaCO3"), ("Na", 10.0, "beyond 5 %")],
)
def test_other_bases_and_a_bad_balance(tmp_path: Path, column: str, factor: float, said: str) -> None:
    water = WATER | ({"SO4": 144.0, "HCO3": 128.0} if column == "SO4" else {})
    water[column] *= factor
    text = f"id,T,pH,{','.join(water)}\na,15,7.5,{','.join(f'{v:.3f}' for v in water.values())}\n"
    assert said in judged(tmp_path / "in.csv", text)[0]["problem"][0]


def test_a_conductivity_that_the_ions_do_not_make(tmp_path: Path) -> None:
    head = f"id,T,pH,{','.join(WATER)},EC (µS/cm)\n"
    numbers = ",".join(map(str, WATER.values()))
    table, _ = judged(tmp_path / "in.csv", f"{head}a,15,7.5,{numbers},560\nb,15,7.5,{numbers},1560\n")
    assert "EC" not in str(table["problem"][0]) and "EC (µS/cm) does not go with the ions" in table["problem"][1]


def test_headers_are_not_guessed() -> None:
    columns, twice = read_columns(["id", "pH", "Ca", "Camping", "K", "Cl2", "Calcium", "TDS", "Mn"])
    assert {c.printed: c.quantity for c in columns} == {
        "id": "id",
        "pH": "pH",
        "Ca": "calcium_mg_L",
        "K": "potassium_mg_L",
    }
    assert twice == ["Calcium"]


def test_real_analyses_as_they_are_printed(samples: Path, tmp_path: Path) -> None:
    """Two published tables with their own headers; only the pH and temperature that one lacks are added."""
    with (samples / "ions" / "usgs_MiscGW.csv").open(newline="") as handle:
        rows = list(csv.reader(handle))
    text = "\n".join(",".join([*r, "7.5" if i else "pH", "12" if i else "Temp"]) for i, r in enumerate(rows))
    ground, _ = judged(tmp_path / "in.csv", text + "\n")
    assert list(ground["id"]) == [r[0] for r in rows[1:]]
    assert (ground["charge_balance_percent"].abs() < 0.5).all()
    assert not ground["problem"].fillna("").str.contains("balance").any()
    europe, _ = judged(tmp_path / "in.csv", (samples / "ions" / "zaporozec.csv").read_bytes())
    assert europe["id"][0] == "Tertiary, Czechoslovakia"
    assert results(europe)[0][2] > 0 and "sodium_mg_L" in europe["problem"][0]
    assert "1700 is outside 0 to 14" in europe["problem"][3]
    assert "'meq_pc' is not a unit" in europe["problem"][2]
