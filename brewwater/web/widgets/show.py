"""Blocks that every page is made of: figures that open to their formula, verdicts, tables, cautions.

They are written as plain HTML (every text escaped): one element each, readable by keyboard and by screen
readers, with ``details`` that open without asking the server.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

import streamlit as st

from brewwater.escape import for_html as escape
from brewwater.output.drawing import STYLE as DRAWN
from brewwater.output.vocabulary import SIGN, STATUS, SUBJECT, WATER
from brewwater.verdicts import Verdict
from brewwater.web.widgets.words import MEANS

# Letters that a column may ask for before it breaks its lines, and how many letters in all columns do not fit a
# tablet or a phone.
MOST_LETTERS = 20
_BEFORE, _AFTER = WATER.label("source").lower(), WATER.label("served").lower()
BADGE_LETTERS, PAIR_LETTERS = 15, 12
CARDS_FROM = {80: " bw-cards bw-broad", 50: " bw-cards"}

# A row as a card: the column's name, then the value. The head stays for screen readers, which then skip the names.
CARDS = """
.bw-cards :is(table,tbody,tr){display:block}
.bw-cards thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
.bw-cards tr{border:1px solid var(--bw-edge);border-radius:6px;padding:.45rem .8rem;
 background:light-dark(#ffffff,#1a2123)}
.bw-cards tr+tr{margin-top:.5rem}
.bw.bw-cards tbody tr>*{display:grid;grid-template-columns:minmax(0,7.5rem) minmax(0,1fr);gap:0 .7rem;
 border:0;padding:.12rem 0;min-width:0;max-width:none;text-align:left;white-space:normal;overflow-wrap:anywhere;
 position:static;background:none;align-items:baseline}
.bw-cards tbody tr>*::before{content:attr(data-label);content:attr(data-label) / "";
 font-size:.875rem;font-weight:400;color:var(--bw-second)}
.bw.bw-cards tbody tr>[data-label=""]{display:block}
.bw-cards tbody tr>[data-label=""]::before,.bw.bw-cards tbody tr>:has(>div:empty){display:none}
.bw-cards tbody tr>:first-child{font-weight:650;font-size:1rem;color:inherit}
.bw-cards .bw-pair{flex-direction:row}
"""

# light-dark() follows the theme that the reader chose; each pair has at least 4.5:1 on its ground. Nothing fades: what
# is out of date dims at once after its half second (fading makes every waiting page draw sixty frames a second), and a
# field takes its colour when it is entered: its fade drew three of the twenty frames of a change.
STYLE = """<style>
.bw{font-size:1rem;line-height:1.45}
.bw-grid{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(100%,var(--least,10rem)),1fr));gap:.6rem}
.bw-card{border:1px solid var(--bw-edge);border-radius:6px;padding:.6rem .8rem;
 background:light-dark(#ffffff,#1a2123);overflow-wrap:anywhere}
.bw-label{font-size:.875rem;color:var(--bw-second)}
.bw-value{font-size:1.3rem;font-weight:650;font-variant-numeric:tabular-nums;line-height:1.3}
.bw-note{font-size:.875rem;color:var(--bw-second)}
.bw details{margin-top:.3rem;font-size:.875rem}
.bw summary{cursor:pointer;color:var(--bw-ink);text-decoration:underline;
 text-underline-offset:3px;min-height:1.5rem}
.bw dl{margin:.4rem 0 0;padding:0;display:grid;grid-template-columns:auto 1fr;gap:.15rem .7rem}
.bw dt{margin:0;color:var(--bw-second)}
.bw dd{margin:0}
.bw details :is(dt,dd){font-size:.875rem}
.bw details>strong{display:block;margin-top:.5rem}
.bw-card{container:bw-card/inline-size}
@container bw-card (max-width:21rem){.bw details dl{display:block}.bw dt{margin:0;margin-top:.35rem}}
@media (max-width:640px){.bw-grid>.bw-card:has(details[open]){grid-column:1/-1}}
.bw-badge{display:inline-block;white-space:nowrap;border-radius:5px;padding:.05rem .5rem;font-weight:650;
 border:1px solid currentColor}
.bw-ok{color:var(--bw-good);background:transparent}
.bw-watch{color:var(--bw-watch-ink);background:var(--bw-watch)}
.bw-act{color:var(--bw-act);background:transparent}
.bw-stop{color:var(--bw-act);background:transparent}
.bw-unknown{color:var(--bw-second);background:transparent;border-style:dashed}
.bw-row{display:flex;flex-wrap:wrap;gap:.3rem .6rem;align-items:baseline}
.bw-subject{font-weight:700;min-width:4.2rem}
.bw-scroll{overflow-x:auto}
.bw table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}
.bw th{text-align:left;font-size:.875rem;font-weight:650;color:var(--bw-second)}
.bw th,.bw td{padding:.35rem .6rem .35rem 0;border-bottom:1px solid var(--bw-grid);
 vertical-align:top}
.bw td.n,.bw th.n{text-align:right}
.bw td.t{white-space:nowrap}
.bw td.l{min-width:15rem}
.bw td{min-width:4.5rem}
.bw th.p{position:sticky;left:0;min-width:6rem;max-width:14rem;background:var(--bw-paper)}
.bw-pair{display:flex;flex-wrap:wrap;gap:0 .5rem;align-items:baseline}
.bw-pair>:first-child{min-width:4.8rem}
.bw-pair>:last-child{white-space:nowrap}
.bw ol.bw-entries{list-style:none;margin:0;padding:0}
.bw-entry+.bw-entry{margin-top:.5rem}
.bw-caution{border-left:5px solid var(--bw-act);padding:.35rem .8rem;
 background:transparent;border-radius:0 6px 6px 0}
.bw-caution ul{margin:.2rem 0 0;padding-left:1.1rem}
.bw-line{border-left:5px solid var(--bw-ink);padding:.2rem .8rem}
.bw ol.bw-train{list-style:none;display:flex;flex-wrap:wrap;gap:.35rem;margin:.2rem 0;padding:0}
.bw ol.bw-train li{border:1px solid var(--bw-ink);border-radius:5px;padding:.1rem .55rem;margin:0}
.bw ol.bw-train li+li::before{content:"→ ";margin-right:.2rem}
.bw-blocks{display:grid;grid-template-columns:minmax(0,1fr);gap:1rem}
.bw-blocks>h3{font-size:1.75rem;font-weight:600;line-height:1.2;letter-spacing:-.005em;margin:0;padding:.75rem 0 0}
.bw-sketch{font-size:.875rem}
.bw-sketch>.bw-row{gap:.2rem 1rem;margin-bottom:.4rem}
.bw-plot{position:relative;height:17rem;margin:.5rem .8rem 1.6rem 2.6rem}
.bw-plot>img{position:absolute;left:-1.5%;top:-1.5%;width:103%;height:103%;max-width:none}
.bw-key{display:inline-block;forced-color-adjust:none;width:.7rem;height:.7rem;margin-right:.4rem}
.bw-plot span{position:absolute;font-variant-numeric:tabular-nums}
.bw-up span{right:calc(100% + .45rem);transform:translateY(-50%)}
.bw-up,.bw-along{position:absolute;inset:0;pointer-events:none}
.bw-along span{top:calc(100% + .25rem);transform:translateX(-50%)}
.bw-end{text-align:right}
.st-key-plan_stamp,.st-key-leaving{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
[data-testid=stCaptionContainer],[data-testid=stCaptionContainer] p{color:var(--bw-second)!important;
 opacity:1}
.stMainBlockContainer{padding:.75rem 2rem 3rem!important;max-width:72rem}
[data-testid=stHeader]{background:transparent;pointer-events:none;height:3.25rem}
[data-testid=stHeader] *{pointer-events:none}
[data-testid=stHeader] :is(button,button *,a){pointer-events:auto;background:var(--bw-paper)}
[data-testid=stSidebar]{width:15rem!important;min-width:15rem!important}
[data-testid=stSidebarHeader]{height:2.6rem;padding-bottom:0;margin-bottom:0}
[data-testid=stSidebarNavLink]{padding-top:.1rem;padding-bottom:.1rem}
.stMainBlockContainer>[data-testid=stVerticalBlock]{gap:.6rem}
@media (pointer:fine){[data-testid=stSidebarNavLink]{height:1.75rem;margin:0}}
.st-key-bar{min-height:2.6rem}
.st-key-bar .stElementContainer:has(button:disabled){display:none}
.stGraphVizChart{overflow-x:auto}
*,::before,::after{transition-duration:0s!important}
@media (prefers-reduced-motion:reduce){*,::before,::after{animation-duration:1ms!important;
 animation-iteration-count:1!important;scroll-behavior:auto!important}}
@media (pointer:coarse){.stGraphVizChart svg{max-width:none!important;height:auto!important}}
[data-testid^=stBaseButton-primary],[data-testid^=stBaseButton-primary] *{color:light-dark(#fff,#0c1113)!important}
.stMarkdownEllipsis,.stMarkdownEllipsis *{white-space:normal!important;overflow:visible!important}
[data-testid=stFileUploaderDropzoneInstructions] *{white-space:normal!important}
[data-testid=stMultiSelect] span:has(>span[title]){height:auto;padding-top:.15rem;padding-bottom:.15rem}
[data-testid=stMultiSelect] span[title]{white-space:normal;overflow:visible;color:light-dark(#fff,#0c1113)!important}
@media (max-width:640px){.bw td.l{min-width:8rem}.bw td{padding-right:.45rem}.bw th.p{min-width:4.2rem}
 .bw td .bw-badge{padding:.05rem .3rem;font-size:.875rem}.bw-pair{flex-direction:column}}
.bw-cards{container:bw-cards/inline-size}
.bw-broad{container-name:bw-broad}
@media (max-width:700px){.stMainBlockContainer{padding:.4rem .95rem 3rem!important}
 [data-testid=stSidebar]{width:100%!important}
 .st-key-bar{padding-left:2.6rem;gap:.5rem;flex-wrap:nowrap}
 .st-key-bar .stMarkdown p{line-height:1.2}
 .st-key-bar .stMarkdown p span{display:block;font-size:.875rem}
 .st-key-bar button{min-height:2.4rem;padding:.1rem .6rem}
 .st-key-bar button p{font-size:.875rem;white-space:nowrap}
 .st-key-bar button span:has(>[data-testid=stIconMaterial]){display:none}}
</style>""".replace(
    "</style>",
    f"@container bw-cards (max-width:34rem){{{CARDS}}}\n@container bw-broad (max-width:44rem){{{CARDS}}}\n</style>",
)


def style() -> None:
    """The rules that the blocks need, once a run."""
    st.html(STYLE)
    st.html(f"<style>{DRAWN}</style>")


_GATHERED: ContextVar[list[str] | None] = ContextVar("gathered", default=None)


def raw(html: str) -> None:
    """A block made in ``brewwater.output.drawing``: ``st.html`` would take its SVG away."""
    st.markdown(html.replace("\n", " "), unsafe_allow_html=True)


def _put(html: str) -> None:
    gathered = _GATHERED.get()
    if gathered is None:
        st.html(html)
    else:
        gathered.append(html)


@contextmanager
def together() -> Iterator[None]:
    """The blocks made inside, one under the other as one element: each element of its own is drawn, checked and marked
    as out of date by the browser at every change. Where one of them changes, what was opened in any of them closes.
    Only blocks of this module go inside, and no ``page_link``."""
    inside: list[str] = []
    token = _GATHERED.set(inside)
    try:
        yield
    finally:
        _GATHERED.reset(token)
    _put(f'<div class="bw bw-blocks">{"".join(inside)}</div>')


def heading(text: str) -> None:
    """The title of a part of the page, as ``st.subheader``."""
    _put(f"<h3>{escape(text)}</h3>")


def small(text: str) -> None:
    """A remark in small letters, as ``st.caption``."""
    _put(f'<div class="bw-note">{escape(text)}</div>')


@dataclass(frozen=True, slots=True)
class How:
    """How a figure came about: the formula in words, what went in, and who says so."""

    formula: str
    inputs: Sequence[tuple[str, str]] = ()
    source: str = ""
    spread: str = ""


@dataclass(frozen=True, slots=True)
class Figure:
    """A number with its unit and label, a note under it, and how it came about."""

    label: str
    value: str
    note: str = ""
    how: How | None = None


def _how(how: How | None, title: str) -> str:
    if how is None:
        return ""
    rows = [("Formula", how.formula), *how.inputs]
    if how.spread:
        rows.append(("Range", how.spread))
    if how.source:
        rows.append(("Source", how.source))
    body = "".join(f"<dt>{escape(a)}</dt><dd>{escape(b)}</dd>" for a, b in rows)
    return f"<details><summary>How: {escape(title)}</summary><dl>{body}</dl></details>"


def figures(items: Sequence[Figure]) -> None:
    """Figures side by side; each opens to its formula, inputs, range and source."""
    cards = "".join(
        f'<div class="bw-card"><div class="bw-label">{escape(f.label)}</div>'
        f'<div class="bw-value">{escape(f.value)}</div>'
        + (f'<div class="bw-note">{escape(f.note)}</div>' if f.note else "")
        + _how(f.how, f.label[:1].lower() + f.label[1:])
        + "</div>"
        for f in items
    )
    _put(f'<div class="bw bw-grid">{cards}</div>')


def badge(status: str) -> str:
    """A verdict as shape and word, in HTML."""
    shape, word = SIGN[status], STATUS.label(status)
    return f'<span class="bw-badge bw-{status}"><span aria-hidden="true">{shape}</span> {word}</span>'


def before_after(before: str, after: str) -> str:
    """Two pieces of HTML, the water before and after treatment, one under the other."""
    return (
        f'<div class="bw-pair"><span class="bw-label">{_BEFORE}</span> <span>{before}</span></div>'
        f'<div class="bw-pair"><span class="bw-label">{_AFTER}</span> <span>{after}</span></div>'
    )


def _verdict_detail(verdict: Verdict, share: str) -> str:
    flip = verdict.flip or verdict.flip_test
    parts = [f"<dt>Why</dt><dd>{escape(MEANS[verdict.subject, verdict.status])} {escape(verdict.why)}</dd>"]
    if share:
        parts.append(f"<dt>In goal</dt><dd>{escape(share)} of the waters that fit what is known</dd>")
    if flip:
        parts.append(f"<dt>Would change it</dt><dd>{escape(flip)}</dd>")
    if verdict.phase:
        parts.append(f"<dt>Decided by</dt><dd>{escape(verdict.phase)}</dd>")
    parts.append(f"<dt>Source</dt><dd>{escape(verdict.source)}</dd>")
    return f"<dl>{''.join(parts)}</dl>"


def verdicts(source: Sequence[Verdict], served: Sequence[Verdict], share: Callable[[float | None], str]) -> None:
    """Each subject on one card: before, then after; it opens to why and what would change it."""
    after = {v.subject: v for v in served}

    def told(verdict: Verdict) -> str:
        return "" if verdict.share is None else share(verdict.share)

    cards = []
    for before in source:
        now = after.get(before.subject, before)
        cards.append(
            f'<div class="bw-card" data-subject="{before.subject}"><div class="bw-row">'
            f'<span class="bw-subject">{SUBJECT.label(before.subject)}</span>'
            f'<span><span class="bw-label">{_BEFORE}</span> {badge(before.status)}</span>'
            + (f'<span><span class="bw-label">{_AFTER}</span> {badge(now.status)}</span>' if now is not before else "")
            + f"</div><div><strong>{escape(MEANS[now.subject, now.status])}</strong> {escape(now.why)}</div>"
            f"<details><summary>Why, and what would change it: {SUBJECT.inside(before.subject)}</summary>"
            f"<strong>{_BEFORE.capitalize()}</strong>{_verdict_detail(before, told(before))}"
            + (f"<strong>{_AFTER.capitalize()}</strong>{_verdict_detail(now, told(now))}" if now is not before else "")
            + "</details></div>"
        )
    _put(f'<div class="bw" style="display:grid;gap:.5rem">{"".join(cards)}</div>')


def train(names: Sequence[tuple[str, str]], label: str = "Treatment, in the order the water meets it") -> None:
    """The stages in order; each with a note (its bypass)."""
    if not names:
        _put('<div class="bw bw-line"><strong>No treatment.</strong> Buy nothing: the water is served untreated.</div>')
        return
    items = "".join(f"<li><strong>{escape(a)}</strong>{' ' + escape(b) if b else ''}</li>" for a, b in names)
    _put(f'<div class="bw"><ol class="bw-train" aria-label="{escape(label)}">{items}</ol></div>')


def table(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    numeric: Sequence[int] = (),
    label: str = "",
    raw: Sequence[int] = (),
    tight: Sequence[int] = (),
    long: Sequence[int] = (),
    pin: bool = False,
) -> None:
    """A plain table; ``numeric`` columns are set to the right, ``tight`` ones are not broken, ``long`` ones hold
    sentences, ``raw`` ones hold HTML made in this module. ``pin``: the first column names the rows and stays in
    sight when the others are moved aside.

    Where a table has no room each row becomes a card, with the column's name before each value. The roles are
    written out because a browser forgets those of a table that is not laid out as one."""

    def cell(index: int, text: str) -> str:
        named = pin and index == 0
        names = [n for n, at in (("n", numeric), ("t", tight), ("l", long)) if index in at] + ["p"] * named
        kind = f' class="{" ".join(names)}"' if names else ""
        role = ' scope="row" role="rowheader"' if named else ' role="cell"'
        tag = "th" if named else "td"
        inner = text if index in raw and not named else escape(text)
        # one child holds the value: beside the column's name it is one piece, whatever it is made of
        return f'<{tag}{kind}{role} data-label="{escape(heads[index])}"><div>{inner}</div></{tag}>'

    def title(index: int, text: str) -> str:
        names = ["n"] * (index in numeric) + ["p"] * (pin and index == 0)
        kind = f' class="{" ".join(names)}"' if names else ""
        return f'<th{kind} scope="col" role="columnheader">{escape(text)}</th>'

    head = "".join(title(i, h) for i, h in enumerate(heads))
    body = "".join('<tr role="row">' + "".join(cell(i, text) for i, text in enumerate(row)) + "</tr>" for row in rows)
    name = f' role="region" aria-label="{escape(label)}"' if label else ""

    def letters(index: int, text: str) -> int:
        most = (BADGE_LETTERS if "bw-badge" in text else PAIR_LETTERS) if index in raw else MOST_LETTERS
        return min(len(text), most)

    room = sum(max(letters(i, text) for text in (h, *(row[i] for row in rows))) for i, h in enumerate(heads))
    kind = next((name for least, name in CARDS_FROM.items() if room > least and len(heads) > 2), "")
    _put(
        f'<div class="bw bw-scroll{kind}" tabindex="0"{name}><table role="table"><thead role="rowgroup">'
        f'<tr role="row">{head}</tr></thead><tbody role="rowgroup">{body}</tbody></table></div>'
    )


def cautions(lines: Sequence[str], title: str = "Take care") -> None:
    """Short cautions at the place where the work can hurt."""
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    _put(f'<div class="bw bw-caution" role="note"><strong>▲ {escape(title)}</strong><ul>{items}</ul></div>')


@dataclass(frozen=True, slots=True)
class Checked:
    """A check of the unit: what was found against its limit (``at least 30 psi``), why, and who says so."""

    label: str
    status: str
    found: str
    limit: str
    why: str
    source: str


def checks(items: Sequence[Checked]) -> None:
    """Checks side by side, the failing ones first; each opens to why and its source."""
    cards = "".join(
        f'<div class="bw-card"><div class="bw-row"><span class="bw-label">{escape(c.label)}</span>'
        f"{badge(c.status)}</div>"
        f"<div><strong>{escape(c.found)}</strong>{f' (must be {escape(c.limit)})' if c.limit else ''}</div>"
        f"<details><summary>Why: {escape(c.label.lower())}</summary><div>{escape(c.why)}</div>"
        f"<dl><dt>Source</dt><dd>{escape(c.source)}</dd></dl></details></div>"
        for c in items
    )
    _put(f'<div class="bw bw-grid" style="--least:15rem">{cards}</div>')


def say(text: str) -> None:
    """One line that matters, set off from the rest."""
    _put(f'<div class="bw bw-line">{escape(text)}</div>')


def drawn(html: str) -> None:
    """A drawing that ``brewwater.output.charts`` made as HTML."""
    _put(html)


def page_link(address: str, label: str, icon: str) -> None:
    """A link to another page of the program, by its address."""
    pages = st.session_state.get("pages", {})
    if address in pages:
        st.page_link(pages[address], label=label, icon=f":material/{icon}:")


def entries(items: Sequence[tuple[str, str, str, str]], label: str) -> None:
    """A list of choices: name, amount, a warning where there is one, and a sentence."""
    cards = "".join(
        f'<li class="bw-card bw-entry"><div><strong>{escape(name)}</strong></div>'
        f'<div class="bw-row"><span class="bw-label">{escape(amount)}</span>'
        + (
            f'<span class="bw-badge bw-act"><span aria-hidden="true">■</span> {escape(warning)}</span>'
            if warning
            else ""
        )
        + f'</div><div class="bw-note">{escape(why)}</div></li>'
        for name, amount, warning, why in items
    )
    _put(f'<div class="bw"><ol class="bw-entries" aria-label="{escape(label)}">{cards}</ol></div>')
