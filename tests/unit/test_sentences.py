"""What a verdict first says: at most 20 words and one figure, of plain words alone; nothing behind it is lost."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest

from brewwater.escape import for_html
from brewwater.output.answer import Answer, answer
from brewwater.output.drawing import SCREEN, answer_html
from brewwater.output.numbers import Words
from brewwater.output.sentences import _HAPPENS, _PLAIN, outcome
from brewwater.output.vocabulary import MEASURES, SPOKEN
from brewwater.plan import Plan, make_plan
from brewwater.planning.document import demo_document, load_document, mobile_template, with_overrides
from brewwater.planning.search.kinds import stage
from brewwater.reports.analysis import Measurement
from brewwater.web.state import as_document

MOST_WORDS = 20
TRAINS = (
    (),
    ("sediment",),
    ("sediment", "carbon", "softening"),
    ("sediment", "carbon", "weak_acid"),
    ("carbon", "reverse_osmosis"),
)
WATERS = (
    {},
    {"total_hardness": 15, "alkalinity": 10, "chloride": 4, "ph": 6.1, "total_dissolved_solids": 30},
    {
        "total_hardness": 420,
        "alkalinity": 310,
        "chloride": 240,
        "ph": 8.4,
        "total_dissolved_solids": 900,
        "sodium": 190,
    },
    {"total_hardness": 90, "alkalinity": 55, "chloride": 10, "ph": 7.4, "total_dissolved_solids": 140},
    {"total_hardness": 300},
)


def plans() -> Iterator[Plan]:
    for water in WATERS:
        typed = as_document(demo_document())
        typed["settings"]["draws"] = 16
        if water is not WATERS[0]:
            units = {"ph": "NONE"}
            typed["supplies"][0]["analysis"] = {
                k: {"value": v, "unit": units.get(k, "mg/L"), "method": "typed"} for k, v in water.items()
            }
        document = load_document(typed)
        for train in TRAINS:
            yield make_plan(document, search=False, train=[stage(medium) for medium in train])


@pytest.fixture(scope="module")
def answers() -> list[tuple[Plan, Answer]]:
    return [(p, answer(p, Words(metric))) for p in plans() for metric in (False, True)]


def spoken_only(text: str, told: Answer) -> None:
    for town in told.towns:
        text = text.replace(town.name, "")
    words = re.findall(r"[A-Za-z0-9'.]*[A-Za-z0-9']", text)
    figures = [w for w in words if any(c.isdigit() for c in w)]
    assert len(words) <= MOST_WORDS, text
    assert len(figures) <= 1, text
    assert not [w for w in words if w not in figures and w.lower() not in SPOKEN], text
    assert not set("()[]%=") & set(text), text


def test_first_sentences_are_short_and_of_plain_words(answers: list[tuple[Plan, Answer]]) -> None:
    met = set()
    for _, told in answers:
        for said in (*told.verdicts, told.safety):
            spoken_only(said.sentence, told)
            spoken_only(said.aside, told)
            met.add(said.sentence)
        spoken_only(told.headline, told)
        spoken_only(told.outcome, told)
    assert len(met) > 15  # the waters and treatments do say different things


def test_every_sentence_that_could_be_said_is_of_plain_words(answers: list[tuple[Plan, Answer]]) -> None:
    told = answers[0][1]
    for text in (*(t for pair in _HAPPENS.values() for t in pair), *_PLAIN.values()):
        spoken_only(text, told)


def test_nothing_behind_a_sentence_is_lost(answers: list[tuple[Plan, Answer]]) -> None:
    plan, told = answers[1]
    html = answer_html(told, plan.document.demand.calendar, SCREEN)
    main = plan.candidate.main.branch.name
    for verdict in (*plan.source_verdicts, *(v for v in plan.candidate.verdicts if v.branch == main)):
        assert for_html(verdict.why) in html
        assert for_html(verdict.source) in html
        if verdict.flip:
            assert for_html(verdict.flip) in html


def test_two_towns_are_two_marks(answers: list[tuple[Plan, Answer]]) -> None:
    for _, told in answers:
        for said in told.verdicts:
            for rail in said.rails:
                assert {(m.letter, m.after) for m in rail.marks} == {
                    ("C", False),
                    ("C", True),
                    ("S", False),
                    ("S", True),
                }
                assert rail.label == MEASURES.inside(rail.measure)


def test_the_flows_of_the_drawing_add_up(answers: list[tuple[Plan, Answer]]) -> None:
    for _, told in answers:
        flow = told.flows
        assert flow.taken == pytest.approx(flow.untreated + flow.rejected + flow.treated)


def test_the_headline_names_chlorine_last_and_a_little_as_a_little() -> None:
    def told(hardness: float, chlorine: float) -> str:
        water = {"total_hardness": hardness, "alkalinity": 55, "total_dissolved_solids": 130, "chloride": 10}
        water |= {"free_chlorine": chlorine}
        plain = mobile_template().model_copy(update={"train": ()})
        typed = {k: Measurement.model_validate({"value": v, "unit": "mg/L"}) for k, v in water.items()}
        plan = make_plan(with_overrides(plain, analysis=typed), search=False)
        return answer(plan, Words(False), plan.document.demand.calendar.start).headline

    assert "in chlorine" in told(75, 3.0)
    assert "a little hard" in told(135, 3.0)
    assert "too hard" in told(300, 3.0)


def test_a_water_that_suits_is_guarded_and_not_mended(answers: list[tuple[Plan, Answer]]) -> None:
    found = answers[0][0].source_verdicts
    good, short = ([replace(v, status=status) for v in found] for status in ("ok", "watch"))
    assert outcome(2, good, good, searching=False) == "Two stages guard it."
    assert outcome(1, good, good, searching=False) == "One stage guards it."
    assert outcome(2, good, short, searching=False) == "Two stages make it right."
    metal = [replace(v, status="unknown") if v.subject == "corrosion" else v for v in good]
    assert outcome(2, metal, metal, searching=False) == "Two stages guard it."
    nothing = [replace(v, status="unknown") for v in good]
    assert outcome(2, nothing, nothing, searching=False) == "Two stages treat it, as far as is known."
