"""A membrane's water on board or from a base: the printed page and the table."""

from __future__ import annotations

from collections.abc import Sequence

from brewwater.cost import written
from brewwater.output.result_schema import AtBaseResult, Percentiles, PlanResult
from brewwater.output.sheet.content import Section, SheetPage, Table, number, spread, volume
from brewwater.output.vocabulary import CHECKS, YES
from brewwater.plan import Plan


def base_page(plan: Plan, result: PlanResult) -> tuple[SheetPage, ...]:
    """The page, where a membrane on board is in question; else none."""
    at = result.made_at_base
    if at is None:
        return ()
    metric, currency = plan.document.units == "metric", result.yearly_cost.currency
    train = " > ".join(s.name for s in at.stages)
    whose = "This plan's train" if at.own else "Not this plan's train, but the best with a membrane"
    return (
        SheetPage(
            "base",
            at.title,
            f"{plan.document.name}, plan {plan.stamp}. Estimates; prices may be placeholders.",
            (
                Section("", (f"{whose}: {train}.", at.note), _ways(at, metric, currency)),
                Section("What differs in the year", table=_lines(at, currency)),
                *(Section(way.name, tuple(way.asks), boxes=True) for way in at.ways if way.asks),
                Section(
                    "Does not fit",
                    tuple(
                        f"{way.name}: {CHECKS.label(check.check)}: {check.why}"
                        for way in at.ways
                        for check in way.checks
                        if check.ok is False
                    ),
                ),
            ),
            landscape=True,
        ),
    )


def _ways(at: AtBaseResult, metric: bool, currency: str) -> Table:
    def gallons(p: Percentiles) -> str:
        return volume(p.p50, metric)

    rows: list[tuple[str, ...]] = [
        ("Fits", *(YES[w.passes] for w in at.ways)),
        (f"Year, {currency}", *(f"{written(w.expected, currency)} ({_ends(w.total)})" for w in at.ways)),
        (
            "More than on board",
            *(
                "–"
                if w.way == "on_board"
                else spread(w.more_than_on_board.p10, w.more_than_on_board.p50, w.more_than_on_board.p90)
                for w in at.ways
            ),
        ),
        ("From the fresh tank in a service day", *(gallons(w.fresh_gal) for w in at.ways)),
        ("To the waste tank", *(gallons(w.waste_gal) for w in at.ways)),
        ("Rejected", *(f"{gallons(w.reject_gal)}{'' if w.way == 'on_board' else ' at base'}" for w in at.ways)),
        (
            "The membrane runs, h",
            *("–" if (h := w.membrane_hours) is None else spread(h.p10, h.p50, h.p90, 2) for w in at.ways),
        ),
        ("Tank carried besides", *("–" if (c := w.carried_tank_gal) is None else volume(c, metric) for w in at.ways)),
        ("Storage tank at base", *("–" if (b := w.base_tank_gal) is None else volume(b, metric) for w in at.ways)),
    ]
    return Table(("", *(w.name for w in at.ways)), tuple(rows), (4, *(4,) * len(at.ways)))


def _lines(at: AtBaseResult, currency: str) -> Table:
    rows = tuple((name, *(f"{a:,.2f}" for a in amounts)) for name, amounts in differing(at))
    return Table((currency, *(w.name for w in at.ways)), rows, (4, *(4,) * len(at.ways)))


def differing(at: AtBaseResult) -> Sequence[tuple[str, tuple[float, ...]]]:
    """The lines of the year that are not the same in every way, with their amounts."""
    by_way = [{line.name: line.amount for line in way.lines} for way in at.ways]
    names = dict.fromkeys(name for lines in by_way for name in lines)
    rows = [(name, tuple(lines.get(name, 0.0) for lines in by_way)) for name in names]
    return [row for row in rows if len(set(row[1])) > 1]


def _ends(p: Percentiles) -> str:
    return f"{number(p.p10)} to {number(p.p90)}"
