"""Trust and sources: how sure each figure is, what it was held against, and where sources disagree."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import streamlit as st

from brewwater.escape import for_html as escape
from brewwater.escape import for_markdown
from brewwater.output.vocabulary import CHECKS, STATUS
from brewwater.output.vocabulary import analyte as plain
from brewwater.plan import Plan
from brewwater.reference import Row, sources, table
from brewwater.treatment import medium_class
from brewwater.verdicts import goals
from brewwater.web import planning
from brewwater.web.state import desk, hand
from brewwater.web.widgets import facts, show
from brewwater.web.widgets.show import Figure

STANDING_WORDS = {
    "published": "Published: the text was read",
    "second_hand": "Second hand: seen in a reprint",
    "common_practice": "Common practice, no source",
    "memory": "From memory, not verified",
    "definition": "Definition or stoichiometry",
    "placeholder": "Placeholder: no source, replace it",
}
ORDER = ("published", "second_hand", "definition", "common_practice", "memory", "placeholder")
KIND_WORDS = {
    "computed": "Computed here, printed by them",
    "second_solver": "A second program's answer",
    "derived": "Worked from their printed inputs",
    "lookup": "A table's value, as printed",
    "memory": "Recalled, not read",
}
ROOM_WORDS = {
    "chemistry": "Chemistry",
    "flow": "Flow and pressure",
    "tanks": "Tanks",
    "targets": "Goals and limits",
    "treatment": "Treatment",
    "demand": "Demand",
    "units": "Units",
}
SIGNS = {"agrees": "●", "within stated limit": "▲"}
MOST_ROWS = 25
ALL = "All numbers"
# Which checks hold the calculation behind a measure, besides those of its own source: words of their quantity.
HELD_BY = {
    "hardness": ("hardness", "mg/L as CaCO3"),
    "alkalinity": ("alkalinity",),
    "tds": ("mg/L per µS/cm",),
    "line_ph": ("pH",),
    "air_ph": ("pH",),
    "cup_ph": ("pH",),
    "ccpp": ("CCPP", "calcite", "dissolving capacity", "Ca at"),
    "conductivity": ("µS/cm", "KCl", "brought to 25"),
}


def sure_page() -> None:
    """How a range is read, what each verdict means, and what this plan assumed."""
    plan = planning.current()
    st.subheader("How to read a range", anchor=False)
    st.markdown(
        "A report leaves much open, so the plan follows many waters at once: every one that fits what is known. "
        "A range runs from the 10th to the 90th percentile of them. A verdict's share says how many are in goal."
    )
    meaning = {
        "ok": "nearly all possible waters are in goal",
        "watch": "a fifth or more are out of goal, or a tenth past the limit",
        "act": "half or more are past the limit, or a fifth past the machine's manual",
        "stop": "do not serve; call the authority",
        "unknown": "what is known cannot tell; a test is named",
    }
    show.table(["Verdict", "Meaning"], [[show.badge(s), meaning[s]] for s in STATUS], raw=(0,), label="Verdicts")
    if plan is not None:
        st.subheader("What this plan assumed", anchor=False)
        if plan.warnings:
            show.table(["Assumed or not known"], [[w.message] for w in plan.warnings], label="Assumptions")
        else:
            st.caption("Nothing.")
    show.cautions(["Estimate, verify by test: every date, every gallon."])


def page() -> None:
    """From a number to its sources, what is held against them, and where they disagree."""
    plan = planning.current()
    basis = _number(plan)
    _checks(basis)
    _disagreements(basis)
    _every_source(basis)
    show.cautions(
        [
            "Not a potability tool. Health code, plumbing code, manual and warranty go before anything here.",
        ]
    )


# -- from a number to its sources ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Basis:
    """What a number rests on: keys of its sources, words of the checks that hold its calculation, its formula."""

    keys: frozenset[str]
    words: tuple[str, ...] = ()
    formula: str = ""

    @property
    def named(self) -> frozenset[str]:
        """The keys that stand for a text somebody printed, and for nothing else."""
        return frozenset(k for k in self.keys if sources()[k].standing in ("published", "second_hand"))

    def holds(self, row: Row) -> bool:
        """Whether a check is one of this number's: of its calculation, or of its own source."""
        return row["source"] in self.named or any(word in row["quantity"] for word in self.words)


def numbers(plan: Plan | None) -> dict[str, Basis]:
    """What each number of a plan rests on, by the number's label."""
    found = {
        label: Basis(frozenset({key}), HELD_BY.get(name, ()), formula)
        for name, (label, _, formula, key) in facts.MEASURES.items()
    }
    if plan is None:
        return found
    texts: dict[str, str] = {}
    for measure, goal in goals(plan.document.targets).items():
        texts[f"{plain(measure)}: the goal"] = goal.source
    for check in plan.candidate.checks:
        label = f"{CHECKS.label(check.check)}: the limit"
        texts[label] = f"{texts.get(label, '')} {check.source}"
    found |= {label: Basis(keys) for label, text in texts.items() if (keys := _keys(text))}
    for stage in plan.candidate.stages:
        if stage.medium != "blend":
            usual = medium_class(stage.medium, stage.size)
            found[f"{stage.name}: usual capacity and price"] = Basis(frozenset({usual.source, usual.price_source}))
    return found


def _keys(text: str) -> frozenset[str]:
    """The source keys whose citation, or whose title, a line of text holds."""
    return frozenset(key for key, s in sources().items() if s.text in text or (len(s.title) > 12 and s.title in text))


def _number(plan: Plan | None) -> Basis | None:
    """What the number that the reader picks rests on; None for all."""
    st.subheader("Where a number comes from", anchor=False)
    choices = numbers(plan)
    kept = st.session_state.get("trust_number", desk().extra.get("trust_number"))
    hand("trust_number", kept if kept in choices else ALL)
    picked = st.selectbox(
        "A number of this plan",
        [ALL, *choices],
        key="trust_number",
        help="Its sources, what was held against them and where they disagree are then shown alone below.",
        on_change=lambda: desk().extra.update(trust_number=st.session_state["trust_number"]),
    )
    if picked not in choices:
        return None
    basis = choices[picked]
    if basis.formula:
        show.say(f"{picked}: {basis.formula}.")
    rows = [[sources()[k].title, sources()[k].where, STANDING_WORDS[sources()[k].standing]] for k in sorted(basis.keys)]
    show.table(["Source", "Where", "Standing"], rows, label="Sources of the number")
    return basis


# -- what was held against figures printed outside -------------------------------------------------------------


def _counts(rows: Iterable[Row]) -> list[Figure]:
    """For each kind of check: how many, from how many sources, and how they came out."""
    kinds: dict[str, list[Row]] = {}
    for row in rows:
        kinds.setdefault(row["kind"], []).append(row)
    out = []
    for kind, label in KIND_WORDS.items():
        mine = kinds.get(kind, [])
        if mine:
            verdicts = Counter(row["verdict"] for row in mine)
            agree, within = verdicts["agrees"], verdicts["within stated limit"]
            sources_ = len({row["source"] for row in mine})
            note = (
                f"{sources_} source{'s' if sources_ > 1 else ''}: {agree} agree to the last printed digit, {within} "
                f"within a stated limit, {len(mine) - agree - within} missed"
            )
            out.append(Figure(label, f"{len(mine)} check{'s' if len(mine) > 1 else ''}", note))
    return out


def _how_far(row: Row) -> float:
    """A check's difference as a share of what it may be; 0 where nothing is allowed and nothing differs."""
    try:
        limit, apart = float(row["tolerance"]), abs(float(row["difference"]))
    except ValueError:
        return 0.0
    return apart / limit if limit else float(apart > 0) * 2


def _checks(basis: Basis | None) -> None:
    st.subheader("Held against figures printed by others", anchor=False)
    rows = [row for row in table("outside_checks") if basis is None or basis.holds(row)]
    if not rows:
        st.info("No figure printed by others is held against this number.")
        return
    show.figures(_counts(rows))
    rooms = list(dict.fromkeys(row["room"] for row in rows))
    part = _pills("Part", rooms, "check_room", lambda r: ROOM_WORDS.get(r, plain(r)))
    kind = _pills(
        "Kind", [k for k in KIND_WORDS if any(row["kind"] == k for row in rows)], "check_kind", KIND_WORDS.__getitem__
    )
    verdict = _pills("Outcome", list(dict.fromkeys(row["verdict"] for row in rows)), "check_verdict", _outcome)
    text = st.text_input(
        "Search the checks", key="check_search", placeholder="a quantity or a word of the source"
    ).lower()
    shown = [
        row
        for row in rows
        if (not part or row["room"] in part)
        and (not verdict or row["verdict"] in verdict)
        and (not kind or row["kind"] in kind)
        and text in f"{row['quantity']} {row['printed_in']} {sources()[row['source']].title}".lower()
    ]
    if not shown:
        st.info("No check matches.")
        return
    shown.sort(key=_how_far, reverse=True)
    cards = "".join(_check(row) for row in shown[:MOST_ROWS])
    st.html(f'<div class="bw bw-grid" style="--least:18rem" role="region" aria-label="Checks">{cards}</div>')
    more = f" The first {MOST_ROWS} of them; narrow the choice to see others." if len(shown) > MOST_ROWS else ""
    st.caption(f"{len(shown)} of {len(rows)} checks, those nearest to their limit first.{more}")


def _outcome(verdict: str) -> str:
    return f"{SIGNS.get(verdict, '■')} {verdict}"


def _check(row: Row) -> str:
    """One check as a card: what, ours and theirs, how it came out, where it is printed."""
    where = "; ".join(part for part in (row["printed_in"] or sources()[row["source"]].title, row["why"]) if part)
    ours, theirs, apart, limit = (_figure(row[c]) for c in ("ours", "theirs", "difference", "tolerance"))
    return (
        f'<div class="bw-card"><div class="bw-label">{escape(row["quantity"])}</div>'
        f"<div><strong>{ours}</strong> here, <strong>{theirs}</strong> printed</div>"
        f"<div>difference {apart}, allowed {limit}: {_outcome(row['verdict'])}</div>"
        f'<div class="bw-note">{escape(where)}</div></div>'
    )


def _pills(label: str, options: Sequence[str], key: str, names: Callable[[str], str]) -> list[str]:
    return st.pills(
        for_markdown(label),
        options,
        selection_mode="multi",
        key=key,
        format_func=lambda one: for_markdown(names(one)),
        wrap=True,
    )


def _figure(text: str) -> str:
    """A figure of the table in the reader's number marks; words stay as they are."""
    try:
        return desk().words.number(float(text), 5)
    except ValueError:
        return escape(text) or "–"


# -- where sources disagree ---------------------------------------------------------------------------------


def _disagreements(basis: Basis | None) -> None:
    st.subheader("Where sources disagree", anchor=False)
    rows = [
        row for row in table("disagreements") if basis is None or {row["source"], row["other_source"]} & basis.named
    ]
    if not rows:
        st.info("No disagreement is known between the sources of this number.")
        return
    kind = _pills("They differ by", list(dict.fromkeys(row["kind"] for row in rows)), "disagree_kind", str.capitalize)
    shown = [row for row in rows if not kind or row["kind"] in kind]
    cards = "".join(
        f'<div class="bw-card"><div class="bw-label">{escape(row["subject"])}</div>'
        f"<div>{escape(row['what_we_do'])}</div>"
        f"<details><summary>What they say: {escape(row['subject'][:1].lower() + row['subject'][1:])}</summary>"
        f"<dl><dt>One</dt><dd>{escape(_said(row, 'one', 'source'))}</dd>"
        f"<dt>Another</dt><dd>{escape(_said(row, 'other', 'other_source'))}</dd></dl></details></div>"
        for row in shown
    )
    st.html(f'<div class="bw bw-grid" style="--least:18rem" role="region" aria-label="Disagreements">{cards}</div>')
    st.caption("What is done here, and why, stands first; each opens to what the sources say.")


def _said(row: Mapping[str, str], what: str, key: str) -> str:
    source = sources().get(row[key])
    return f"{row[what]} ({source.title if source else row[key]})"


# -- every source -------------------------------------------------------------------------------------------


def _every_source(basis: Basis | None) -> None:
    st.subheader("Every source", anchor=False)
    standing = _pills("Show", ORDER, "standing", STANDING_WORDS.__getitem__)
    text = st.text_input("Search", key="source_search", placeholder="a word of the title")
    held = Counter(row["source"] for row in table("outside_checks"))
    rows = [
        [s.title, s.where or "", STANDING_WORDS[s.standing], str(held[s.key]) if held[s.key] else "none"]
        for s in sorted(sources().values(), key=lambda s: (ORDER.index(s.standing), s.title.lower()))
        if (basis is None or s.key in basis.keys)
        and (not standing or s.standing in standing)
        and text.lower() in f"{s.title} {s.where}".lower()
    ]
    if not rows:
        st.info("No source matches.")
        return
    show.table(["Source", "Where", "Standing", "Checks"], rows[:MOST_ROWS], numeric=(3,), label="Sources")
    more = f"; the first {MOST_ROWS} of them, search to see others" if len(rows) > MOST_ROWS else ""
    st.caption(f"{len(rows)} of {len(sources())} sources{more}.")
