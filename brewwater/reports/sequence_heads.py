"""The heads of text whose columns are lost: a line of them, or one a line."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from brewwater.reports.columns import VALUE_ROLES, Role, role_of, year_of
from brewwater.reports.headings import unit_everywhere
from brewwater.reports.names import read_label
from brewwater.units import read_unit


@dataclass(frozen=True, slots=True)
class Head:
    """A column's head: its role, and its text where that names a supply or a year."""

    role: Role
    text: str


def line_heads(text: str) -> list[Head]:
    """Heads on one line, by the capital letters that begin them, or by wide gaps."""
    text = re.sub(r"(?<=[a-zà-ÿ?)*])(?=[A-ZÀ-Þ][a-zà-ÿ])", "  ", text.strip())
    cells = [c for c in re.split(r"\s{2,}|\t", text) if c]
    if len(cells) < 3:
        cells = [c.strip() for c in re.split(r"(?<=\S)\s+(?=[A-ZÀ-ÞŻŚŁ(]|(?:19|20)\d\d\b)", text) if c.strip()]
        joined: list[str] = []
        for c in cells:
            if joined and (c.startswith("(") or joined[-1].endswith((":", ","))):
                joined[-1] += f" {c}"
            else:
                joined.append(c)
        cells = joined
    return [Head("date" if year_of(c) else role_of(c), c) for c in cells]


def heads_in(lines: Sequence[str], *, apart: bool = False) -> list[Head]:
    """The columns that the lines above a table name, in their order; limits in two lines are one, or ``apart``."""
    lines = [t.strip() for t in lines if not unit_everywhere([t])]
    for text in reversed(lines[-6:]):
        found = line_heads(text)
        roles = [h.role for h in found if h.role]
        if (
            len(found) >= 2
            and len(roles) >= 2
            and ("label" in roles or "unit" in roles or len(roles) >= 3 or "limit" in roles)
        ):
            return found
    out: list[Head] = []
    closed = False
    for text in lines[-40:]:
        if not text or re.fullmatch(r"\([^()]*\)\s*", text):
            continue
        if len(text) > 44 or (len(text) > 24 and re.search(r"[a-z]\.$", text)):
            out, closed = [], False
            continue
        role: Role = "date" if year_of(text) else role_of(text)
        if not role and (re.match(r"^[\d<>]", text) or read_unit(text) is not None):
            closed = True  # rows of other constituents under the heads
            continue
        if closed and role not in ("label", "unit"):
            continue
        if closed:
            out, closed = [], False
        if role == "label" and any(h.role not in ("label", "") for h in out) and read_label(text) is None:
            if any(h.role in VALUE_ROLES for h in out):
                continue  # a section title under the heads
            out = []
        out.append(Head(role, text))
    known = [h for h in out if h.role]
    if len(known) < 1 or not any(h.role in (*VALUE_ROLES, "limit", "date") for h in known):
        return []
    start = next(k for k, h in enumerate(out) if h.role)
    out = out[start:]
    merged: list[Head] = []
    for head in out:
        if merged and head.role == merged[-1].role == "limit" and not apart:
            merged[-1] = Head("limit", f"{merged[-1].text} {head.text}")
        else:
            merged.append(head)
    return merged


def title_in(lines: Sequence[str], has_head: bool) -> str:
    """A short line above the heads that names the table."""
    for text in reversed([t.strip() for t in lines if t.strip()][-9:]):
        named = not role_of(text) or len(text.split()) > 3
        wordy = re.search(r"[^\W\d_]{3}", text) and not re.search(r"[.;:]$", text) and not text.startswith(("*", "("))
        if 6 < len(text) < 90 and named and wordy and len(line_heads(text)) < 4:
            return text
    return ""
