"""The plan on one page: answer, drawing, verdicts, year, dates to tick off, dial, cautions. Drawn once, as one SVG that
both the HTML and the PDF hold; a size that does not fit is not printed smaller, its rows are counted out instead.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from textwrap import wrap

from brewwater.demand import Calendar
from brewwater.escape import for_html
from brewwater.output.answer import Answer, Change, Said
from brewwater.output.drawing import PRINT as INK
from brewwater.output.drawing import channel, dial, picture, year_strip
from brewwater.output.drawing.signs import FACE, disc, n, sign, text
from brewwater.output.vocabulary import STATUS

SIZES = {"letter": (816.0, 1056.0), "A4": (794.0, 1123.0)}  # CSS pixels, 96 to the inch
EDGE = 44.0
MOST_ROWS = 8
ACID = frozenset({"reverse_osmosis", "mixed_bed", "weak_acid"})  # leave water that attacks brass and copper
ESTIMATE = "Every date is an estimate: verify by test."
CARE = (
    ("Before a change:", "power off, cool, close the valve, let the pressure out. After: flush, then test."),
    ("Cleaning the tank:", "take cartridges out first. Never mix bleach with descaler."),
)


class _Page:
    def __init__(self, width: float, height: float) -> None:
        self.width, self.height, self.y = width, height, EDGE
        self.left, self.right = EDGE, width - EDGE
        self.parts: list[str] = []

    def text(self, x: float, y: float, words: object, size: float = 13, weight: int = 400) -> None:
        self.parts.append(text(x, y, words, INK.ink, size=size, weight=weight))

    def faint(self, x: float, y: float, words: object, size: float = 13, anchor: str = "start") -> None:
        self.parts.append(text(x, y, words, INK.second, size=size, anchor=anchor))

    def rule(self, thick: float = 2.0) -> None:
        self.line(f"M{n(self.left)} {n(self.y)}H{n(self.right)}", INK.ink if thick > 1 else INK.grid, thick)

    def line(self, way: str, colour: str, thick: float) -> None:
        self.parts.append(f'<path d="{way}" style="fill:none;stroke:{colour};stroke-width:{thick:g}"/>')

    def put(self, svg: str, x: float, y: float, width: float) -> float:
        """A drawing in a place of its own; returns its height."""
        found = re.match(r'<svg[^>]*viewBox="0 0 (\S+) (\S+)"[^>]*>(.*)</svg>$', svg, re.S)
        assert found is not None
        scale = width / float(found[1])
        self.parts.append(f'<g transform="translate({n(x)} {n(y)}) scale({scale:.4f})">{found[3]}</g>')
        return float(found[2]) * scale


def lines(words: str, width: float, size: float, most: int) -> list[str]:
    """Words broken for a width; Helvetica's mean letter is half as wide as high."""
    found = wrap(words, max(int(width / (0.52 * size)), 8), break_long_words=len(words.split()) == 1) or [""]
    return found if len(found) <= most else [*found[: most - 1], found[most - 1].rstrip(" .,;") + " ..."]


def one_page(answer: Answer, calendar: Calendar, size: str = "letter", most: int = MOST_ROWS) -> str:
    """The page as SVG, on "letter" or "A4". Where it would not fit, fewer dates stand on it, and how many more there
    are is said."""
    page = _Page(*SIZES[size])
    _head(page, answer)
    _facts(page, answer)
    page.y += page.put(picture(answer, INK), page.left, page.y + 2, page.right - page.left) + 4
    _verdicts(page, answer)
    if answer.stages:
        page.y += page.put(year_strip(answer, calendar, INK, width=860), page.left, page.y, page.right - page.left) + 2
    _dates(page, answer, most)
    _foot(page, answer)
    if page.y > page.height - 18 and most > 2:
        return one_page(answer, calendar, size, most - 1)
    body = "".join(page.parts)
    return (
        f'<svg viewBox="0 0 {n(page.width)} {n(page.height)}" width="{n(page.width)}" height="{n(page.height)}" '
        f'font-family="{FACE}" xmlns="http://www.w3.org/2000/svg">{body}</svg>'
    )


def _head(page: _Page, answer: Answer) -> None:
    page.text(page.left, page.y, lines(answer.name, 430, 15, 1)[0], 15, 700)
    page.faint(page.right, page.y, f"Water plan, from {answer.words.short_day(answer.today)}", 13, "end")
    if answer.stop:
        page.y += 12
        page.parts.append(
            f'<rect x="{n(page.left)}" y="{n(page.y)}" width="{n(page.right - page.left)}" height="44" '
            f'style="fill:none;stroke:{INK.act};stroke-width:3"/>'
        )
        for i, line in enumerate(lines(answer.stop, 640, 14, 2)):
            page.text(page.left + 44, page.y + 19 + 17 * i, line, 14, 700)
        page.parts.append(sign("stop", INK, page.left + 22, page.y + 22, 13))
        page.y += 46
    page.y += 8
    for line in lines(f"{answer.headline} {answer.outcome}", page.right - page.left, 21, 2):
        page.y += 24
        page.text(page.left, page.y, line, 21, 700)
    page.y += 9
    page.rule()


def _facts(page: _Page, answer: Answer) -> None:
    change, order, status = answer.next, answer.order, answer.safety.after.status
    rows = [
        (
            answer.next_label,
            answer.day(change.date) if change else "None due",
            change.part if change else "",
            148.0,
        ),
        ("Order it by", answer.day(order.order_by) if order else "Nothing", order.part if order else "", 138.0),
        ("A year costs", answer.money, answer.money_range, 158.0),
        ("To start", answer.start, "prices are guesses" if answer.prices_assumed else "first set, once", 140.0),
        ("Safe to drink?", STATUS.label(status), "no lab test yet" if status == "unknown" else "", 140.0),
    ]
    x = page.left
    for i, (label, value, note, width) in enumerate(rows):
        page.faint(x, page.y + 17, label, 12.5)
        page.text(x, page.y + 36, value, 18, 700)
        page.faint(x, page.y + 51, lines(note, width - 8, 12, 1)[0], 12)
        if i:
            page.parts.append(
                f'<path d="M{n(x - 9)} {n(page.y + 5)}V{n(page.y + 52)}" style="stroke:{INK.grid};stroke-width:1"/>'
            )
        x += width
    page.y += 56


def _verdicts(page: _Page, answer: Answer) -> None:
    page.rule()
    main = answer.flows.main
    page.text(page.left, page.y + 17, f"At the {main[:1].lower()}{main[1:]}"[:40], 14, 700)
    letters = ", ".join(f"{t.letter} {t.name}" for t in answer.towns) if len(answer.towns) > 1 else ""
    page.faint(page.right, page.y + 17, f"ring: before   disc: after   box: goal   {letters}"[:92], 12, "end")
    page.y += 24
    wide = (page.right - page.left) / max(len(answer.verdicts), 1)
    page.y += max(_verdict(page, s, answer, page.left + i * wide, wide - 14) for i, s in enumerate(answer.verdicts)) + 2
    page.rule()
    page.y += 2


def _verdict(page: _Page, said: Said, answer: Answer, x: float, width: float) -> float:
    y = page.y + 14
    page.text(x, y, said.label, 14, 700)
    at = x + 12 + 7.6 * len(said.label)
    if said.before.status != said.after.status:
        page.parts.append(sign(said.before.status, INK, at + 8, y - 5, 7.5))
        page.line(f"M{n(at + 20)} {n(y - 5)}h9m-4 -3.5l4 3.5l-4 3.5", INK.second, 1.4)
        at += 34
    page.parts.append(sign(said.after.status, INK, at + 8, y - 5, 7.5))
    page.text(at + 20, y, STATUS.label(said.after.status), 14, 700)
    for line in lines(f"{said.sentence} {said.aside}".strip(), width, 12.5, 3):
        y += 16
        page.text(x, y, line, 12.5)
    y += 4
    for rail in said.rails[:2]:
        for i, line in enumerate(lines(rail.title, width - 168, 12, 3)):
            page.faint(x, y + 18 + 14 * i, line, 12)
        y += page.put(channel(rail, answer.words, INK), x + width - 160, y, 160) * 0.98
    return y - page.y


def _dates(page: _Page, answer: Answer, most: int) -> None:
    page.rule()
    top = page.y
    valve = next((s for s in answer.stages if s.stage.bypass_percent), None)
    right = page.right - (206 if valve else 0)
    columns = (page.left, page.left + 120, page.left + 144, right - 232, right - 150, right - 26)
    for x, head in zip(columns, ("Do on", "", "", "Order by", "Could be", "Done"), strict=True):
        page.faint(x, page.y + 15, head, 12)
    page.y += 20
    rows = answer.changes[:most]
    for change in rows:
        _row(page, answer, change, columns, right)
    more = len(answer.changes) - len(rows)
    if not rows:
        page.text(page.left, page.y + 16, "No change falls due in the days of this plan.")
        page.y += 22
    said = f"{more} more changes stand on the calendar sheet. {ESTIMATE}" if more else ESTIMATE
    page.text(page.left, page.y + 15, said, 12.5, 700)
    page.y += 22
    if valve is not None:
        page.text(right + 16, top + 16, f"Bypass dial, stage {valve.number}", 13, 700)
        tall = page.put(dial([("", valve.stage.bypass_percent)], INK), right + 12, top + 20, 196)
        page.y = max(page.y, top + 24 + tall)


def _row(page: _Page, answer: Answer, change: Change, columns: Sequence[float], right: float) -> None:
    y = page.y + 16
    out = change.fitted is not None and change.fitted != change.date
    verb = "Mix new" if change.stage == "Minerals" else "Take out" if out else "Change"
    what = f"{verb} {change.part}"
    ends = [answer.words.short_day(day, change.date) for day in (change.early, change.late)]  # its own year is told
    between = "overdue" if answer.overdue(change) else " to ".join(ends) if ends[0] != ends[1] else "fixed"
    page.text(columns[0], y, answer.day(change.date), 12.5, 700)
    page.parts.append(disc(columns[1] + 8, y - 4, change.number, INK, r=8.5))
    page.text(columns[2], y, what[:30], 12.5)
    page.text(columns[3], y, "" if change.order_by is None else answer.short_day(change.order_by), 12.5)
    page.text(columns[4], y, f"new {answer.short_day(change.fitted)}" if out else between, 12.5)
    page.parts.append(
        f'<rect x="{n(columns[5])}" y="{n(y - 12)}" width="14" height="14" '
        f'style="fill:none;stroke:{INK.ink};stroke-width:1.3"/>'
        f'<path d="M{n(page.left)} {n(y + 5)}H{n(right)}" style="stroke:{INK.grid};stroke-width:1"/>'
    )
    page.y += 21


def _foot(page: _Page, answer: Answer) -> None:
    page.rule()
    care = list(CARE)
    number = next((s.number for s in answer.stages if s.stage.medium in ACID), None)
    if number is not None:
        weigh = " Weigh salt in grams." if any(s.stage.medium == "mineral_dose" for s in answer.stages) else ""
        care.append((f"After stage {number}:", f"no brass or copper in the line.{weigh}"))
    wide = (page.right - page.left) / len(care)
    tall = 0.0
    for i, (head, said) in enumerate(care):
        x = page.left + i * wide
        page.parts.append(sign("watch", INK, x + 9, page.y + 16, 8))
        for row, line in enumerate(lines(f"{head} {said}", wide - 40, 12, 4)):
            page.text(x + 25, page.y + 18 + 15 * row, line, 12)
            tall = max(tall, 24.0 + 15 * row)
    page.y += tall + 2
    page.rule(1)
    doubts = f"Assumed: {' '.join(answer.doubts)} " if answer.doubts else ""
    test = f"Test next: {answer.test} " if answer.test else ""
    end = "Not a test of safe drinking water. Machine manual, data sheet and local code go first."
    for line in lines(f"{doubts}{test}{end}", page.right - page.left, 11.5, 3):
        page.y += 15
        page.faint(page.left, page.y, line, 11.5)


def page_html(svg: str, title: str, size: str) -> str:
    """The page as an HTML document that prints on one sheet of paper and asks for nothing."""
    paper = "letter" if size == "letter" else "A4"
    return (
        '<!doctype html><html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
        f"<title>{for_html(title)}</title><style>@page{{size:{paper};margin:0}}html,body{{margin:0;background:#fff}}"
        "svg{display:block;width:100%;max-width:816px;height:auto;margin:0 auto}"
        "@media print{svg{width:100vw;max-width:none;max-height:99.5vh}}</style></head>"
        f"<body>{svg}</body></html>"
    )
