"""A plan as a notebook shows it: tables in HTML, every text escaped."""

from __future__ import annotations

from collections.abc import Sequence

from brewwater.changes import ChangeCalendar
from brewwater.cost import Cost
from brewwater.escape import for_html
from brewwater.planning.waters import SOURCE
from brewwater.treatment import Stage
from brewwater.verdicts import Verdict

_MOST_ROWS = 12


def plan_html(
    name: str,
    stages: Sequence[Stage],
    verdicts: Sequence[Verdict],
    calendar: ChangeCalendar,
    cost: Cost,
    notes: Sequence[str],
) -> str:
    """Verdicts, train, dates, money and what should be known, as tables."""
    train = " > ".join(s.name for s in stages) or "no treatment"
    judged = [(v.subject, SOURCE if v.water == "source" else v.branch or "served", v.status, v.why) for v in verdicts]
    return "".join(
        (
            f"<h3>{for_html(name)}: {for_html(train)}</h3>",
            table(("subject", "water", "verdict", "why"), judged),
            calendar.frame().to_html(index=False, border=0, na_rep="", max_rows=_MOST_ROWS),
            cost.frame().to_html(index=False, border=0),
            table(("to know",), [(note,) for note in notes]),
        )
    )


def table(header: Sequence[str], rows: Sequence[Sequence[object]]) -> str:
    """A table in HTML, every text escaped."""
    head = "".join(f"<th>{for_html(h)}</th>" for h in header)
    body = "".join("<tr>" + "".join(f"<td>{for_html(str(c))}</td>" for c in row) + "</tr>" for row in rows)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
