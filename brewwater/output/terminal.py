"""The answer in a terminal: one screen of 24 lines of 80 letters, in colour; plain where it is piped."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from brewwater.output.answer import Answer, Said, kind_of
from brewwater.output.vocabulary import SIGN, STATUS, SUBJECT, WATER, bypass
from brewwater.verdicts.measure import Measure, Status, Subject

WIDTH = 79
LABEL = 11
MOST_TOWNS = 2
MOST_LINES = 24
COLOUR: dict[Status, str] = {
    "ok": "green",
    "watch": "yellow",
    "act": "red",
    "stop": "bold red",
    "unknown": "bright_black",
}
ROWS: tuple[tuple[str, Subject, str], ...] = (
    ("Hardness", "cup", "total_hardness"),
    ("Alkalinity", "cup", "alkalinity"),
    ("Solids", "cup", "total_dissolved_solids"),
    ("Chloride", "corrosion", "chloride"),
)
_ASCII = str.maketrans({"→": ">", "─": "-", "●": "o", "■": "#", "▲": "^", "◇": "?", "✖": "x", "−": "-", "–": "-", "×": "x", "¢": " cents", "\u202f": " "})  # fmt: skip  # noqa: E501


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of a line with its style, a word of rich."""

    text: str
    style: str = ""


Line = Sequence[Piece]


def lines(answer: Answer) -> list[Line]:
    """The screen as lines of styled pieces."""
    out: list[Line] = []
    date = answer.words.day(answer.today)
    name = answer.name[: WIDTH - len(date) - 2]
    out.append([Piece(name, "bold"), Piece(" " * (WIDTH - len(name) - len(date))), Piece(date)])
    if answer.stop:
        out += [[Piece(text, COLOUR["stop"])] for text in _wrapped(answer.stop, 2)]
    out += [[Piece(text, "bold")] for text in _wrapped(f"{answer.headline} {answer.outcome}", 2)]
    out.append(_rule())
    out += list(_deeds(answer))
    out.append(_rule())
    out += list(_verdicts(answer))
    out.append(_rule())
    out += list(_figures(answer))
    out.append(_rule())
    if answer.doubts:
        out += _said("Doubts", " ".join(answer.doubts), 1)
    if answer.test:
        out += _said("Test next", answer.test, 1)
    out.append([Piece("Dates are estimates: verify by test.   All of it: brewwater plan --full", "bright_black")])
    for at in [i for i, line in enumerate(out) if line == _rule()][::-1]:
        if len(out) > MOST_LINES:  # long names break lines: the rules between the parts give way
            del out[at]
    return out


def _rule() -> Line:
    return [Piece("─" * WIDTH, "bright_black")]


def _wrapped(text: str, most: int, width: int = WIDTH) -> list[str]:
    """At most so many lines; what does not fit ends in three dots, and stands in full behind ``--full``."""
    found = textwrap.wrap(text, width) or [""]
    if len(found) <= most:
        return found
    return [*found[: most - 1], textwrap.shorten(" ".join(found[most - 1 :]), width, placeholder=" ...")]


def _said(label: str, text: str, most: int = 1) -> list[Line]:
    first, *rest = _wrapped(text, most, WIDTH - LABEL)
    return [[Piece(label.ljust(LABEL)), Piece(first)], *([Piece(" " * LABEL + line)] for line in rest)]


def _deeds(answer: Answer) -> Iterator[Line]:
    """What to buy, change, order, pay and set."""
    if answer.stages:
        names = []
        for s in answer.stages:
            past = f", {bypass(s.stage.bypass_percent)}" if s.stage.bypass_percent else ""
            names.append(f"{s.number} {s.name}{past}")
        yield from _said("Buy", " → ".join(names), 2)
    else:
        yield from _said("Buy", "nothing")
    change, order = answer.next, answer.order
    if change is None:
        yield from _said("Change", "nothing falls due in the days of this plan")
    else:
        span = answer.between(change).replace(" to ", ", latest ")
        tail = f"    earliest {span}" if span else ""
        yield [
            Piece(("Overdue" if answer.overdue(change) else "Change").ljust(LABEL)),
            Piece(answer.day(change.date).ljust(13), "bold"),
            Piece(f"{change.number} {change.stage}{tail}"[: WIDTH - LABEL - 13]),
        ]
    if order is not None and order.order_by is not None:
        left = (order.order_by - answer.today).days
        when = f"{left} days from today" if left >= 0 else f"{-left} days ago"
        yield [
            Piece("Order by".ljust(LABEL)),
            Piece(answer.day(order.order_by).ljust(13), "bold"),
            Piece(f"{order.number} {order.stage}    {when}"[: WIDTH - LABEL - 13]),
        ]
    drink = f"   {answer.per_drink} a drink" if answer.per_drink else ""
    yield [
        Piece("Money".ljust(LABEL)),
        Piece(f"{answer.money} a year", "bold"),
        Piece(f"  ({answer.money_range}){drink}   {answer.start} to start"),
    ]
    if answer.settings:
        yield from _said("Today", f"Fill. Set the {answer.settings}. 0 is all treated, 100 all raw.")


def _mark(status: Status, width: int) -> Piece:
    return Piece(f"{SIGN[status]} {STATUS.label(status)}".ljust(width), COLOUR[status])


def _verdicts(answer: Answer) -> Iterator[Line]:
    before, after = WATER.inside("source"), WATER.inside("served")
    where = f"at the {answer.flows.main[:1].lower()}{answer.flows.main[1:]}"
    yield [Piece(f"{'':{LABEL}}{before:13}{after:14}{where}"[:WIDTH], "bright_black")]
    for said in (*answer.verdicts, answer.safety):
        yield from _verdict(said)


def _verdict(said: Said) -> Iterator[Line]:
    room = WIDTH - LABEL - 27
    label = "Safe?" if said.subject == "safety" else SUBJECT.label(said.subject)
    text = _wrapped(f"{said.sentence} {said.aside}".strip(), 2, room)
    if len(text) > 1:
        text = _wrapped(said.sentence, 2, room)
    marks = (
        [_mark(said.after.status, 27)]
        if said.before.status == said.after.status
        else [_mark(said.before.status, 11), Piece("→ "), _mark(said.after.status, 14)]
    )
    yield [Piece(label.ljust(LABEL)), *marks, Piece(text[0])]
    for more in text[1:]:
        yield [Piece(" " * (LABEL + 27) + more)]


def _figures(answer: Answer) -> Iterator[Line]:
    shown = answer.towns[:MOST_TOWNS]
    more = len(answer.towns) - len(shown)
    head = "".join(f"{t.name[:17]:>19}" for t in shown)
    yield [Piece(f"{'':19}{head}     goal{f'   ({more} more waters: --full)' if more else ''}", "bright_black")]
    for label, subject, name in ROWS:
        found = [(t.measure(subject, name, after=False), t.measure(subject, name, after=True), t) for t in shown]
        first = found[0][0]
        if first is None:
            continue
        kind = kind_of(name, first.unit)
        pieces = [Piece(f"{f'{label}, {answer.words.unit(kind)}':19}")]
        for before, after, _ in found:
            pieces += [
                Piece(f"{_number(answer, name, before):>10}", "yellow"),
                Piece(" → "),
                Piece(f"{_number(answer, name, after):<6}", "bright_blue"),
            ]
        yield [*pieces, Piece(f"     {_goal(answer, name, first)}")]


def _number(answer: Answer, name: str, m: Measure | None) -> str:
    if m is None or m.p50 is None or m.share is None:
        return "not known" if m is None or m.p50 is None else f"~{_plain(answer, name, m.p50, m.unit)}"
    return _plain(answer, name, m.p50, m.unit)


def _plain(answer: Answer, name: str, value: float, unit: str) -> str:
    shown = answer.words.out(kind_of(name, unit), value)
    return answer.words.number(shown, 3 if abs(shown) >= 10 else 2)


def _goal(answer: Answer, name: str, m: Measure) -> str:
    low, high = (None if x is None else _plain(answer, name, x, m.unit) for x in m.goal)
    if low is not None and high is not None:
        return f"{low} to {high}"
    return f"up to {high}" if high is not None else f"from {low}" if low is not None else "none"


def text(answer: Answer, *, ascii_only: bool = False) -> str:
    """The screen without colour."""
    said = "\n".join("".join(p.text for p in line).rstrip() for line in lines(answer))
    return said.translate(_ASCII) if ascii_only else said


def show(answer: Answer) -> None:
    """Write the screen to standard output: in colour on a terminal, else plain."""
    import sys

    out = sys.stdout
    letters = (out.encoding or "ascii").lower().replace("-", "")
    if not out.isatty() or not letters.startswith("utf"):
        print(text(answer, ascii_only=not letters.startswith("utf")))
        return
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False, soft_wrap=True)
    for line in lines(answer):
        console.print(Text.assemble(*((p.text, p.style) for p in line)))
