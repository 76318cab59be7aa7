"""Blocks of the other pages: what each stage does, what is due next, a caution at its step."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence

from brewwater.demand import Calendar
from brewwater.escape import for_html as html
from brewwater.output.answer import Answer, Change, StageLine
from brewwater.output.drawing.dial import dial
from brewwater.output.drawing.first import guess, icon
from brewwater.output.drawing.ink import Ink
from brewwater.output.drawing.signs import H2, H3, disc
from brewwater.output.drawing.treatment import picture, strip
from brewwater.output.drawing.year import flag, year_strip
from brewwater.units import plain


def caution(lines: Sequence[str], ink: Ink, at: str = "") -> str:
    """A caution inside the step that it belongs to."""
    if not lines:
        return ""
    place = f"<strong>{html(at)}:</strong> " if at else ""
    said = " ".join(html(line) for line in lines)
    return f'<div class="bw-care" role="note">{icon("watch", ink, 22)}<span>{place}{said}</span></div>'


def number(stage: StageLine | int, ink: Ink, size: int = 26) -> str:
    """A stage's disc by itself."""
    value = stage if isinstance(stage, int) else stage.number
    return (
        f'<svg width="{size}" height="{size}" viewBox="0 0 24 24" aria-hidden="true">{disc(12, 12, value, ink)}</svg>'
    )


def _small(body: str, size: int = 24) -> str:
    return f'<svg width="{size}" height="{size}" viewBox="0 0 24 24" aria-hidden="true">{body}</svg>'


def stage_card(stage: StageLine, answer: Answer, ink: Ink) -> str:
    """One stage: what it does, how long it lasts and how sure that is, when it is changed, what to mind."""
    lasts = ""
    if stage.gallons is not None:
        what = "a batch" if stage.stage.medium == "mineral_dose" else "lasts"
        lasts = f"{what} about {answer.words.quantity('volume', stage.gallons, 2)} "
    sure = guess("usual figure") if stage.assumed else '<span class="bw-guess bw-sheet-mark">data sheet</span>'
    due = "no change due in this plan"
    if stage.changes:
        word = "overdue since" if answer.overdue(stage.changes[0]) else "next"
        due = f"{word} <strong>{html(answer.short_day(stage.changes[0].date))}</strong>"
        year = sum(1 for c in stage.changes if (c.date - answer.today).days < 365)
        due += f", {year} in a year"
    past = f"<br>{html(f'bypass {plain(stage.stage.bypass_percent)}%')}" if stage.stage.bypass_percent else ""
    return (
        f'<section class="bw-stage">{H3}{number(stage, ink)} {html(stage.name)}</div><p>{html(stage.does)}</p>'
        f'<div class="bw-note">{lasts}{sure}<br>{due}{past}</div>{caution(stage.care, ink)}</section>'
    )


def treatment_html(answer: Answer, ink: Ink, title: str, note: str, settings: Sequence[tuple[str, float]] = ()) -> str:
    """The treatment: picture, stages, dial. ``settings``: marks of the dial; without any, the plan's own."""
    if not answer.stages:
        return (
            f'<div class="bw bw-answer">{H2}{html(title)}</div>'
            f"<p>{html(note or 'Nothing to buy: the water is served untreated.')}</p></div>"
        )
    cards = "".join(stage_card(s, answer, ink) for s in answer.stages)
    valve = next((s for s in answer.stages if s.stage.bypass_percent), None)
    turned = ""
    if valve is not None:
        marks = settings or [("", valve.stage.bypass_percent)]
        turned = f'<section class="bw-stage">{H3}Bypass dial, stage {valve.number}</div>{dial(marks, ink)}</section>'
    said = f'<div class="bw-note">{html(note)}</div>' if note else ""
    return (
        f'<div class="bw bw-answer">{H2}{html(title)}</div>{said}'
        f'<div class="bw-desk bw-drawn">{picture(answer, ink)}</div>'
        f'<div class="bw-phone">{strip(answer, ink)}</div><div class="bw-stages bw-rule">{cards}{turned}</div></div>'
    )


def _coming(answer: Answer, calendar: Calendar) -> Iterator[tuple[dt.date, str, Change | None, str, str]]:
    """What is to be done, by day: the day, its kind, the change, what it is, a remark."""
    for c in answer.changes:
        if c.order_by is not None and c.order_by >= answer.today:
            yield c.order_by, "order", c, f"Order {c.part}", f"for {answer.short_day(c.fitted or c.date)}"
        span = answer.between(c)
        late = c.fitted is not None and c.fitted != c.date
        remark = f"could be {span}" if span and not late else "overdue" if answer.overdue(c) else c.because
        verb = "Mix new" if c.part == "minerals" else "Take out" if late else "Change"
        yield c.date, "change", c, f"{verb} {c.part}", remark
        if late and c.fitted is not None:
            yield c.fitted, "fit", c, f"Put in new {c.part}", "after the stop"
    for e in calendar.busy:
        if e.end >= answer.today:
            yield e.start, "event", None, e.name, f"to {answer.short_day(e.end)}" if e.end != e.start else ""


def coming(answer: Answer, calendar: Calendar, ink: Ink, most: int = 12) -> str:
    """The list of what is due next, the first ``most`` entries."""
    rows = sorted(_coming(answer, calendar), key=lambda r: (r[0], r[1], r[3]))[:most]
    items = []
    for day, kind, change, what, remark in rows:
        if kind == "order":
            mark = f'<svg width="24" height="24" aria-hidden="true">{flag(8, 13, ink)}</svg>'
        elif kind == "event" or change is None:
            mark = (
                '<svg width="24" height="24" aria-hidden="true"><rect x="3" y="9" width="18" height="6" '
                f'style="fill:{ink.ink}"/></svg>'
            )
        else:
            mark = _small(disc(12, 12, change.number, ink, hollow=kind == "fit"))
        items.append(
            f'<li><strong class="bw-when">{html(answer.day(day))}</strong>{mark}<span>{html(what)} '
            f'<span class="bw-note">{html(remark)}</span></span></li>'
        )
    return f'<ol class="bw-coming">{"".join(items)}</ol>'


def legend(ink: Ink) -> str:
    """What the marks of the year mean."""
    full = f'<svg width="22" height="22" viewBox="0 0 24 24" aria-hidden="true">{disc(12, 12, 1, ink)}</svg>'
    hollow = (
        f'<svg width="22" height="22" viewBox="0 0 24 24" aria-hidden="true">{disc(12, 12, 1, ink, hollow=True)}</svg>'
    )
    bar = (
        f'<svg width="26" height="14" aria-hidden="true"><rect x="1" y="2" width="24" height="10" '
        f'style="fill:{ink.band};stroke:{ink.edge}"/></svg>'
    )
    pole = f'<svg width="16" height="22" aria-hidden="true">{flag(3, 12, ink)}</svg>'
    return (
        f'<div class="bw-legend"><span>{full} change</span><span>{bar} earliest to latest, next change</span>'
        f"<span>{pole} order by</span><span>{hollow} new one in after lay-up</span></div>"
    )


def calendar_html(answer: Answer, calendar: Calendar, ink: Ink) -> str:
    """The year, and what is due next."""
    change = answer.next
    why = ""
    if change is not None:
        stage = answer.stages[change.number - 1]
        sure = (
            f"{guess('usual figure')} Its data sheet is not in yet. With it the gap from "
            f"{html(answer.between(change))} gets shorter."
            if stage.assumed and answer.between(change)
            else ""
        )
        moved = f" It was {html(change.because)}." if change.because else ""
        why = (
            f"<section>{H2}Why {html(answer.short_day(change.date))}</div><p>The {html(change.part)} "
            f"<strong>{html(change.governs)}</strong> by then.{moved}</p><p>{sure}</p></section>"
        )
    return (
        f'<div class="bw bw-answer">{legend(ink)}<div class="bw-desk">{year_strip(answer, calendar, ink)}</div>'
        f'<div class="bw-phone">{year_strip(answer, calendar, ink, width=358)}</div>'
        f'<div class="bw-twice"><section>{H2}Next</div>{coming(answer, calendar, ink)}</section>{why}</div></div>'
    )
