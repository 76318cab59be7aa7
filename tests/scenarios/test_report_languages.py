"""Invented reports in fifteen languages and everyday layouts, as they are pasted: every figure is read, none twice."""

from __future__ import annotations

import pytest

from brewwater.reports import Row, read_text

# What a report prints of an analyte: one figure, "<x", or lowest, typical and highest.
Printed = float | str | tuple[float, float | None, float]
CASES: dict[str, tuple[str, dict[str, Printed]]] = {}


def case(name: str, text: str, **want: Printed) -> None:
    CASES[name] = (text, want)


case(
    "cs",
    """Kvalita pitné vody
Ukazatel Jednotka Mezní hodnota Výsledek
pH 6,5-9,5 7,6
Konduktivita mS/m 125 45,2
Vápník mg/l 40-80 62,1
Hořčík mg/l 20-30 11,4
Sodík mg/l 200 9,8
Draslík mg/l 1,9
Železo mg/l 0,2 <0,02
Mangan mg/l 0,05 <0,01
Dusičnany mg/l 50 18,3
Dusitany mg/l 0,5 <0,01
Amonné ionty mg/l 0,5 <0,05
Chloridy mg/l 100 21,7
Sírany mg/l 250 48,2
Tvrdost vody mmol/l 2-3,5 2,02
KNK 4,5 mmol/l 3,1
""",
    ph=7.6,
    conductivity=45.2,
    calcium=62.1,
    magnesium=11.4,
    sodium=9.8,
    potassium=1.9,
    iron="<0.02",
    nitrate=18.3,
    chloride=21.7,
    sulfate=48.2,
    total_hardness=2.02,
    alkalinity=3.1,
)
case(
    "ro",
    """Buletin de analiză
Nr. crt.   Indicator              U.M.     Valoare determinată   CMA
1          pH                     unit pH  7,4                   6,5-9,5
2          Conductivitate         µS/cm    512                   2500
3          Duritate totală        °dH      14,2                  min 5
4          Calciu                 mg/l     71,3                  -
5          Magneziu               mg/l     18,2                  -
6          Cloruri                mg/l     24,5                  250
7          Sulfați                mg/l     39,1                  250
8          Nitrați                mg/l     12,6                  50
9          Fier                   µg/l     <20                   200
10         Clor rezidual liber    mg/l     0,35                  0,5
11         Bicarbonați            mg/l     268                   -
""",
    ph=7.4,
    conductivity=512,
    total_hardness=14.2,
    calcium=71.3,
    magnesium=18.2,
    chloride=24.5,
    sulfate=39.1,
    nitrate=12.6,
    iron="<20",
    free_chlorine=0.35,
    bicarbonate=268,
)
case(
    "fi",
    """Veden laatu
Määritys    Yksikkö   Tulos    Raja-arvo
pH-arvo               8,1      6,5-9,5
Kokonaiskovuus  °dH   3,9
Kalsium     mg/l      22
Magnesium   mg/l      3,5
Natrium     mg/l      7,8      200
Kloridi     mg/l      9,2      250
Sulfaatti   mg/l      21       250
Nitraatti   mg/l      2,2      50
Rauta       µg/l      15       200
Mangaani    µg/l      <5       50
Alkaliteetti mmol/l   0,98
Sähkönjohtavuus µS/cm 175      2500
""",
    ph=8.1,
    total_hardness=3.9,
    calcium=22,
    magnesium=3.5,
    sodium=7.8,
    chloride=9.2,
    sulfate=21,
    nitrate=2.2,
    iron=15,
    manganese="<5",
    alkalinity=0.98,
    conductivity=175,
)
case(
    "no",
    """Drikkevannskvalitet
Parameter
Enhet
Verdi
Grenseverdi

pH

7,9
6,5-9,5

Hårdhet
°dH
2,1


Kalsium
mg/l
13,4


Natrium
mg/l
5,1
200

Klorid
mg/l
8,8
200

Alkalitet
mmol/l
0,65


Jern
mg/l
0,01
0,2

Konduktivitet
mS/m
9,8
250
""",
    ph=7.9,
    total_hardness=2.1,
    calcium=13.4,
    sodium=5.1,
    chloride=8.8,
    alkalinity=0.65,
    iron=0.01,
    conductivity=9.8,
)
case(
    "da",
    """Vandets kvalitet
Stof Enhed Minimum Gennemsnit Maksimum Grænseværdi
pH 7,4 7,6 7,8 7-8,5
Hårdhed, total °dH 16,1 17,2 18,4
Calcium mg/l 98 104 112 200
Magnesium mg/l 9,1 10,2 11,6 50
Natrium mg/l 22 25 28 175
Klorid mg/l 31 36 42 250
Sulfat mg/l 44 52 60 250
Nitrat mg/l 1,1 2,0 3,4 50
Bikarbonat mg/l 280 301 322 100
Jern mg/l <0,01 0,02 0,05 0,2
Ledningsevne mS/m 61 66 70 30
""",
    ph=(7.4, 7.6, 7.8),
    total_hardness=(16.1, 17.2, 18.4),
    calcium=(98, 104, 112),
    magnesium=(9.1, 10.2, 11.6),
    sodium=(22, 25, 28),
    chloride=(31, 36, 42),
    sulfate=(44, 52, 60),
    nitrate=(1.1, 2, 3.4),
    bicarbonate=(280, 301, 322),
    conductivity=(61, 66, 70),
)
case(
    "pt",
    """Qualidade da água
Parâmetro;Unidade;Valor paramétrico;Mínimo;Máximo;Média
pH;Escala de Sorensen;6,5 - 9,5;7,1;7,9;7,5
Condutividade;µS/cm a 20 ºC;2500;180;260;221
Dureza total;mg/l CaCO3;-;70;96;84
Cálcio;mg/l Ca;-;21;30;26
Magnésio;mg/l Mg;-;3,9;5,2;4,6
Cloretos;mg/l Cl;250;14;22;18
Sulfatos;mg/l SO4;250;11;19;15
Nitratos;mg/l NO3;50;2,1;5,6;3,9
Sódio;mg/l Na;200;9;13;11
Ferro;µg/l Fe;200;<20;58;31
Manganês;µg/l Mn;50;<5;12;<5
Cloro residual livre;mg/l;-;0,2;0,6;0,4
""",
    ph=(7.1, 7.5, 7.9),
    conductivity=(180, 221, 260),
    total_hardness=(70, 84, 96),
    calcium=(21, 26, 30),
    chloride=(14, 18, 22),
    sulfate=(11, 15, 19),
    nitrate=(2.1, 3.9, 5.6),
    free_chlorine=(0.2, 0.4, 0.6),
)
case(
    "es",
    """Resultados analíticos del año 2023
Parámetro Unidades Valor medio Valor máximo Valor mínimo Valor paramétrico
pH Unidad pH 7,7 8,0 7,4 6,5-9,5
Conductividad µS/cm 20ºC 612 690 540 2500
Dureza mg/l CaCO3 284 310 255
Calcio mg/l 82 91 73
Magnesio mg/l 19,3 22,0 17,1
Cloruros mg/l 41 55 33 250
Sulfatos mg/l 96 121 80 250
Nitratos mg/l 14 21 9 50
Sodio mg/l 28 36 21 200
Hierro µg/l 22 60 <10 200
Cloro libre residual mg/l 0,7 0,9 0,4 1,0
""",
    ph=(7.4, 7.7, 8.0),
    conductivity=(540, 612, 690),
    total_hardness=(255, 284, 310),
    calcium=(73, 82, 91),
    magnesium=(17.1, 19.3, 22),
    chloride=(33, 41, 55),
    sulfate=(80, 96, 121),
    nitrate=(9, 14, 21),
    sodium=(21, 28, 36),
    free_chlorine=(0.4, 0.7, 0.9),
)
case(
    "fr_list",
    """Résultats du contrôle sanitaire
Dureté : 28,4 °f
pH : 7,55
Conductivité à 25 °C : 601 µS/cm
Nitrates : 17,2 mg/l (limite 50 mg/l)
Calcium : 104 mg/L
Titre alcalimétrique complet (TAC) : 23,1 °f
Chlorures : 22 mg/L
Sulfates : 31 mg/L
Chlore libre : 0,12 mg/L
""",
    total_hardness=28.4,
    ph=7.55,
    conductivity=601,
    nitrate=17.2,
    calcium=104,
    alkalinity=23.1,
    chloride=22,
    sulfate=31,
    free_chlorine=0.12,
)
case(
    "en_uk",
    """Water Supply Zone: Hilltop
Parameter Units PCV No. of samples Min Mean Max
Alkalinity (as HCO3) mg/l 8 201 214 226
Calcium (Total) mg Ca/l 8 88.1 92.4 97.0
Chloride mg Cl/l 250 8 31.2 34.0 38.8
Conductivity (20 C) uS/cm 2500 24 510 540 577
Hardness (Total) as CaCO3 mg/l 8 241 255 268
Hydrogen ion (pH) pH units 6.5 - 9.5 24 7.2 7.4 7.6
Iron (Total) ug Fe/l 200 12 <5.0 6.2 14.1
Magnesium (Total) mg Mg/l 8 5.1 5.9 6.4
Nitrate mg NO3/l 50 12 18.1 22.0 26.7
Residual disinfectant - Free mg/l 52 0.10 0.32 0.58
Sodium mg Na/l 200 8 19.0 21.5 24.4
Sulphate mg SO4/l 250 8 40.2 44.7 51.0
""",
    alkalinity=(201, 214, 226),
    calcium=(88.1, 92.4, 97),
    chloride=(31.2, 34, 38.8),
    conductivity=(510, 540, 577),
    total_hardness=(241, 255, 268),
    ph=(7.2, 7.4, 7.6),
    magnesium=(5.1, 5.9, 6.4),
    nitrate=(18.1, 22, 26.7),
    sodium=(19, 21.5, 24.4),
    sulfate=(40.2, 44.7, 51),
)
case(
    "in",
    """WATER QUALITY REPORT
S.No  Parameter                 Unit      Result   Acceptable limit (IS 10500)  Permissible limit
1     pH                        -         7.3      6.5-8.5                      No relaxation
2     Total Dissolved Solids    mg/L      412      500                          2000
3     Total Hardness as CaCO3   mg/L      236      200                          600
4     Total Alkalinity as CaCO3 mg/L      188      200                          600
5     Calcium as Ca             mg/L      58       75                           200
6     Magnesium as Mg           mg/L      22       30                           100
7     Chloride as Cl            mg/L      61       250                          1000
8     Sulphate as SO4           mg/L      47       200                          400
9     Nitrate as NO3            mg/L      12       45                           No relaxation
10    Iron as Fe                mg/L      0.08     1.0                          No relaxation
11    Fluoride as F             mg/L      0.4      1.0                          1.5
""",
    ph=7.3,
    total_dissolved_solids=412,
    total_hardness=236,
    alkalinity=188,
    calcium=58,
    magnesium=22,
    chloride=61,
    sulfate=47,
    nitrate=12,
    iron=0.08,
    fluoride=0.4,
)
case(
    "zh",
    """检测项目;单位;标准限值;检测结果
pH;无量纲;6.5~8.5;7.62
总硬度(以CaCO3计);mg/L;450;188
溶解性总固体;mg/L;1000;301
氯化物;mg/L;250;31.4
硫酸盐;mg/L;250;44.2
硝酸盐(以N计);mg/L;10;1.9
铁;mg/L;0.3;<0.05
钠;mg/L;200;17.3
电导率;μS/cm;-;455
游离氯;mg/L;≥0.3;0.52
""",
    ph=7.62,
    total_hardness=188,
    total_dissolved_solids=301,
    chloride=31.4,
    sulfate=44.2,
    nitrate=1.9,
    iron="<0.05",
    sodium=17.3,
    conductivity=455,
    free_chlorine=0.52,
)
case(
    "pl_list",
    """Parametry wody
Twardość ogólna 16,8 °n (300 mg CaCO3/l)
Odczyn pH: 7,4
Żelazo: < 0,04 mg/l
Mangan: 0,011 mg/l
Chlorki: 28 mg/l
Siarczany: 54 mg/l
Azotany: 6,1 mg/l
Zasadowość ogólna: 4,6 mval/l
""",
    total_hardness=16.8,
    ph=7.4,
    iron="<0.04",
    manganese=0.011,
    chloride=28,
    sulfate=54,
    nitrate=6.1,
    alkalinity=4.6,
)
case(
    "nl_list",
    """De hardheid van het water bedraagt 8,2 °dH. De pH is 8,0.
Calcium        54 mg/l
Waterstofcarbonaat  171 mg/l
Natrium   23 mg/l
EGV  41 mS/m
""",
    total_hardness=8.2,
    ph=8.0,
    calcium=54,
    bicarbonate=171,
    sodium=23,
    conductivity=41,
)
case(
    "us_range",
    """Substance (Unit)   Year   MCL   MCLG   Average   Low   High   Source
Chlorine (ppm)   2023   4   4   1.1   0.4   1.9   Water additive
Fluoride (ppm)   2023   4   4   0.7   0.6   0.8   Additive
Hardness (ppm)   2023   NA   NA   142   120   160   Natural
Sodium (ppm)   2023   NA   NA   22   18   27   Natural
Sulfate (ppm)   2023   250   NA   31   25   39   Natural
pH   2023   6.5-8.5   NA   7.9   7.6   8.2   Natural
Alkalinity (ppm)   2023   NA   NA   96   88   107   Natural
""",
    total_chlorine=(0.4, 1.1, 1.9),
    fluoride=(0.6, 0.7, 0.8),
    total_hardness=(120, 142, 160),
    sodium=(18, 22, 27),
    sulfate=(25, 31, 39),
    ph=(7.6, 7.9, 8.2),
    alkalinity=(88, 96, 107),
)
case(
    "md_table",
    """| Parametro | Limite | Unità | Valore |
|---|---|---|---|
| Durezza | 15-50 | °f | 24,1 |
| Calcio | - | mg/L | 71 |
| Nitrati | 50 | mg/L NO3 | 8,3 |
| Residuo fisso | 1500 | mg/L | 310 |
| pH | 6,5-9,5 | - | 7,6 |
""",
    total_hardness=24.1,
    calcium=71,
    nitrate=8.3,
    total_dissolved_solids=310,
    ph=7.6,
)
case(
    "gpg_es",
    """La dureza del agua es de 12 a 15 granos por galón.
Cloruro 45 ppm
Sodio 30 ppm
""",
    total_hardness=(12, None, 15),
    chloride=45,
    sodium=30,
)

SIDE = """Dricksvattnets sammansättning
Analys          Enhet    Norra verket   Södra verket   Gränsvärde
pH                       8,2            7,9            6,5-9,5
Hårdhet         °dH      4,5            9,8
Kalcium         mg/l     28             61             100
Magnesium       mg/l     2,6            5,7            30
Natrium         mg/l     11             18             200
Klorid          mg/l     12             24             250
Sulfat          mg/l     19             35             250
Alkalinitet, HCO3 mg/l   82             171
Järn            mg/l     <0,02          0,03           0,2
Konduktivitet   mS/m     21             42             250
"""
WIDE = """Ort;Härte °dH;Calcium mg/l;Magnesium mg/l;Natrium mg/l;Chlorid mg/l;Sulfat mg/l;Nitrat mg/l;pH
Nordstadt;14,2;81;12,4;11;24;38;12,1;7,4
Südstadt;8,9;52;7,1;9;15;22;6,6;7,7
"""


def shows(row: Row, printed: Printed) -> bool:
    if isinstance(printed, str):
        return row.below_detection and row.high == float(printed[1:])
    if isinstance(printed, tuple):
        return (row.low, row.typical, row.high) == printed
    return row.typical == printed


@pytest.mark.parametrize("name", CASES)
def test_every_figure_is_read_once(name: str) -> None:
    text, want = CASES[name]
    report = read_text(text)
    for analyte, printed in want.items():
        rows = [r for r in report.rows if r.analyte == analyte]
        assert len(rows) == 1, (analyte, rows)
        assert shows(rows[0], printed), (analyte, printed, rows[0])


def test_two_works_side_by_side_and_one_water_a_line() -> None:
    works = read_text(SIDE)
    assert works.supplies == ("Norra verket", "Södra verket")
    found = {(r.supply, r.analyte): (r.typical, r.unit) for r in works.rows}
    assert found["Södra verket", "calcium"] == (61.0, "mg/l")
    assert found["Norra verket", "conductivity"] == (21.0, "mS/m")
    assert not any(r.typical in (100.0, 200.0, 250.0, 0.2) for r in works.rows)
    wide = read_text(WIDE)
    assert wide.supplies == ("Nordstadt", "Südstadt")
    assert len(wide.rows) == 16


@pytest.mark.parametrize(
    "line",
    ["Wapń: około wartości 61 albo 80", "Calcium, magnesium 61 12 33 18", "Klorid ved kilden 8 12"],
)
def test_a_line_that_is_not_understood_is_listed(line: str) -> None:
    report = read_text(f"Sodium: 20 mg/L\n{line}\nSulfate: 12 mg/L")
    named = {"calcium", "chloride"} & {r.analyte for r in report.rows}
    assert named or any(line[:8] in u.text for u in report.unread)
    assert not any(r.certain for r in report.rows if r.analyte in ("calcium", "chloride"))


def test_a_sentence_about_a_limit_is_neither_a_value_nor_unread() -> None:
    report = read_text(
        "Sodium: 20 mg/L\nThe limit for nitrate is 50 mg/L.\nHard water has more than 180 mg/L of hardness."
    )
    assert {r.analyte for r in report.rows} == {"sodium"}
    assert report.unread == ()
