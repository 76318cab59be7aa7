"""Verdict signs, stage discs, and the pieces of SVG that the drawings share."""

from __future__ import annotations

from collections.abc import Sequence

from brewwater.escape import for_html as html
from brewwater.output.drawing.ink import Ink
from brewwater.output.vocabulary import STATUS
from brewwater.verdicts.measure import Status

FACE = "'Source Sans','Source Sans 3','Source Sans Pro','Liberation Sans',system-ui,sans-serif"

# Headings of the blocks: a front end that makes its own of h1 to h3 (links, anchors) leaves these as they are.
H1 = '<div role="heading" aria-level="1" class="bw-headline">'
H2 = '<div role="heading" aria-level="2" class="bw-h2">'
H2_DESK = '<div role="heading" aria-level="2" class="bw-h2 bw-desk">'
H3 = '<div role="heading" aria-level="3" class="bw-h3">'


def n(value: float) -> str:
    """A coordinate with a tenth of a pixel."""
    return f"{value:.1f}".rstrip("0").rstrip(".") if "." in f"{value:.1f}" else f"{value:.0f}"


def text(
    x: float,
    y: float,
    words: object,
    colour: str,
    *,
    size: float = 14,
    weight: int = 400,
    anchor: str = "start",
    halo: str = "",
) -> str:
    """Text with its baseline at ``y``; ``halo`` a colour around it that keeps lines
    out of the letters, on screen alone: a PDF would draw it over them."""
    about = f";paint-order:stroke;stroke:{halo};stroke-width:4px" if halo.startswith("var") else ""
    return (
        f'<text x="{n(x)}" y="{n(y)}" text-anchor="{anchor}" font-size="{n(size)}" font-weight="{weight}" '
        f'style="fill:{colour}{about}">{html(words)}</text>'
    )


def svg(width: float, height: float, name: str, body: Sequence[str] | str, css: str = "", *, wide: bool = False) -> str:
    """A drawing of its own size; ``wide``: it takes the width it is given. ``name`` is read out in its stead."""
    inside = body if isinstance(body, str) else "".join(body)
    size = 'width="100%"' if wide else f'width="{n(width)}" height="{n(height)}"'
    named = f' class="{css}"' if css else ""
    return (
        f'<svg{named} {size} viewBox="0 0 {n(width)} {n(height)}" role="img" aria-label="{html(name)}" '
        f'font-family="{FACE}" xmlns="http://www.w3.org/2000/svg">{inside}</svg>'
    )


def disc(x: float, y: float, number: int | str, ink: Ink, *, hollow: bool = False, r: float = 11) -> str:
    """A stage's number: full for a change, hollow for one that goes in after a lay-up."""
    fill, letters = (ink.paper, ink.ink) if hollow else (ink.ink, ink.paper)
    return (
        f'<circle cx="{n(x)}" cy="{n(y)}" r="{n(r - (0.9 if hollow else 0))}" '
        f'style="fill:{fill};stroke:{ink.ink};stroke-width:1.8"/>'
        + text(x, y + r * 0.42, number, letters, size=r * 1.2, weight=700, anchor="middle")
    )


def sign(status: Status, ink: Ink, x: float = 9, y: float = 9, r: float = 8.5) -> str:
    """A verdict's shape: round and ticked, a triangle, an octagon, a dashed diamond."""
    if status == "ok":
        tick = f"M{n(x - r * 0.45)} {n(y)}l{n(r * 0.33)} {n(r * 0.36)}l{n(r * 0.6)} {n(-r * 0.68)}"
        return (
            f'<circle cx="{n(x)}" cy="{n(y)}" r="{n(r)}" style="fill:{ink.good}"/>'
            f'<path d="{tick}" style="fill:none;stroke:{ink.paper};stroke-width:{n(r * 0.26)};stroke-linecap:round"/>'
        )
    if status == "watch":
        top = f"M{n(x)} {n(y - r)}L{n(x + r * 1.05)} {n(y + r * 0.85)}H{n(x - r * 1.05)}Z"
        return (
            f'<path d="{top}" style="fill:{ink.watch};stroke:{ink.ink};stroke-width:1.5;stroke-linejoin:round"/>'
            + text(x, y + r * 0.68, "!", ink.watch_ink, size=r * 1.35, weight=700, anchor="middle")
        )
    if status == "unknown":
        way = f"M{n(x)} {n(y - r)}L{n(x + r)} {n(y)}L{n(x)} {n(y + r)}L{n(x - r)} {n(y)}Z"
        return (
            f'<path d="{way}" style="fill:none;stroke:{ink.unknown};stroke-width:1.7;stroke-dasharray:2.4 1.8"/>'
            + text(x, y + r * 0.42, "?", ink.unknown, size=r * 1.2, weight=700, anchor="middle")
        )
    c = r * 0.41
    corners = ((-c, -r), (c, -r), (r, -c), (r, c), (c, r), (-c, r), (-r, c), (-r, -c))
    way = "M" + "L".join(f"{n(x + dx)} {n(y + dy)}" for dx, dy in corners) + "Z"
    inside = (
        f'<path d="M{n(x - r * 0.5)} {n(y)}H{n(x + r * 0.5)}" style="stroke:{ink.paper};stroke-width:{n(r * 0.34)}"/>'
        if status == "stop"
        else text(x, y + r * 0.5, "!", ink.paper, size=r * 1.45, weight=700, anchor="middle")
    )
    return f'<path d="{way}" style="fill:{ink.act}"/>{inside}'


def label(before: Status | None, after: Status, ink: Ink) -> str:
    """What was and what is: the sign of the untreated water, an arrow, the sign and the word after. Louder is worse."""
    icon = '<svg class="bw-sign" width="18" height="18" viewBox="0 0 18 18" aria-hidden="true">{}</svg>'
    was = ""
    if before is not None and before != after:
        was = (
            f'{icon.format(sign(before, ink))}<span class="bw-sr">Before: {html(STATUS.label(before))}. After:</span>'
            '<span class="bw-arrow" aria-hidden="true">→</span>'
        )
    return (
        f'<span class="bw-verdict">{was}{icon.format(sign(after, ink))} '
        f'<span class="bw-word bw-{after}">{html(STATUS.label(after))}</span></span>'
    )
