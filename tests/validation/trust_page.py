"""Makes the trust page from the test run: ``python tests/validation/trust_page.py``.

Runs ``tests/validation``, reads every check that its ``printed`` fixture recorded, and writes
``tests/validation/TRUST.md`` and ``reference/outside_checks.csv``. No date and no timing goes in: the same
code gives the same page. Exit status 1 where a test failed or a figure missed; the page then says so.
"""

from __future__ import annotations

import csv
import json
import math
import sys
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

import pytest

HERE = Path(__file__).resolve().parent
TOP = HERE.parents[1]
PAGE = HERE / "TRUST.md"
TABLE = TOP / "reference" / "outside_checks.csv"
COLUMNS = (
    "room",
    "source",
    "printed_in",
    "quantity",
    "ours",
    "theirs",
    "difference",
    "tolerance",
    "verdict",
    "kind",
    "why",
    "test",
)
ROOMS = ("chemistry", "units", "treatment", "flow", "tanks", "demand", "targets")
KINDS = {
    "computed": "our code computes what they printed",
    "second_solver": "another program's answer in the same run",
    "derived": "worked by us from published inputs; the answer itself is not published",
    "lookup": "a table's value, kept as printed",
    "common_practice": "a fact of the trade without a source",
    "memory": "recalled, not read",
}
SECOND_WAYS = (
    (
        "the carbonate system solved again from every pair (pH, alkalinity), (pH, DIC), (alkalinity, DIC), "
        "(alkalinity, pCO2), (pH, pCO2)",
        "tests/consistency/test_carbonate_pairs.py",
    ),
    (
        "charge, mass, mixing, heating and cooling, on waters drawn at random",
        "tests/consistency/test_chemistry_laws.py",
    ),
    ("10,000 random waters at four temperatures through PHREEQC", "tests/validation/test_chemistry_phreeqc.py"),
    ("each medium as a reaction in PHREEQC", "tests/consistency/test_treatment_phreeqc.py"),
    ("change dates by a loop over days and draws", "tests/consistency/test_forecast_day_loop.py"),
    ("how often the range of a change date holds the truth", "tests/consistency/test_forecast_calibration.py"),
    ("water conserved in every hour; Darcy against Hazen-Williams", "tests/consistency/test_branches_balance.py"),
    ("pipe losses against the library's one-phase function", "tests/validation/test_fluids_examples.py"),
    ("the year's cost of three plans by hand", "tests/unit/test_cost.py"),
)
GAPS = (
    "Litres for a drink, media lives and prices: trade figures and placeholders, no published check.",
    "Contact time of catalytic carbon: sources disagree, no rate constant was found in the open.",
    "Standard Methods 2330 and NSF/ANSI 42, 53 and 58: the texts were not read; what rests on them is from memory.",
    "DIN 38404-10:2012 (ten waters) and the 4th edition of the WHO guidelines: figures not reached.",
    "Above 90 °C and above 0.1 mol/L the constants are extrapolated; results there are marked.",
)
EXACT, STATED, MISS = "agrees", "within stated limit", "differs"


def short(nodeid: str) -> str:
    """A test's id without the folders; its parameters may hold a slash."""
    path, _, test = nodeid.partition("::")
    return f"{path.rsplit('/', 1)[-1]}::{test}"


class Recorder:
    """Keeps what ``printed`` recorded, and which tests failed."""

    __name__ = "trust_page"  # by this name the fixture knows that the page is being made

    def __init__(self) -> None:
        self.checks: list[dict[str, str | float]] = []
        self.failed: list[str] = []

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.failed.append(report.nodeid)
        if report.when == "call":
            test = short(report.nodeid)
            self.checks += [
                {**json.loads(str(value)), "test": test} for name, value in report.user_properties if name == "check"
            ]


def authority(printed_in: str, table: Iterable[dict[str, str]]) -> dict[str, str]:
    """The line of ``authorities.csv`` with the longest beginning that fits."""
    fits = [row for row in table if printed_in.startswith(row["begins"])]
    if not fits:
        raise SystemExit(f"{printed_in!r} begins as no line of tests/validation/authorities.csv: add one")
    return max(fits, key=lambda row: len(row["begins"]))


def shown(value: float, tolerance: float) -> str:
    """To a tenth of the tolerance, so that the last bits of another machine do not show."""
    if tolerance <= 0:
        return f"{value:.10g}"
    places = max(0, 1 - math.floor(math.log10(tolerance)))
    text = f"{value:.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text == "-0" else text


def verdict(check: dict[str, str | float]) -> str:
    """Agreement to the last printed digit, within a wider limit that is stated, or none."""
    off = abs(float(check["ours"]) - float(check["theirs"]))
    if not off <= float(check["tolerance"]) * (1 + 1e-9):
        return MISS
    return STATED if check["why"] else EXACT


def rows(checks: Iterable[dict[str, str | float]]) -> list[dict[str, str]]:
    """The table, sorted by room, source and quantity."""
    with (HERE / "authorities.csv").open(encoding="utf-8", newline="") as handle:
        known = list(csv.DictReader(handle))
    found = []
    for check in checks:
        about, tolerance = authority(str(check["source"]), known), float(check["tolerance"])
        ours, theirs = float(check["ours"]), float(check["theirs"])
        found.append(
            {
                "room": about["room"],
                "source": about["source"],
                "printed_in": str(check["source"]),
                "quantity": str(check["quantity"]),
                "ours": shown(ours, tolerance),
                "theirs": f"{theirs:.10g}",
                "difference": shown(ours - theirs, tolerance),
                "tolerance": f"{tolerance:.3g}",
                "verdict": verdict(check),
                "kind": str(check["kind"]),
                "why": str(check["why"]),
                "test": str(check["test"]),
            }
        )
    order = {room: i for i, room in enumerate(ROOMS)}
    found.sort(key=lambda r: (order[r["room"]], r["source"], r["printed_in"], r["test"], r["quantity"]))
    return found


def write_table(found: list[dict[str, str]]) -> None:
    """``reference/outside_checks.csv``."""
    with TABLE.open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(found)


def cell(text: str) -> str:
    """Text that cannot end a cell of a Markdown table."""
    return text.replace("|", "\\|").replace("\n", " ")


def line(*cells: object) -> str:
    """A row of a Markdown table."""
    return "| " + " | ".join(cell(str(c)) for c in cells) + " |"


def page(found: list[dict[str, str]], failed: list[str]) -> str:
    """The trust page, Markdown."""
    from brewwater import reference

    computed = [r for r in found if r["kind"] == "computed"]
    named = {r["source"] for r in computed} - {"definition", "common_practice", "memory"}
    by_room = Counter(r["room"] for r in computed)
    exact = sum(r["verdict"] == EXACT for r in computed)
    misses = [r for r in found if r["verdict"] == MISS]
    out = [
        "# Should you trust it?",
        "",
        "Every figure below was computed by the code in the test run that made this page and held against a "
        "figure that somebody else printed. Made by `python tests/validation/trust_page.py`; do not edit. "
        "The same rows stand in `reference/outside_checks.csv`.",
        "",
        f"- **{len(computed)} computed results** against **{len(named)} named sources**: "
        + ", ".join(f"{room} {by_room[room]}" for room in ROOMS if by_room[room])
        + ".",
        f"- {exact} of them agree to half the last printed digit; {len(computed) - exact} lie within a wider limit, "
        "and the reason for it stands in the row.",
        f"- **{len(misses)} misses**, {len(failed)} failed tests.",
        "- Look-ups, answers worked by us from published inputs, another program's answers, common practice and "
        "figures from memory are counted apart:",
        "",
        line("kind", "checks", "sources", "what it proves"),
        line("---", "---:", "---:", "---"),
    ]
    for kind, meaning in KINDS.items():
        of_kind = [r for r in found if r["kind"] == kind]
        if of_kind:
            out.append(line(kind.replace("_", " "), len(of_kind), len({r["source"] for r in of_kind}), meaning))
    if misses or failed:
        out += ["", "## Misses", ""]
        out += [f"- {r['printed_in']}: {r['quantity']}: {r['ours']} against {r['theirs']}" for r in misses]
        out += [f"- test failed: `{test}`" for test in failed]
    out += [
        "",
        "## Where it is known to differ",
        "",
        "Sources disagree with each other, or with themselves. What this project does, and why:",
        "",
        line("subject", "one source", "another", "kind", "what is done here, and why"),
        line(*["---"] * 5),
    ]
    for row in reference.table("disagreements"):
        out.append(
            line(
                row["subject"],
                f"{row['one']} [{row['source']}]",
                f"{row['other']} [{row['other_source']}]",
                row["kind"].replace("_", " "),
                row["what_we_do"],
            )
        )
    out += ["", "## Solved a second way", ""]
    out += [f"- {what}: [`{file}`](../../{file})" for what, file in SECOND_WAYS]
    out += ["", "## Not checked against anything outside", "", *(f"- {gap}" for gap in GAPS)]
    for kind in KINDS:
        of_kind = [r for r in found if r["kind"] == kind]
        if not of_kind:
            continue
        out += ["", f"## {kind.replace('_', ' ').capitalize()}: {KINDS[kind]}"]
        for room in ROOMS:
            in_room = [r for r in of_kind if r["room"] == room]
            if not in_room:
                continue
            out += [
                "",
                f"### {room.capitalize()}",
                "",
                line("source", "quantity", "ours", "theirs", "difference", "tolerance", "verdict", "why"),
                line("---", "---", "---:", "---:", "---:", "---:", "---", "---"),
            ]
            out += [
                line(
                    f"{r['printed_in']} [{r['source']}]",
                    r["quantity"],
                    r["ours"],
                    r["theirs"],
                    r["difference"],
                    r["tolerance"],
                    r["verdict"],
                    r["why"],
                )
                for r in in_room
            ]
    used = {r["source"] for r in found}
    used |= {row[c] for row in reference.table("disagreements") for c in ("source", "other_source")}
    out += ["", "## Sources", ""]
    out += [f"- [{key}] {reference.cite(key)}" for key in sorted(used)]
    return "\n".join(out) + "\n"


def main() -> int:
    """Run the tests, write both files, say what was found."""
    recorder = Recorder()
    status = pytest.main([str(HERE), "-q", "-p", "no:cacheprovider"], plugins=[recorder])
    found = rows(recorder.checks)
    write_table(found)
    PAGE.write_text(page(found, recorder.failed), encoding="utf-8")
    misses = sum(r["verdict"] == MISS for r in found)
    print(f"{len(found)} checks, {misses} misses, {len(recorder.failed)} failed tests: {PAGE.relative_to(TOP)}")
    return 1 if misses or recorder.failed or status else 0


if __name__ == "__main__":
    sys.exit(main())
