"""Tables of an invented report as text, HTML, CSV, workbook or PDF."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

import numpy as np
import openpyxl
from fpdf import FPDF

Part = tuple[list[str], list[list[str]]]


def render(form: str, parts: Sequence[Part], rng: np.random.Generator, *, comma: bool) -> tuple[bytes, str]:
    """The bytes of a file of that form, and its suffix."""
    if form == "html":
        return _html(parts, rng).encode(), ".html"
    if form == "csv":
        return _csv(parts, comma, rng).encode("utf-8-sig" if rng.random() < 0.3 else "utf-8"), ".csv"
    if form == "xlsx":
        return _xlsx(parts), ".xlsx"
    if form == "pdf":
        return _pdf(parts, rng), ".pdf"
    return _text(parts, rng).encode(), ".txt"


def _text(parts: Sequence[Part], rng: np.random.Generator) -> str:
    tabs = rng.random() < 0.25
    gap = int(rng.integers(2, 6))
    right = rng.random() < 0.4
    lines: list[str] = []
    for lead, rows in parts:
        lines += [*lead, ""]
        if not rows:
            continue
        if tabs:
            lines += ["\t".join(r).rstrip() for r in rows]
        else:
            widths = [max(len(r[i]) for r in rows) for i in range(len(rows[0]))]
            for row in rows:
                cells = [
                    c.rjust(w) if right and i and not c[:1].isalpha() else c.ljust(w)
                    for i, (c, w) in enumerate(zip(row, widths, strict=True))
                ]
                lines.append((" " * gap).join(cells).rstrip())
        lines.append("")
    return "\n".join(lines)


def _html(parts: Sequence[Part], rng: np.random.Generator) -> str:
    out = ["<html><body>"]
    sub = rng.random() < 0.5
    for lead, rows in parts:
        out += [f"<p>{line}</p>" for line in lead[:-1]] + [f"<h3>{lead[-1]}</h3>" for _ in lead[-1:]]
        if not rows:
            continue
        out.append("<table>")
        for i, row in enumerate(rows):
            tag = "th" if i == 0 and rng.random() < 0.7 else "td"
            out.append("<tr>" + "".join(_cells(row, tag, spans=i == 0 and len(rows) > 2, sub=sub)) + "</tr>")
        out.append("</table>")
    return "\n".join([*out, "</body></html>"])


def _cells(row: list[str], tag: str, *, spans: bool, sub: bool) -> list[str]:
    """Cells; in a head of groups, a name reaches over the blank ones after it."""
    groups = spans and row[0] == "" and sum(c == "" for c in row[1:]) > 0
    out: list[str] = []
    i = 0
    while i < len(row):
        reach = 1
        if groups and row[i]:
            while i + reach < len(row) and row[i + reach] == "":
                reach += 1
        text = row[i].replace("<", "&lt;")
        if sub:
            text = re.sub(r"(CaCO|HCO)3", r"\1<sub>3</sub>", text)
        out.append(f"<{tag} colspan={reach}>{text}</{tag}>" if reach > 1 else f"<{tag}>{text}</{tag}>")
        i += reach
    return out


def _csv(parts: Sequence[Part], comma: bool, rng: np.random.Generator) -> str:
    made = io.StringIO()
    writer = csv.writer(made, delimiter=";" if comma or rng.random() < 0.3 else ",")
    wide = max(len(rows[0]) for _, rows in parts if rows)
    for lead, rows in parts:
        for line in lead:
            writer.writerow([line, *[""] * (wide - 1)])
        for row in rows:
            writer.writerow([*row, *[""] * (wide - len(row))])
    return made.getvalue()


def _xlsx(parts: Sequence[Part]) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    for lead, rows in parts:
        for line in lead:
            sheet.append([line])
        for row in rows:
            sheet.append([float(c) if re.fullmatch(r"\d+(?:\.\d+)?", c) else c or None for c in row])
        sheet.append([])
    made = io.BytesIO()
    book.save(made)
    return made.getvalue()


def _pdf(parts: Sequence[Part], rng: np.random.Generator) -> bytes:
    made = FPDF(orientation="landscape")
    made.add_page()
    made.set_auto_page_break(auto=True, margin=12)
    size = int(rng.integers(7, 10))
    ruled = rng.random() < 0.4
    lowered = rng.random() < 0.5
    height = 0.55 * size
    for lead, rows in parts:
        for i, line in enumerate(lead):
            made.set_font("Helvetica", style="B" if i == 0 else "", size=size + (3 if i == 0 else 1))
            made.cell(0, height + 3, line, new_x="LMARGIN", new_y="NEXT")
        if not rows:
            continue
        made.set_font("Helvetica", size=size)
        widths = [max(made.get_string_width(r[i]) for r in rows) + 5 for i in range(len(rows[0]))]
        shrink = min(1.0, 270 / sum(widths))
        made.set_font("Helvetica", size=size * shrink)
        for row in rows:
            if made.get_y() > 185:
                made.add_page()
            for i, cell in enumerate(row):
                _pdf_cell(made, cell, widths[i] * shrink, height + 1, size * shrink, border=ruled, lowered=lowered)
            made.ln(height + 1)
        made.ln(3)
    return bytes(made.output())


def _pdf_cell(made: FPDF, text: str, width: float, height: float, size: float, *, border: bool, lowered: bool) -> None:
    x, y = made.get_x(), made.get_y()
    found = re.search(r"(?:CaCO|HCO)(?=3)", text) if lowered else None
    if found is None:
        made.cell(width, height, text, border=1 if border else 0)
        return
    made.cell(width, height, text[: found.end()], border=1 if border else 0)
    at = x + made.c_margin + made.get_string_width(text[: found.end()])
    made.set_font("Helvetica", size=0.65 * size)
    made.text(at, y + 0.5 * height + 0.2 * size * 0.8, "3")
    small = made.get_string_width("3")
    made.set_font("Helvetica", size=size)
    if text[found.end() + 1 :]:
        made.text(at + small, y + 0.5 * height + 0.3 * size * 0.352, text[found.end() + 1 :])
    made.set_xy(x + width, y)
