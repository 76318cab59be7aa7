"""The treatment as a picture: a pipe as wide as its gallons a day, stages with their numbers, what each takes away.

Specks are what the water carries: squares grit, rings chlorine, dots minerals (as many as it has dissolved solids).
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from textwrap import wrap

from brewwater.output.answer import Answer, StageLine
from brewwater.output.drawing.ink import Ink
from brewwater.output.drawing.signs import disc, n, svg, text
from brewwater.output.vocabulary import bypass

WIDTH, HEIGHT = 984.0, 216.0
PIPE_Y = 74.0  # upper edge of the pipe
MOST_PX, LEAST_PX = 56.0, 7.0
TANK_END, MACHINE = 114.0, 872.0
# The first stage of these turns raw water into treated; without one an inhibitor, else the last stage does.
TURNS = frozenset(
    {
        "weak_acid",
        "softening",
        "calcium_to_magnesium",
        "chloride_anion",
        "reverse_osmosis",
        "mixed_bed",
    }
)
TAKES_CHLORINE = frozenset({"carbon", "catalytic_carbon"})
DOTS_PER_SOLIDS = 0.13  # dots for a piece of pipe 100 px by 40 px, for each mg/L


def turning(stages: Sequence[StageLine]) -> int:
    """The place of the stage that turns raw water into treated; -1 without any stage."""
    media = [s.stage.medium for s in stages]
    turns = [i for i, m in enumerate(media) if m in TURNS]
    holds = [i for i, m in enumerate(media) if m == "scale_inhibitor"]
    return (turns or holds or [len(stages) - 1])[0]


def _main(answer: Answer) -> list[StageLine]:
    return [s for s in answer.stages if s.stage.branch in (None, answer.flows.main)]


def picture(answer: Answer, ink: Ink) -> str:
    """The whole picture, from the tank to the machine."""
    flow, stages = answer.flows, _main(answer)
    scale = MOST_PX / max(flow.taken, 1e-9)

    def px(gallons: float) -> float:
        return max(gallons * scale, LEAST_PX) if gallons > 0 else 0.0

    words = answer.words

    def gal(gallons: float) -> str:
        return words.quantity("volume", gallons, 3 if gallons >= 10 else 2)

    turn = turning(stages)
    reject_at = next((i for i, s in enumerate(stages) if s.stage.medium == "reverse_osmosis"), None)
    first = 258.0 if flow.untreated > 0 else 190.0
    gap = (MACHINE - 40 - first) / max(len(stages), 1)
    places = [first + gap * (i + 0.5) for i in range(len(stages))]
    behind = flow.rejected + flow.treated
    parts: list[str] = []
    # pieces of pipe: from, to, gallons, whether treated, solids, and what it still carries
    edges = [TANK_END, *places, MACHINE]
    solids = _mean_solids(answer, len(stages))
    grit = chlorine = True
    for i in range(len(edges) - 1):
        amount = behind if reject_at is None or i <= reject_at else flow.treated
        if i > 0:
            grit = grit and stages[i - 1].stage.medium != "sediment"
            chlorine = chlorine and stages[i - 1].stage.medium not in TAKES_CHLORINE
        treated = bool(stages) and i > turn
        high = px(amount) if i > 0 or not flow.untreated else px(flow.taken)
        a, b = edges[i], edges[i + 1]
        if i == 0 and flow.untreated > 0:
            parts.append(_rect(a, PIPE_Y, 206 - a, px(flow.taken), ink.raw))
            parts.append(_rect(206, PIPE_Y, b - 206, px(behind), ink.raw) if behind > 0 else "")
            parts.append(_specks(a, 204, px(flow.taken), solids[0], grit, chlorine, ink, 1))
            parts.append(_specks(210, b - 20, px(behind), solids[0], grit, chlorine, ink, 2) if behind > 0 else "")
            continue
        parts.append(_rect(a, PIPE_Y, b - a, high, ink.treated if treated else ink.raw))
        parts.append(_specks(a + 20, b - (24 if i < len(stages) else 4), high, solids[i], grit, chlorine, ink, i + 3))
    if flow.untreated > 0:
        parts += _away(206, px(flow.taken), px(flow.untreated), ink)
        parts.append(_specks(210, 228, 18, solids[0] / 2, True, True, ink, 40, top=PIPE_Y + px(flow.taken) + 10))
        parts += _under(222, [f"{gal(flow.untreated)} to {_names(flow.raw_names)}", "untreated"], ink)
    if reject_at is not None and flow.rejected > 0:
        x = places[reject_at]
        parts += _waste(x, px(behind), px(flow.rejected), ink)
        where = "waste tank" if flow.has_tanks else "the drain"
        parts += _under(x + 24, [f"{gal(flow.rejected)} to {where}", "minerals and salt go with it"], ink)
    for stage, x in zip(stages, places, strict=True):
        parts += _plate(stage, x, ink, reject=reject_at is not None and stages[reject_at] is stage, high=px(behind))
    for stage, x in zip(stages, places, strict=True):
        if stage.stage.bypass_percent:
            parts += _loop(stage, x, min(gap * 0.42, 62), ink)
    parts += _ends(answer, ink, gal)
    return svg(WIDTH, HEIGHT, told(answer), parts, "bw-picture", wide=True)


def told(answer: Answer) -> str:
    """The picture in words."""
    flow, q = answer.flows, answer.words.quantity
    steps = "; ".join(
        f"stage {s.number} {s.name} {s.takes}"
        + (f", {bypass(s.stage.bypass_percent)}" if s.stage.bypass_percent else "")
        for s in _main(answer)
    )
    return (
        f"On a service day {q('volume', flow.taken)} comes in, {q('volume', flow.untreated)} goes untreated to "
        f"{_names(flow.raw_names) or 'nothing'}, {q('volume', flow.rejected)} to waste, {q('volume', flow.treated)} to "
        f"{flow.main}. {steps or 'No stage'}"
    )


def _names(names: Sequence[str]) -> str:
    joined = ", ".join(names)
    return joined if len(joined) <= 30 else f"{len(names)} branches"


def _mean_solids(answer: Answer, count: int) -> list[float]:
    rows = [t.solids_mg_L for t in answer.towns]
    return [sum(r[min(i, len(r) - 1)] for r in rows) / len(rows) for i in range(count + 1)]


def _rect(x: float, y: float, width: float, height: float, colour: str) -> str:
    return f'<rect x="{n(x)}" y="{n(y)}" width="{n(max(width, 0))}" height="{n(height)}" style="fill:{colour}"/>'


def _specks(
    a: float,
    b: float,
    high: float,
    solids: float,
    grit: bool,
    chlorine: bool,
    ink: Ink,
    seed: int,
    *,
    top: float = PIPE_Y,
) -> str:
    """Specks in a piece of pipe, always in the same places."""
    length = b - a
    if length < 8 or high < 6:
        return ""
    rng = random.Random(seed)
    area = length * high / 4000

    def spots(count: float) -> list[tuple[float, float]]:
        return [(rng.uniform(a, b), rng.uniform(top + 3.5, top + high - 3.5)) for _ in range(round(count))]

    dots = "".join(f"M{n(x)} {n(y)}h0" for x, y in spots(min(solids * DOTS_PER_SOLIDS * area, 120)))
    out = f'<path d="{dots}" style="stroke:{ink.paper};stroke-width:2.6;stroke-linecap:round"/>' if dots else ""
    if grit:
        squares = "".join(f"M{n(x - 2.4)} {n(y - 2.4)}h4.8v4.8h-4.8z" for x, y in spots(14 * area))
        out += f'<path d="{squares}" style="fill:{ink.paper}"/>'
    if chlorine:
        rings = "".join(f"M{n(x - 3)} {n(y)}a3 3 0 1 0 6 0a3 3 0 1 0 -6 0" for x, y in spots(12 * area))
        out += f'<path d="{rings}" style="fill:none;stroke:{ink.paper};stroke-width:1.6"/>'
    return out


def _away(x: float, whole: float, part: float, ink: Ink) -> list[str]:
    """A branch that leaves the pipe downward, before any stage."""
    wide, low = min(part, 26.0), PIPE_Y + whole
    mid = x + wide / 2
    return [
        f'<path d="M{n(x - 26)} {n(low)}V{n(low - part)}H{n(x)}C{n(x + wide)} {n(low - part)} {n(x + wide)} {n(low)} '
        f'{n(x + wide)} {n(low + 26)}H{n(x)}V{n(low + 12)}C{n(x)} {n(low)} {n(x)} {n(low)} {n(x - 12)} {n(low)}Z" '
        f'style="fill:{ink.raw}"/>',
        f'<path d="M{n(mid - wide / 2 - 5)} {n(low + 26)}H{n(mid + wide / 2 + 5)}L{n(mid)} {n(low + 39)}Z" '
        f'style="fill:{ink.raw}"/>',
    ]


def _waste(x: float, whole: float, part: float, ink: Ink) -> list[str]:
    wide, low = min(max(part, 8.0), 26.0), PIPE_Y + whole
    left = x + 24 - wide / 2
    return [
        f'<path d="M{n(x - 4)} {n(low - part)}C{n(left + wide)} {n(low - part)} {n(left + wide)} {n(low)} '
        f'{n(left + wide)} {n(PIPE_Y + 82)}H{n(left)}C{n(left)} {n(low)} {n(left - 8)} {n(low)} {n(x - 4)} {n(low)}Z" '
        f'style="fill:{ink.raw}"/>',
        f'<path d="M{n(left - 5)} {n(PIPE_Y + 82)}H{n(left + wide + 5)}L{n(left + wide / 2)} {n(PIPE_Y + 95)}Z" '
        f'style="fill:{ink.raw}"/>',
    ]


def _under(x: float, lines: Sequence[str], ink: Ink) -> list[str]:
    out = []
    for i, line in enumerate(lines):
        out.append(
            text(
                x,
                PIPE_Y + 115 + 17 * i,
                line,
                ink.second if i else ink.ink,
                weight=400 if i else 650,
                anchor="middle",
                halo=ink.paper,
            )
        )
    return out


def _plate(stage: StageLine, x: float, ink: Ink, *, reject: bool, high: float) -> list[str]:
    half, top = 17.0, PIPE_Y - 10
    tall = max(min(high + 20, 76.0), 44.0)
    out = [
        f'<rect x="{n(x - half)}" y="{n(top)}" width="{n(2 * half)}" height="{n(tall)}" rx="5" '
        f'style="fill:{ink.paper};stroke:{ink.ink};stroke-width:2.2"/>',
        disc(x, top + tall / 2, stage.number, ink),
    ]
    lines = wrap(stage.name, 15) or [""]
    for i, line in enumerate(lines[:2]):
        y = 16 + 17 * i if len(lines) > 1 else 20
        out.append(text(x, y, line, ink.ink, size=16, weight=650, anchor="middle"))
    if not reject:
        for i, line in enumerate(wrap(stage.takes, 14)[:2]):
            out.append(text(x, top + tall + 20 + 17 * i, line, ink.second, anchor="middle", halo=ink.paper))
    return out


def _loop(stage: StageLine, x: float, reach: float, ink: Ink) -> list[str]:
    y = PIPE_Y - 22
    return [
        f'<path d="M{n(x - reach)} {n(PIPE_Y + 2)}V{n(y)}H{n(x + reach)}V{n(PIPE_Y - 6)}" '
        f'style="fill:none;stroke:{ink.raw};stroke-width:3"/>',
        f'<path d="M{n(x + reach - 6)} {n(PIPE_Y - 8)}h12l-6 9z" style="fill:{ink.raw}"/>',
        text(x, y - 4, bypass(stage.stage.bypass_percent), ink.ink, weight=650, anchor="middle", halo=ink.paper),
    ]


def _vessel(x: float, y: float, width: float, height: float, fill: str, edge: str) -> str:
    return (
        f'<rect x="{n(x)}" y="{n(y)}" width="{n(width)}" height="{n(height)}" rx="8" '
        f'style="fill:{fill};stroke:{edge};stroke-width:2.5"/>'
    )


def _ends(answer: Answer, ink: Ink, say: Callable[[float], str]) -> list[str]:
    flow = answer.flows
    tank = _vessel(1.5, PIPE_Y - 22, 112, 92, ink.raw_fill, ink.raw)
    letters = [t.letter for t in answer.towns]
    lines = [("Fresh tank" if flow.has_tanks else "City water", ink.ink, 650)]
    if flow.fresh_tank_gal is not None:
        lines.append((answer.words.quantity("volume", flow.fresh_tank_gal), ink.ink, 400))
    if len(letters) > 1:
        lines.append((" and ".join(letters) if len(letters) < 4 else f"{len(letters)} waters", ink.raw, 650))
    out = [tank]
    first = PIPE_Y + 29 - 10.0 * (len(lines) - 1)
    out += [
        text(57.5, first + 21 * i, line, colour, size=15, weight=weight, anchor="middle")
        for i, (line, colour, weight) in enumerate(lines)
    ]
    out.append(text(196, PIPE_Y - 10, f"{say(flow.taken)} a day", ink.ink, weight=650, anchor="middle"))
    colour = ink.treated if answer.stages else ink.raw
    fill = ink.treated_fill if answer.stages else ink.raw_fill
    out.append(_vessel(MACHINE, PIPE_Y - 40, 110, 90, fill, colour))
    names = wrap(flow.main, 14)[:2]
    rows = [(line, ink.ink) for line in names]
    rows.append((say(flow.treated if flow.treated > 0 else flow.untreated), colour))
    first = 72 - 10.5 * (len(rows) - 1)
    out += [
        text(MACHINE + 55, first + 21 * i, line, c, size=15, weight=650, anchor="middle")
        for i, (line, c) in enumerate(rows)
    ]
    return out


def strip(answer: Answer, ink: Ink, width: float = 358) -> str:
    """The same for a phone: pipe, plates with their numbers, names under them."""
    stages = list(answer.stages)
    turn = turning(_main(answer))
    count = max(len(stages), 1)
    places = [width * (i + 0.5) / count for i in range(len(stages))]
    split = places[turn] if stages else width
    parts = [
        f'<path d="M0 26H{n(split)}" style="stroke:{ink.raw};stroke-width:12"/>',
        f'<path d="M{n(split)} 26H{n(width - 10)}" style="stroke:{ink.treated};stroke-width:12"/>' if stages else "",
        f'<path d="M{n(width - 12)} 14L{n(width)} 26L{n(width - 12)} 38Z" '
        f'style="fill:{ink.treated if stages else ink.raw}"/>',
    ]
    size = 15 if count <= 4 else 13
    for stage, x in zip(stages, places, strict=True):
        parts.append(
            f'<rect x="{n(x - 15)}" y="8" width="30" height="36" rx="5" '
            f'style="fill:{ink.paper};stroke:{ink.ink};stroke-width:2.2"/>'
        )
        parts.append(disc(x, 26, stage.number, ink, r=9.5))
        for i, line in enumerate(wrap(stage.name, max(int(width / count / 7.4), 6))[:2]):
            parts.append(text(x, 61 + 16 * i, line, ink.ink, size=size, weight=650, anchor="middle"))
    tall = 82 if any(len(wrap(s.name, max(int(width / count / 7.4), 6))) > 1 for s in stages) else 66
    return svg(width, tall, told(answer), parts, "bw-strip", wide=True)
