"""A quote as PDF, HTML and CSV."""

from __future__ import annotations

import csv
import io

from brewwater.cost import written
from brewwater.output.quote.quote import Quote
from brewwater.output.sheet.content import Section, SheetPage, Table
from brewwater.output.sheet.files import paper
from brewwater.output.sheet.html import html_text
from brewwater.output.sheet.pdf import pdf_bytes
from brewwater.output.vocabulary import SUBJECT
from brewwater.store.log_csv import guard
from brewwater.units import plain

CARE = (
    "Installation under pressure, on mains electricity and on a drinking-water line is for those whom local code "
    "licenses. This quote is no statement that the water is safe to drink: that needs a certified laboratory.",
)


def quote_files(quote: Quote) -> dict[str, bytes]:
    """``quote.pdf``, ``quote.html`` and ``quote.csv``."""
    pages, title = quote_pages(quote), f"Quote {quote.number}: {quote.plan.document.name}"
    return {
        "quote.pdf": pdf_bytes(pages, title, paper(quote.plan)),
        "quote.html": html_text(pages, title).encode(),
        "quote.csv": _csv(quote),
    }


def quote_pages(quote: Quote) -> tuple[SheetPage, SheetPage]:
    """What is paid once, with the total; then the running year, the other ways and what all of it rests on."""
    terms, name = quote.terms, quote.plan.document.name
    whom = f" For {terms.client}." if terms.client else ""
    by = f" By {terms.owner.name}." if terms.owner.name else ""
    dates = f"Made on {terms.made.isoformat()}, valid until {quote.valid_until.isoformat()}."
    taxed = ", before tax" if quote.sum.tax is None else ", tax included"
    rows = tuple(
        (
            line.item,
            line.what,
            str(line.count),
            _money(quote, line.each) + (" *" if line.assumed else ""),
            _money(quote, line.amount),
        )
        for line in quote.lines
    )
    rate = "not told: it comes on top where it is due" if terms.tax_percent is None else f"{plain(terms.tax_percent)} %"
    total = (
        ("", "Net", "", "", _money(quote, quote.sum.net)),
        ("", f"Tax, {rate}", "", "", "–" if quote.sum.tax is None else _money(quote, quote.sum.tax)),
        ("", "Total to pay at installation", "", "", _money(quote, quote.sum.total)),
    )
    first = SheetPage(
        "quote",
        f"Quote {quote.number}",
        f"{name}.{whom}{by} {dates}",
        (
            Section(
                "At installation",
                (f"Total {_money(quote, quote.sum.total)}{taxed}.",),
                Table(("What", "Specification", "Count", "Each", "Amount"), (*rows, *total), (3, 6, 1.2, 2, 2)),
            ),
            Section(
                "A year of it, apart from the above",
                ("The first twelve months with whole cartridges as they are bought; before tax.",),
                Table(
                    ("What", "Amount"),
                    (
                        *((n, _money(quote, amount)) for n, amount in quote.running),
                        ("The year", _money(quote, quote.year)),
                    ),
                    (6, 2),
                ),
            ),
            Section("Mind", CARE, caution=True),
        ),
        owner=terms.owner,
    )
    heads = ("", *(way.name for way in quote.ways))
    judged = [SUBJECT.label(subject) for subject in ("cup", "scale", "corrosion")]
    compared = (
        ("Treatment", *(way.treatment for way in quote.ways)),
        ("First set", *(way.first for way in quote.ways)),
        ("First twelve months", *(way.year for way in quote.ways)),
        (quote.over_years.capitalize(), *(way.mean for way in quote.ways)),
        *((name, *(way.left[at] for way in quote.ways)) for at, name in enumerate(judged)),
    )
    second = SheetPage(
        "ways",
        "The ways side by side",
        f"Quote {quote.number}, {name}. Before tax.",
        (
            Section("", (), Table(heads, compared, (3, *(4 for _ in quote.ways)))),
            Section("Why", tuple(f"{way.name}: {way.why}" for way in quote.ways if way.why)),
            Section("What this rests on", quote.assumptions),
        ),
    )
    return first, second


def _money(quote: Quote, amount: object) -> str:
    return written(amount, quote.currency, exact=True)  # type: ignore[arg-type]


def _csv(quote: Quote) -> bytes:
    """Every line with its numbers, for a spreadsheet."""
    text = io.StringIO(newline="")
    sheet = csv.writer(text, lineterminator="\r\n")
    columns = ("part", "item", "specification", "count", "each", "amount", "currency", "price")

    def put(part: str, item: str, what: str = "", *numbers: str, amount: str = "", price: str = "") -> None:
        count, each = numbers or ("", "")
        sheet.writerow([guard(cell) for cell in (part, item, what, count, each, amount, quote.currency, price)])

    sheet.writerow(columns)
    for line in quote.lines:
        price = "usual figure, no offer" if line.assumed else "own"
        put("installation", line.item, line.what, str(line.count), str(line.each), amount=str(line.amount), price=price)
    put("installation", "Net", amount=str(quote.sum.net))
    if quote.sum.tax is not None:
        put("installation", f"Tax {plain(quote.terms.tax_percent)} %", amount=str(quote.sum.tax))
    put("installation", "Total", amount=str(quote.sum.total))
    for name, amount in quote.running:
        put("first twelve months", name, amount=str(amount))
    put("first twelve months", "The year", amount=str(quote.year))
    for way in quote.ways:
        put("way", way.name, f"{way.treatment}; first set {way.first}; first twelve months {way.year}")
    put("quote", quote.number, f"made {quote.terms.made.isoformat()}, valid until {quote.valid_until.isoformat()}")
    return text.getvalue().encode()
