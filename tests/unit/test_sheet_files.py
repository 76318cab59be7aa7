"""The files of a plan: calendar, tables, printable sheet, each read back by something that did not write it."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from typing import Any

import openpyxl
import pdfplumber
import pytest

from brewwater.cost import written
from brewwater.output.calendar_file import calendar_file
from brewwater.output.result import plan_result
from brewwater.output.result_schema import PlanResult
from brewwater.output.sheet.diagram import drawing
from brewwater.output.sheet.files import files, write_all
from brewwater.output.sheet.pages import pages
from brewwater.output.sheet.what_if import what_if_page
from brewwater.output.tables import csv_text, safe
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import load_document
from brewwater.plumbing import build_tree

NOW = dt.datetime(2026, 11, 25, 12, 0, tzinfo=dt.UTC)
EVIL = '=HYPERLINK("http://x.example","a")'


def span(low: float, typical: float, high: float, unit: str) -> dict[str, Any]:
    return {"value": [low, typical, high], "unit": unit, "method": "lab"}


def supply(name: str, hardness: float, alkalinity: float) -> dict[str, Any]:
    return {
        "name": name,
        "disinfectant": "free_chlorine",
        "analysis": {
            "total_hardness": span(0.9 * hardness, hardness, 1.1 * hardness, "ppm"),
            "alkalinity": span(0.9 * alkalinity, alkalinity, 1.1 * alkalinity, "ppm"),
            "chloride": span(8, 10, 12, "mg/L"),
            "sulfate": span(15, 20, 30, "mg/L"),
            "ph": span(7.2, 7.5, 7.9, "1"),
            "free_chlorine": span(0.4, 0.8, 1.2, "mg/L"),
        },
    }


def document(**changes: Any) -> dict[str, Any]:
    made = {
        "name": "Corner cart",
        "unit": {"kind": "truck"},
        "supplies": [supply("Soft town", 60, 40), supply("Hard town", 300, 220)],
        "fill": {"fills": [{"supply": "Soft town"}, {"supply": "Hard town", "weekdays": ["thu", "fri"]}], "heel": 0.2},
        "demand": {
            "calendar": {
                "start": "2027-01-04",
                "events": [{"name": "Fair", "start": "2027-08-20", "end": "2027-08-22", "drinks_per_day": 400}],
                "closures": [{"name": "Winter", "start": "2027-11-15", "end": "2028-03-15", "kind": "stored"}],
            },
            "main_branch": "Espresso machine",
            "drinks_per_service_day": [80, 100, 130],
        },
        "branches": [
            {"name": "Espresso machine", "kind": "espresso_machine", "machine": "Espresso machine", "filtered": True},
            {"name": "Hand sink", "kind": "hand_sink", "filtered": False},
        ],
        "machines": [{"name": "Espresso machine", "kind": "espresso", "wetted_metal": "copper_brass"}],
        "train": [
            {"name": "Sediment", "medium": "sediment"},
            {
                "name": "Carbon",
                "medium": "carbon",
                "sheet": {"rated_gal": 1500, "reference_chlorine_mg_L_as_Cl2": 2, "rated_for": "free_chlorine"},
            },
            {
                "name": "Resin",
                "medium": "weak_acid",
                "bypass_percent": 30,
                "sheet": {"capacity_grains": 6000, "life_months": 12},
            },
        ],
        "settings": {"draws": 128},
    }
    return made | changes


def plan(**changes: Any) -> Plan:
    return make_plan(load_document(document(**changes)), search=False)


@pytest.fixture(scope="module")
def made() -> Plan:
    return plan()


@pytest.fixture(scope="module")
def result(made: Plan) -> PlanResult:
    return plan_result(made)


@pytest.fixture(scope="module")
def evil() -> Plan:
    """A plan whose every name tries to break out: of a spreadsheet, of HTML, of a calendar line."""
    changed = document(name=f"{EVIL}<script>alert(1)</script>")
    changed["train"][0]["name"] = "=1+1"
    changed["train"][2]["name"] = "@SUM(A1) <img src=x onerror=alert(1)>, ; \\ END:VEVENT"
    changed["supplies"][0]["name"] = "+cmd|' /C calc'!A0"
    changed["fill"]["fills"][0]["supply"] = "+cmd|' /C calc'!A0"
    changed["branches"][1]["name"] = "-2+3"
    changed["demand"]["calendar"]["closures"][0]["name"] = "Winter – 水 ☃"
    return make_plan(load_document(changed), search=False)


@pytest.fixture(scope="module")
def made_files(made: Plan) -> dict[str, bytes]:
    return files(made, NOW)


@pytest.fixture(scope="module")
def evil_files(evil: Plan) -> dict[str, bytes]:
    return files(evil, NOW)


# the calendar file


def unfolded(content: bytes) -> list[str]:
    return content.decode("utf-8").replace("\r\n ", "").replace("\r\n\t", "").split("\r\n")


def strict(content: bytes) -> list[dict[str, str]]:
    """RFC 5545 by its letter: line ends and lengths, nesting, what an event must have and may have once."""
    assert content.endswith(b"\r\n")
    for line in content.split(b"\r\n"):
        assert b"\n" not in line
        assert b"\r" not in line
        assert len(line) <= 75
    lines = unfolded(content)[:-1]
    assert (lines[0], lines[-1]) == ("BEGIN:VCALENDAR", "END:VCALENDAR")
    open_parts: list[str] = []
    events: list[dict[str, str]] = []
    head: dict[str, str] = {}
    alarm: dict[str, str] = {}
    for line in lines:
        match = re.fullmatch(r"([A-Z][A-Z0-9-]*)((?:;[A-Z-]+=[^:;]+)*):(.*)", line)
        assert match, line
        name, value = match[1], match[3]
        assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f]", value)
        if name == "BEGIN":
            assert (len(open_parts), value) in [(0, "VCALENDAR"), (1, "VEVENT"), (2, "VALARM")]
            open_parts.append(value)
            if value == "VEVENT":
                events.append({})
            alarm = {}
        elif name == "END":
            assert open_parts.pop() == value
            if value == "VALARM":
                assert set(alarm) == {"ACTION", "DESCRIPTION", "TRIGGER"}
                assert re.fullmatch(r"-?P(\d+D)?(T(\d+H)?(\d+M)?(\d+S)?)?", alarm["TRIGGER"])
        else:
            store = {1: head, 2: events[-1] if events else {}, 3: alarm}[len(open_parts)]
            assert name not in store, f"{name} stands twice"
            store[name] = value
            if name in ("SUMMARY", "DESCRIPTION"):
                assert re.fullmatch(r"(?:[^\\,;]|\\[\\,;nN])*", value), value
    assert head["VERSION"] == "2.0"
    assert head["PRODID"]
    for event in events:
        assert {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "SEQUENCE"} <= set(event)
        assert event["DTEND"] > event["DTSTART"]
    uids = [e["UID"] for e in events]
    assert len(set(uids)) == len(uids)
    return events


def test_calendar_is_strict(made: Plan, evil: Plan) -> None:
    assert len(strict(calendar_file(made, NOW))) > 8
    assert len(strict(calendar_file(evil, NOW))) > 8


def test_calendar_holds_the_expected_dates(made: Plan, result: PlanResult) -> None:
    events = strict(calendar_file(made, NOW))
    starts = {e["SUMMARY"]: [x["DTSTART"] for x in events if x["SUMMARY"] == e["SUMMARY"]] for e in events}
    for one in result.cartridges:
        expected = [c.expected.replace("-", "") for c in one.changes if c.expected is not None]
        found = starts.get(f"Change {one.name}", []) + starts.get(f"Throw away {one.name}", [])
        assert sorted(found) == sorted(expected)
    assert starts["In store: Winter"] == ["20271115"]
    assert starts["Fit Resin"] == ["20280316"]


def test_order_comes_before_the_change(made: Plan) -> None:
    for due in made.calendar.dues:
        assert due.order_by is not None
        assert due.fitted is not None
        soonest = min(due.date, due.early or due.date) if due.fitted == due.date else due.fitted
        assert (soonest - due.order_by).days == 21


def test_importing_again_replaces(made: Plan) -> None:
    later = NOW + dt.timedelta(days=3)
    busier = document()
    busier["demand"]["drinks_per_service_day"] = [110, 130, 150]
    first, second = (
        strict(calendar_file(made, NOW)),
        strict(calendar_file(make_plan(load_document(busier), search=False), later)),
    )
    old, new = ({e["UID"]: e for e in found} for found in (first, second))
    same = set(old) & set(new)
    assert {old[u]["SUMMARY"] for u in same} >= {"Change Resin", "Order Resin", "Change Sediment"}
    assert any(old[u]["DTSTART"] != new[u]["DTSTART"] for u in same)
    assert all(int(new[u]["SEQUENCE"]) > int(old[u]["SEQUENCE"]) for u in same)
    other = strict(calendar_file(plan(name="Other cart"), NOW))
    assert not {e["UID"] for e in other} & set(old)


def test_calendar_read_by_a_second_library(made: Plan, evil: Plan) -> None:
    vobject = pytest.importorskip("vobject")
    for one in (made, evil):
        ours = [d.date for d in one.calendar.dues]
        read = vobject.readOne(calendar_file(one, NOW).decode())
        read.validate(raiseException=True)
        theirs = [e.dtstart.value for e in read.vevent_list if e.summary.value.startswith(("Change", "Throw away"))]
        assert sorted(theirs) == sorted(ours)
        names = {d.cartridge for d in one.calendar.dues}
        assert {
            e.summary.value.removeprefix("Order ") for e in read.vevent_list if e.summary.value.startswith("Order")
        } == names


def test_calendar_read_by_a_strict_library(evil: Plan) -> None:
    stream = pytest.importorskip("ical.calendar_stream")
    read = stream.IcsCalendarStream.calendar_from_ics(calendar_file(evil, NOW).decode())
    assert len(read.events) == len(strict(calendar_file(evil, NOW)))
    assert all(e.alarm for e in read.events if e.summary.startswith(("Change", "Order")))


# tables


@pytest.mark.parametrize(
    "text", [EVIL, "=1+1", "+1+1", "-1+1", "@SUM(1)", "\t=1", "\r=1", " =1", "\u00a0=1", "＝1", "\x00=1"]
)
def test_no_formula_from_text(text: str) -> None:
    assert str(safe(text)).startswith("'")


@pytest.mark.parametrize("text", ["Resin", "2027-01-04", "-5.5", "+3", "a=b", "1e-3", ""])
def test_plain_text_is_left_alone(text: str) -> None:
    assert safe(text) == text


def test_csv_of_an_evil_plan(evil_files: dict[str, bytes]) -> None:
    for name, content in evil_files.items():
        if name.endswith(".csv"):
            for row in csv.reader(io.StringIO(content.decode("utf-8-sig"))):
                for cell in row:
                    assert not re.match(r"\s*[=+@]", cell), cell
                    assert not re.match(r"\s*-(?![\d.e-]+$)", cell), cell


def test_workbook_has_no_formula(evil_files: dict[str, bytes]) -> None:
    book = openpyxl.load_workbook(io.BytesIO(evil_files["tables.xlsx"]))
    cells = [c for sheet in book for row in sheet.iter_rows() for c in row]
    assert len(cells) > 50
    assert not [c.value for c in cells if c.data_type == "f"]
    assert any(c.data_type == "n" and c.value for c in cells)


def test_csv_round_trip() -> None:
    text = csv_text([("a", "b"), ('x"y', "line\nbreak, comma"), (1.5, None)])
    assert list(csv.reader(io.StringIO(text, newline=""))) == [["a", "b"], ['x"y', "line\nbreak, comma"], ["1.5", ""]]


def test_cost_table_adds_up(made_files: dict[str, bytes]) -> None:
    rows = list(csv.reader(io.StringIO(made_files["cost.csv"].decode("utf-8-sig"))))[1:]
    amounts = [round(100 * float(amount)) for _, amount in rows]
    assert sum(amounts[:-1]) == amounts[-1]


# the printed sheet


def test_html_escapes_and_asks_for_nothing(evil_files: dict[str, bytes]) -> None:
    page = "".join(content.decode() for name, content in evil_files.items() if name.endswith(".html"))
    assert "<script" not in page
    assert "<img" not in page
    assert not re.search(r"""(src|href|url)\s*[=(]\s*["']?https?:""", page)
    assert "&lt;script&gt;" in page


def test_the_plan_is_one_page_and_each_sheet_a_file_of_its_own(made: Plan, made_files: dict[str, bytes]) -> None:
    with pdfplumber.open(io.BytesIO(made_files["plan.pdf"])) as pdf:
        (page,) = pdf.pages
        text, images = page.extract_text(), page.images
    assert not images  # drawn as vectors
    for word in ("Corner cart", "verify by test", "Not a test of safe drinking water", "bypass 30%", "Next change"):
        assert word in text, word
    assert "Corner cart" in made_files["plan.html"].decode()
    for sheet in pages(made):
        with pdfplumber.open(io.BytesIO(made_files[f"{sheet.key}.pdf"])) as pdf:
            assert sheet.title in pdf.pages[0].extract_text()
        assert sheet.title in made_files[f"{sheet.key}.html"].decode().replace("&#39;", "'")
    with pdfplumber.open(io.BytesIO(made_files["inspector.pdf"])) as pdf:
        assert len(pdf.pages) <= 2


def test_every_date_is_an_estimate(made: Plan) -> None:
    for page in pages(made):
        if page.key in ("figures", "calendar"):
            assert "verify by test" in page.subtitle


def test_pdf_keeps_letters_or_says_so(evil_files: dict[str, bytes]) -> None:
    text = ""
    for name in ("calendar.pdf", "figures.pdf"):
        with pdfplumber.open(io.BytesIO(evil_files[name])) as pdf:
            text += "".join(page.extract_text() for page in pdf.pages)
    assert "<script>alert(1)</script>" in text.replace("\n", "")
    assert "Winter" in text
    with pdfplumber.open(io.BytesIO(evil_files["plan.pdf"])) as pdf:
        assert len(pdf.pages) == 1


def test_metric_sheet_is_in_litres(made: Plan) -> None:
    metric = plan(units="metric")
    plan_text = " ".join(" ".join(s.lines) for s in pages(metric)[0].sections)
    assert " L a service day" in plan_text
    assert " gal a service day" in " ".join(" ".join(s.lines) for s in pages(made)[0].sections)


def test_grouped_visits_reach_the_calendar() -> None:
    grouped = plan(policy={"group_days": 60})
    assert any("save a visit" in d.because for d in grouped.calendar.dues)
    assert "to save a visit" in " ".join(unfolded(calendar_file(grouped, NOW)))


def test_descales_agree_with_their_cost() -> None:
    hard = plan(train=[], supplies=[supply("Soft town", 250, 200), supply("Hard town", 300, 220)])
    found = hard.calendar.descales
    year = [d for d in found if d.date < dt.date(2028, 1, 4)]
    assert len(year) >= 2
    assert all(d.early is not None and d.early <= d.date for d in found)
    grams = hard.candidate.cost.lines
    spent = next(float(line.amount) for line in grams if line.name == "Descaling")
    # the cost counts parts of a descale, the calendar whole ones; a descale costs 20 to 200, 60 typical
    assert 0.4 * len(year) * 60 < spent < 2.5 * (len(year) + 1) * 80
    titles = [e["SUMMARY"] for e in strict(calendar_file(hard, NOW))]
    assert titles.count("Descale Espresso machine") == len(found)
    assert any(s.heading.startswith("Descale") for p in pages(hard) if p.key == "calendar" for s in p.sections)


def test_what_a_notice_costs(made: Plan) -> None:
    priced = document()
    for stage, price in zip(priced["train"], ([10, 20], [30, 50], 100), strict=True):
        stage.setdefault("sheet", {})["price"] = price
    swap = next(p for p in pages(make_plan(load_document(priced), search=False)) if p.key == "swap")
    line = next(s for s in swap.sections if s.heading == "What a notice costs").lines[0]
    assert line.startswith("New cartridges for Sediment, Carbon, Resin: $140 to $170, ")
    usual = next(s for p in pages(made) for s in p.sections if s.heading == "What a notice costs").lines[0]
    assert "placeholder" in usual


def test_nothing_to_buy() -> None:
    empty = plan(train=[])
    assert empty.calendar.dues == ()
    cells = [cell for s in pages(empty)[0].sections if s.table for row in s.table.rows for cell in row]
    assert "No filter in this plan" in cells
    assert set(files(empty, NOW)) >= {"plan.html", "plan.pdf", "changes.ics", "changes.csv"}


def test_write_all(made: Plan, made_files: dict[str, bytes], tmp_path: Any) -> None:
    written = write_all(made, tmp_path / "new" / "folder")
    assert {p.name for p in written} == set(made_files)
    assert all(p.stat().st_size > 0 for p in written)


def test_fill_day_card_names_every_supply(made: Plan) -> None:
    card = next(p for p in pages(made) if p.key == "fill")
    rows = next(s.table.rows for s in card.sections if s.table)
    assert [row[0] for row in rows] == ["Soft town", "Hard town"]
    # 30 % bypass leaves alkalinity of the soft town near 19 (red) and of the hard town near 73
    assert rows[0][1] == "CHANGE THE BYPASS"
    assert rows[0][2] != "Resin 30 %"


# the branch diagram


def test_diagram_tells_filtered_from_not(made: Plan) -> None:
    drawn = next(p.drawing for p in pages(made) if p.key == "branches")
    assert drawn is not None
    words = [label.text for label in drawn.labels]
    assert "Espresso machine: FILTERED" in words
    assert "Hand sink: not filtered" in words
    at = {label.text: label.y for label in drawn.labels}
    assert at["Sediment (filter)"] < at["Carbon (filter)"] < at["Resin (filter)"]
    ends = {(p.x2, round(p.y2)): p.filtered for p in drawn.pipes if p.arrow}
    assert set(ends.values()) == {True, False}


def test_diagram_draws_every_part_once_and_joins_it(made: Plan) -> None:
    tree = build_tree(made.document.unit, made.candidate.branches, made.candidate.stages)
    drawn = drawing(tree)
    assert len(drawn.labels) == len(tree.nodes)
    assert len({label.y for label in drawn.labels}) == len(drawn.labels)  # no two on one line
    assert sum(p.arrow for p in drawn.pipes) == len(tree.nodes) - 1  # flow into all but the source
    assert all(p.x1 == p.x2 or p.y1 == p.y2 for p in drawn.pipes)
    assert drawn.height >= max(label.y for label in drawn.labels)
    # no side pipe runs through another part
    for pipe in drawn.pipes:
        if pipe.y1 == pipe.y2:
            assert not [n for n in drawn.labels if n.y == pipe.y1 and pipe.x1 < n.x < pipe.x2]


# the what-if table


def test_what_if_sets_alternatives_beside_the_plan() -> None:
    searched = make_plan(load_document(document(settings={"draws": 32})), search=True)
    (section,) = what_if_page(searched).sections
    assert section.table is not None
    rows = section.table.rows
    assert rows[0][0].startswith("This plan: Sediment, Carbon, Resin (30 % bypass)")
    assert len(rows) == 1 + min(8, sum(a.candidate.stages != searched.candidate.stages for a in searched.alternatives))
    years = {row[7] for row in rows}
    assert written(searched.candidate.cost.expected, "USD") in years
    membranes = [row for row in rows if "osmosis" in row[0].lower()]
    assert membranes
    assert all(row[6] != "0 gal" for row in membranes)
    assert all(row[6] == "0 gal" for row in rows if "osmosis" not in row[0].lower())
