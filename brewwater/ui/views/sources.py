"""Trust and sources: how sure each figure is, who says so, and where sources disagree."""

from __future__ import annotations

import streamlit as st

from brewwater.reference import sources
from brewwater.ui import planning, show
from brewwater.ui.words import STATUS_WORD

STANDING_WORDS = {
    "published": "Published: the text was read",
    "second_hand": "Second hand: seen in a reprint",
    "common_practice": "Common practice, no source",
    "memory": "From memory, not verified",
    "definition": "Definition or stoichiometry",
    "placeholder": "Placeholder: no source, replace it",
}
ORDER = ("published", "second_hand", "definition", "common_practice", "memory", "placeholder")


def page() -> None:
    """What may be trusted how far."""
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
    show.table(["Verdict", "Meaning"], [[show.badge(s), meaning[s]] for s in STATUS_WORD], raw=(0,), label="Verdicts")
    plan = planning.current()
    if plan is not None:
        st.subheader("What this plan assumed", anchor=False)
        if plan.warnings:
            show.table(["Assumed or not known"], [[w.message] for w in plan.warnings], label="Assumptions")
        else:
            st.caption("Nothing.")
    st.subheader("Where sources disagree", anchor=False)
    show.table(
        ["Question", "What is found", "What this program does"],
        [
            ["Contact time of carbon for chloramine", "2 to 10 minutes", "the cartridge's certified rating first"],
            [
                "Cold output of a membrane",
                "about 3 % a degree, an exponential law and a printed army table differ",
                "you choose the curve; the range is shown",
            ],
            ["Saturation index by the closed form", "differs from the full one by about 0.2", "both are given, named"],
            ["Upper alkalinity of a later brewing sheet", "70 in one reprint, 75 in another", "the edition is named"],
            ["Larson-Skold ratio", "made for steel mains", "read beside the chloride itself"],
        ],
        label="Disagreements",
        long=(2,),
    )
    st.subheader("Every source", anchor=False)
    wanted = st.pills("Show", ORDER, selection_mode="multi", key="standing", format_func=lambda s: STANDING_WORDS[s])
    text = st.text_input("Search", key="source_search", placeholder="a word of the title")
    rows = [
        [s.title, s.where or "", STANDING_WORDS[s.standing]]
        for s in sorted(sources().values(), key=lambda s: (ORDER.index(s.standing), s.title.lower()))
        if (not wanted or s.standing in wanted) and text.lower() in f"{s.title} {s.where}".lower()
    ]
    if rows:
        show.table(["Source", "Where", "Standing"], rows, label="Sources")
    else:
        st.info("No source matches.")
    show.cautions(
        [
            "Not a potability tool. Health code, plumbing code, manual and warranty go before anything here.",
            "Estimate, verify by test: every date, every gallon.",
        ]
    )
