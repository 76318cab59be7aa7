"""A quote: its sums to the coin, its figures the plan's own, its files readable by others."""

from __future__ import annotations

import csv
import datetime as dt
import io
from decimal import Decimal
from pathlib import Path

import pdfplumber
import pytest

from brewwater.cli import main
from brewwater.cost.quote import QuoteLine, quote_sum
from brewwater.errors import InputError
from brewwater.output.owner import owner_of
from brewwater.output.quote.files import quote_files
from brewwater.output.quote.quote import OTHER, PLANNED, QuoteTerms, make_quote
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import demo_document
from brewwater.planning.search import cost_over_years
from brewwater.store import Store

MADE = dt.date(2027, 3, 1)
TERMS = QuoteTerms(MADE, "Corner window", tax_percent=8.25, labour=250.0, owner=owner_of("Clear line"))


@pytest.fixture(scope="module")
def plan() -> Plan:
    document = demo_document()
    few = document.settings.model_copy(update={"draws": 128})
    return make_plan(document.model_copy(update={"settings": few}))


def test_tax_is_rounded_once_half_a_coin_upwards() -> None:
    lines = [QuoteLine("a", "", 3, Decimal("13.34")), QuoteLine("b", "", 1, Decimal("0.08"))]
    assert quote_sum(lines, None, "USD").total == Decimal("40.10")
    found = quote_sum(lines, 7.5, "USD")  # 3.0075
    assert (found.net, found.tax, found.total) == (Decimal("40.10"), Decimal("3.01"), Decimal("43.11"))
    assert quote_sum(lines, 2.5, "USD").tax == Decimal("1.00")  # 1.0025
    yen = quote_sum([QuoteLine("a", "", 1, Decimal(1005))], 10, "JPY")
    assert (yen.tax, yen.total) == (Decimal(101), Decimal(1106))  # 100.5
    for wrong in (-1.0, 100.5, float("nan")):
        with pytest.raises(InputError, match="0 to 100"):
            quote_sum(lines, wrong, "USD")


def test_every_figure_is_the_plans_own(plan: Plan) -> None:
    quote = make_quote(plan, TERMS)
    parts = [line for line in quote.lines if line.item != "Fitting"]
    assert sum(line.amount for line in parts) == plan.cost.first_set
    assert quote.sum.net == plan.cost.first_set + 250
    assert sum(amount for _, amount in quote.running) == quote.year == plan.cost.expected
    assert quote.valid_until == dt.date(2027, 3, 31)
    planned, *others = quote.ways
    assert planned.name == PLANNED
    assert others[-1].name == OTHER
    mine = next(a for a in plan.alternatives if a.candidate.stages == plan.candidate.stages)
    assert f"{cost_over_years(plan.scenario, mine):,.0f}" in planned.mean
    names = [way.name for way in quote.ways]
    assert len(set(names)) == len(names) >= 3
    assert any("usual figures" in line for line in quote.assumptions)  # the demo's prices are placeholders


def test_a_price_of_ones_own_is_not_marked(plan: Plan) -> None:
    document = plan.document
    first = plan.candidate.stages[0]
    own = first.model_copy(
        update={"sheet": first.sheet.model_copy(update={"price": document.money.scale_g_per_descale})}
    )
    train = (own, *plan.candidate.stages[1:])
    found = make_quote(make_plan(document.model_copy(update={"train": train}), search=False), TERMS)
    assert [line.assumed for line in found.lines[:2]] == [False, True]
    assert [way.name for way in found.ways] == [PLANNED]  # nothing was searched, so nothing is beside it


def test_the_files_say_the_same(plan: Plan) -> None:
    quote = make_quote(plan, TERMS)
    found = quote_files(quote)
    rows = list(csv.DictReader(io.StringIO(found["quote.csv"].decode())))
    paid = [row for row in rows if row["part"] == "installation"]
    amounts = {row["item"]: Decimal(row["amount"]) for row in paid}
    assert amounts["Total"] == amounts["Net"] + amounts["Tax 8.25 %"] == quote.sum.total
    assert sum(Decimal(row["amount"]) for row in paid if row["each"]) == amounts["Net"]
    with pdfplumber.open(io.BytesIO(found["quote.pdf"])) as paper:
        assert len(paper.pages) == 2
        text = "\n".join(page.extract_text() for page in paper.pages)
    shown = f"${quote.sum.total:,}"
    for part in (quote.number, "Corner window", "Clear line", shown, "2027-03-31", "Other water", "8.25 %", "licenses"):
        assert part in text, part
        assert part in found["quote.html"].decode(), part


@pytest.mark.parametrize(
    ("option", "value", "told"),
    [("--tax", "120", "0 to 100"), ("--days", "0", "1 to 730"), ("--labour", "-1", "0 to 10,000,000"),
     ("--number", "x" * 41, "at most 40"), ("--date", "soon", "a date such as")],
)  # fmt: skip
def test_terms_that_cannot_be_used_are_one_line(
    option: str,
    value: str,
    told: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setenv("BREWWATER_DATA", str(tmp_path))
    document = demo_document().model_dump(mode="json") | {"train": []}
    document["settings"]["draws"] = 16
    with Store.open_default() as store:
        store.save_plan(store.create_unit("Truck").ref, document, 0)
    assert main(["quote", "truck", "--out", str(tmp_path / "out"), option, value]) == 2
    said = capsys.readouterr().err
    assert option in said
    assert told in said
    assert said.count("\n") == 1
