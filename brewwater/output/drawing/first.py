"""The answer as HTML: headline, facts, verdicts against their goals, what to buy, the year. Page and sheet share it."""

from __future__ import annotations

from collections.abc import Sequence

from brewwater.demand import Calendar
from brewwater.escape import for_html as html
from brewwater.output.answer import Answer, Rail, Said
from brewwater.output.drawing.channel import channel, told
from brewwater.output.drawing.dial import dial
from brewwater.output.drawing.ink import Ink
from brewwater.output.drawing.signs import H1, H2, H2_DESK, H3, label, sign
from brewwater.output.drawing.treatment import picture, strip
from brewwater.output.drawing.year import next_strip, year_strip
from brewwater.output.vocabulary import STATUS, SUBJECT, WATER
from brewwater.verdicts import Verdict
from brewwater.verdicts.measure import Status


def guess(words: str) -> str:
    """A mark with a dashed frame: a usual figure, or a guess."""
    return f'<span class="bw-guess">{html(words)}</span>'


def icon(status: Status, ink: Ink, size: int = 18) -> str:
    """A verdict's sign by itself."""
    return (
        f'<svg class="bw-sign" width="{size}" height="{size}" viewBox="0 0 18 18" aria-hidden="true">'
        f"{sign(status, ink)}</svg>"
    )


def stop(answer: Answer, ink: Ink) -> str:
    """The safety stop, before all; empty where there is none."""
    if not answer.stop:
        return ""
    return f'<div class="bw-halt" role="alert">{icon("stop", ink, 26)}<strong>{html(answer.stop)}</strong></div>'


def head(answer: Answer) -> str:
    """What is wrong, and what the treatment makes of it."""
    return f"{H1}{html(answer.headline)} {html(answer.outcome)}</div>"


def _fact(name: str, value: str, note: str, css: str) -> str:
    return (
        f'<div class="bw-fact bw-fact-{css}"><div class="bw-label">{html(name)}</div>'
        f'<div class="bw-fig">{value}</div><div class="bw-note">{note}</div></div>'
    )


def facts(answer: Answer, ink: Ink) -> str:
    """Next change, order, the year's cost, what to start with, and whether it is safe to drink."""
    change, order, safety = answer.next, answer.order, answer.safety.after.status
    span = answer.between(change) if change else ""
    guesses = f" {guess('prices are guesses')}" if answer.prices_assumed else ""
    if change is None:
        due = _fact("Next change", "None due", "in the days of this plan", "next")
    else:
        order_line = f" Order by <strong>{html(answer.short_day(change.order_by))}</strong>." if change.order_by else ""
        due = _fact(
            answer.next_label,
            html(answer.day(change.date)),
            f'{html(change.part[:1].upper() + change.part[1:])}<span class="bw-desk">; {html(span)}</span>'
            f'<span class="bw-phone">.{order_line}</span>'
            if span
            else f'{html(change.part[:1].upper() + change.part[1:])}<span class="bw-phone">.{order_line}</span>',
            "next",
        )
    buy = _fact(
        "Order it by",
        html(answer.day(order.order_by)) if order else "Nothing",
        html(order.part) if order else "",
        "order",
    )
    year = _fact(
        "A year costs",
        html(answer.money),
        f'<span class="bw-desk">{html(answer.money_range)};</span>{guesses}'
        if guesses
        else f'<span class="bw-desk">{html(answer.money_range)}</span>',
        "year",
    )
    begin = _fact("To start", html(answer.start), "first set, once", "start")
    drink = _fact(
        SUBJECT.label("safety"),
        f'{icon(safety, ink, 20)} <span class="bw-word bw-{safety}">{html(STATUS.label(safety))}</span>',
        html(_after_colon(answer.safety.sentence)),
        "safe",
    )
    return f'<div class="bw-facts">{due}{year}{buy}{begin}{drink}</div>'


def _after_colon(sentence: str) -> str:
    return sentence.split(": ", 1)[1] if sentence.startswith(f"{STATUS.label('unknown')}: ") else sentence


def legend(answer: Answer, ink: Ink) -> str:
    """What ring, disc, box and letters mean."""
    ring = (
        f'<svg width="15" height="15" aria-hidden="true"><circle cx="7.5" cy="7.5" r="5.6" '
        f'style="fill:none;stroke:{ink.raw};stroke-width:2"/></svg>'
    )
    full = (
        f'<svg width="15" height="15" aria-hidden="true"><circle cx="7.5" cy="7.5" r="6.4" '
        f'style="fill:{ink.treated}"/></svg>'
    )
    box = (
        f'<svg width="19" height="15" aria-hidden="true"><rect x="1" y="1.5" width="17" height="12" rx="2.5" '
        f'style="fill:none;stroke:{ink.ink};stroke-width:1.5"/></svg>'
    )
    letters = " · ".join(f"{t.letter} {t.name}" for t in answer.towns) if len(answer.towns) > 1 else ""
    before, after = WATER.inside("source"), WATER.inside("served")
    return (
        f'<div class="bw-legend"><span>{ring} before<span class="bw-desk">, {before}</span></span>'
        f'<span>{full} after<span class="bw-desk">, {after}</span></span>'
        f"<span>{box} goal</span>{f'<span>{html(letters)}</span>' if letters else ''}</div>"
    )


def verdict(said: Said, answer: Answer, ink: Ink, *, folded: bool = True, rails: int = 2) -> str:
    """One subject: label, sentence, its rails, and the figures folded behind them."""
    before = said.before.status if said.before is not said.after else None
    drawn = "".join(_rail(rail, answer, ink) for rail in said.rails[:rails])
    aside = f" {html(said.aside)}" if said.aside else ""
    return (
        f'<section class="bw-said" data-subject="{said.subject}">{H3}{html(said.label)}</div>'
        f"{label(before, said.after.status, ink)}"
        f'<p class="bw-sentence">{html(said.sentence)}<span class="bw-aside">{aside}</span></p>'
        f'<div class="bw-rails">{drawn}</div>{_figures(said, answer) if folded else ""}</section>'
    )


def _rail(rail: Rail, answer: Answer, ink: Ink) -> str:
    drawn = channel(rail, answer.words, ink)
    return f'<div class="bw-rail"><span class="bw-railname">{html(rail.title)}</span>{drawn}</div>'


def _figures(said: Said, answer: Answer) -> str:
    lines = "".join(f"<li>{html(_capital(told(rail, answer.words)))}.</li>" for rail in said.rails)
    parts = f'<ul class="bw-plain">{lines}</ul>' if lines else ""
    parts += f"<strong>After, {WATER.inside('served')}</strong>{details(said.after, answer)}"
    if said.before is not said.after:
        parts += f"<strong>Before, {WATER.inside('source')}</strong>{details(said.before, answer)}"
    more = '<span class="bw-desk"> and the test that could change this</span>'
    return f'<details><summary>Figures{more}<span class="bw-sr">: {html(said.label)}</span></summary>{parts}</details>'


def details(found: Verdict, answer: Answer) -> str:
    """Everything behind a verdict: its reasons with figures, share in goal, what would change it, its source."""
    rows = [("Why", found.why)]
    if found.share is not None:
        rows.append(("In goal", f"{answer.words.share(found.share)} of the waters that fit what is known"))
    if found.flip or found.flip_test:
        rows.append(("Would change it", found.flip or found.flip_test or ""))
    if found.phase:
        rows.append(("Decided by", found.phase))
    rows.append(("Source", found.source))
    return "<dl>" + "".join(f"<dt>{html(a)}</dt><dd>{html(b)}</dd>" for a, b in rows) + "</dl>"


def _capital(text: str) -> str:
    return text if text.startswith("pH") else text[:1].upper() + text[1:]


def safety(answer: Answer, ink: Ink) -> str:
    """Whether it is safe to drink, with everything behind it."""
    said = answer.safety
    return (
        f'<section class="bw-safe" data-subject="safety">{icon(said.after.status, ink, 20)} '
        f"<div><strong>{html(said.label)}</strong> {html(said.sentence)}"
        "<details><summary>What is missing, and who can tell</summary>"
        f"{details(said.after, answer)}</details></div></section>"
    )


def setting(answer: Answer, ink: Ink) -> str:
    """How the bypass is set today, with its dial; empty where there is none."""
    valves = [s for s in answer.stages if s.stage.bypass_percent]
    if not valves:
        return ""
    one = dial([("", valves[0].stage.bypass_percent)], ink, small=True)
    return (
        f'<div class="bw-set">{one}<div><strong>Fill. Set the {html(answer.settings)}.</strong><br>'
        "0 is all treated, 100 all raw.</div></div>"
    )


def buy(answer: Answer, ink: Ink) -> str:
    """What to buy: the stages in the order of flow."""
    if not answer.stages:
        return ""
    return (
        f'<div class="bw-buy bw-phone"><div class="bw-split">{H2}What to buy</div><span>to start, '
        f"<strong>{html(answer.start)}</strong></span></div>{strip(answer, ink)}</div>"
    )


def answer_html(answer: Answer, calendar: Calendar, ink: Ink, extra: Sequence[str] = ()) -> str:
    """The whole answer as one block. ``extra``: blocks of HTML that stand before the safety question."""
    where = f"At the {answer.flows.main[:1].lower()}{answer.flows.main[1:]}"
    verdicts = "".join(verdict(s, answer, ink) for s in answer.verdicts)
    test = f'<p class="bw-test"><strong>Test next.</strong> {html(answer.test)}</p>' if answer.test else ""
    year = (
        f'<div class="bw-desk bw-rule">{H2}The year</div>{year_strip(answer, calendar, ink)}</div>'
        if answer.changes
        else ""
    )
    seeking = "yes" if answer.searching else "no"
    return (
        f'<div class="bw bw-answer" data-searching="{seeking}">{stop(answer, ink)}{head(answer)}{facts(answer, ink)}'
        f'<div class="bw-phone">{next_strip(answer, ink)}</div>'
        f'<div class="bw-desk bw-drawn">{picture(answer, ink)}</div>'
        f'<div class="bw-split bw-rule">{H2_DESK}{html(where)}</div>{legend(answer, ink)}</div>'
        f'<div class="bw-verdicts">{verdicts}</div>{"".join(extra)}{year}{safety(answer, ink)}{buy(answer, ink)}'
        f"{setting(answer, ink)}{test}</div>"
    )
