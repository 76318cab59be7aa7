"""The pages of the two packs: up to eight for the client, two for the inspector."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from brewwater.cost import written
from brewwater.output.drawing import PRINT, year_strip
from brewwater.output.pack.sections import (
    Pack,
    backflow,
    changes,
    drawn_from,
    listings,
    media_line,
    sanitising,
    tanks,
    tests,
    tests_drawn,
    warranty,
)
from brewwater.output.sheet.content import Section, SheetPage, Table, between, volume
from brewwater.output.sheet.diagram import drawing
from brewwater.output.sheet.files import paper
from brewwater.output.sheet.one_page import one_page
from brewwater.output.vocabulary import STATUS, SUPPLY_KINDS, UNIT_KINDS, governed, stage_name
from brewwater.reference import cite
from brewwater.units import plain

CARE = (
    "Not a test of safe drinking water. Under a boil-water notice, or with an untested well: stop, and call the "
    "authority. Carbon does not disinfect.",
    "Machine manual, data sheet and local code go first. Every date is an estimate: verify by test.",
)
LOOK = (
    "The record is as its owner wrote it in the log; lines that were corrected or withdrawn later are in the record of "
    "the unit.",
)
CODES = ("food_code_5_401_11", "food_code_5_304_11", "food_code_5_205_13", "food_code_5_201_11")
PIPES = "Thick: filtered. Thin, dashed: not filtered. Box: filter. Ring: outlet or drain. Water flows down."


def client_pages(pack: Pack, most: int) -> tuple[SheetPage, ...]:
    """The client's pages, with at most so many rows in each list."""
    plan, size = pack.plan, paper(pack.plan)
    whole = one_page(pack.told, plan.document.demand.calendar, size)
    name = plan.document.name
    drawn = SheetPage(
        "built", "As built", f"{name}. {PIPES}", (Section("", (drawn_from(pack),)),), drawing=drawing(pack.tree)
    )
    held = (*warranty(pack, most), Section("", LOOK))
    record = (changes(pack, most), sanitising(pack, max(most // 2, 2)))
    limits = any(found for _, found in pack.machines())
    pages = (
        SheetPage("plan", "The plan in one page", name, (), whole=whole),
        drawn,
        SheetPage("parts", "Tanks, backflow, filters", pack.under, (tanks(pack), backflow(pack), listings(pack))),
        SheetPage(
            "tests",
            "Test history",
            f"{pack.under} Disc: treated water. Ring: untreated. Dashed line: a limit of the manual.",
            (Section("", picture=tests_drawn(pack)), tests(pack, most)),
        ),
        SheetPage("record", "Changes and sanitizing", pack.under, record if limits else (*record, *held)),
        *(
            [
                SheetPage(
                    "warranty",
                    "The manual's limits against the tests",
                    f"{pack.under} Treated water only; a test counts as it was read.",
                    held,
                )
            ]
            if limits
            else []
        ),
        SheetPage("year", "Next twelve months", pack.under, tuple(_year(pack, 3 * most))),
    )
    return _cover(pack, [page.title for page in pages]), *pages


def _cover(pack: Pack, titles: Sequence[str]) -> SheetPage:
    plan, told = pack.plan, pack.told
    document = plan.document
    cost = plan.candidate.cost
    days = [line.date for line in pack.standing]
    change = told.next
    facts = (
        ("Unit", f"{document.name}, {UNIT_KINDS.inside(document.unit.kind)}"),
        ("Machines", ", ".join(m.name for m, _ in pack.machines()) or "none"),
        ("Water", ", ".join(f"{s.name} ({SUPPLY_KINDS.inside(s.kind)})" for s in document.supplies)),
        ("Treatment", media_line(pack)),
        ("Next change", f"{change.part}, {change.date.isoformat()}" if change else "none due in this plan"),
        ("A year costs", f"{written(cost.expected, cost.currency)} expected, {told.money_range}"),
        ("Safe to drink?", STATUS.label(told.safety.after.status)),
        ("Log", f"{len(days)} lines, {min(days)} to {max(days)}" if days else "no lines yet"),
    )
    return SheetPage(
        "cover",
        f"Water of {document.name}",
        pack.under,
        (
            *([Section("Stop", (told.stop,), caution=True)] if told.stop else []),
            Section("The answer", (f"{told.headline} {told.outcome}".strip(),)),
            Section("In short", table=Table(("What", "As planned and kept"), facts, (2, 8))),
            Section("In this pack", tuple(f"{n}  {title}" for n, title in enumerate(titles, start=2))),
            Section("Mind", CARE, caution=True),
        ),
        owner=pack.owner,
    )


def _year(pack: Pack, most: int) -> Iterator[Section]:
    """Every change and descale that falls due within twelve months, by the plan's calendar; overdue ones first."""
    plan, today = pack.plan, pack.told.today
    calendar = plan.document.demand.calendar
    end = today.replace(year=today.year + 1, day=min(today.day, 28))
    unknown = {c.stage.name for c in plan.candidate.cartridges if not c.capacity.known}
    if plan.candidate.stages:
        yield Section(f"The year from {today.isoformat()}", picture=year_strip(pack.told, calendar, PRINT, width=860))
    names = {s.name: f"{n} {stage_name(s)}" for n, s in enumerate(plan.candidate.stages, start=1)}
    due = [d for d in plan.calendar.coming(today) if d.date < end]
    rows = tuple(
        (
            d.date.isoformat() + (" overdue" if d.date < today else ""),
            names[d.cartridge],
            "–" if d.order_by is None else d.order_by.isoformat(),
            between(d),
            governed(d.governs, d.cartridge not in unknown),
        )
        for d in due[:most]
    )
    more = (f"{len(due) - most} more are on the change calendar.",) if len(due) > most else ()
    if rows:
        table = Table(("Change on", "Stage", "Order by", "Could be", "Because"), rows, (2.6, 3.4, 2.2, 4.2, 4))
        yield Section("Changes", ("Every date is an estimate: verify by test.", *more), table)
    else:
        yield Section("Changes", ("No change falls due in these twelve months.",))
    scale = [d for d in plan.calendar.descales if today <= d.date < end]
    if scale:
        yield Section("Descale, by the scale laid down", tuple(f"{d.date.isoformat()}: {d.machine}" for d in scale[:8]))
    stops = [f"{c.start} to {c.end}: {c.name}" for c in calendar.stops if c.end >= today and c.start < end]
    if stops:
        yield Section("No service", tuple(stops[:6]))
    kits = plain(plan.document.money.test_kits_per_year)
    yield Section("Test", (f"{kits} test kits a year. Write every test in the log: the dates follow it.",))


def inspector_pages(pack: Pack, most: int) -> tuple[SheetPage, ...]:
    """The inspector's two pages."""
    document = pack.plan.document
    branches = tuple(
        (
            b.name,
            "filtered" if b.filtered else "not filtered",
            volume(b.gallons_per_service_day.p90, pack.metric),
        )
        for b in pack.result.branches
    )
    safety = pack.told.safety
    source = ", ".join(f"{s.name} ({SUPPLY_KINDS.inside(s.kind)})" for s in document.supplies)
    word = STATUS.label(safety.after.status)
    drink = f"Safe to drink? {'' if safety.sentence.startswith(word) else word + '. '}{safety.sentence}"
    first = SheetPage(
        "first",
        "For the inspector",
        f"{pack.under} {UNIT_KINDS.label(document.unit.kind)}. Local code decides.",
        (
            Section("Water", (f"From {source}. {drink}",)),
            tanks(pack),
            backflow(pack),
            listings(pack),
            Section("Branches", table=Table(("Branch", "Water", "Busy service day"), branches, (4, 3, 3))),
            Section("What the codes this sheet knows ask for", tuple(cite(key) for key in CODES)),
            sanitising(pack, max(most // 3, 2), blank=2),
        ),
        owner=pack.owner,
    )
    second = SheetPage(
        "second",
        "As built, and the log",
        f"{document.name}. {PIPES} {drawn_from(pack)}",
        (changes(pack, max(most // 2, 2)), tests(pack, most)),
        drawing=drawing(pack.tree),
        drawing_share=0.55,
    )
    return first, second
