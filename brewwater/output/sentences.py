"""The sentences of verdicts and headline: where, then what happens, then an amount that one can picture.

They are built from the verdicts themselves, never from their ``why``: status, the measure that decides, the side on
which it is out. A first sentence has at most 20 words besides names, at most one figure, and no word outside
``vocabulary.SPOKEN``; the figures stand folded behind it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from brewwater.output.numbers import Words
from brewwater.output.towns import Town, worst
from brewwater.output.vocabulary import analyte_inside
from brewwater.verdicts import RANK, Verdict
from brewwater.verdicts.judge import REQUIRED
from brewwater.verdicts.measure import Measure, Status, Subject

Side = Literal["high", "low"]

# What is wrong with a water in two or three words, by the measure that is out and the side.
_HARD, _SOFT, _SALT, _SOUR, _ALKALINE, _PURE = (
    "too hard",
    "too soft",
    "too salty",
    "too sour",
    "too alkaline",
    "too pure",
)
WRONG: Mapping[tuple[str, Side], str] = {
    **{(m, "high"): _HARD for m in ("total_hardness", "calcium_hardness", "temporary_hardness", "hot_ccpp")},
    **{(m, "high"): _HARD for m in ("gypsum_index", "sulfate_hardness", "hot_index", "permanent_hardness")},
    **{(m, "low"): _SOFT for m in ("total_hardness", "calcium_hardness")},
    **{(m, "high"): _SALT for m in ("chloride", "larson_ratio", "boiler_chloride", "chloride_taste", "sodium")},
    **{(m, "low"): _SOUR for m in ("ph", "line_ph")},
    ("line_co2", "high"): _SOUR,
    **{(m, "high"): _ALKALINE for m in ("alkalinity", "ph", "line_ph", "line_alkalinity", "sodium_alkalinity")},
    **{(m, "low"): "too low in alkalinity" for m in ("alkalinity", "line_alkalinity")},
    ("total_dissolved_solids", "high"): "too full of minerals",
    ("total_dissolved_solids", "low"): _PURE,
    ("conductivity", "low"): _PURE,
    ("total_chlorine", "high"): "too high in chlorine",
    ("iron", "high"): "too high in iron",
    ("manganese", "high"): "too high in manganese",
    ("sulfate_taste", "high"): "too high in sulfate",
}
# What then happens, by subject, measure and side: where it is sure enough to act on, and where it only may.
_HAPPENS: Mapping[tuple[str, str, Side], tuple[str, str]] = {
    ("cup", "total_hardness", "high"): ("Too hard: coffee tastes dull.", "A little hard: coffee may taste dull."),
    ("cup", "calcium_hardness", "high"): ("Too hard: coffee tastes dull.", "A little hard: coffee may taste dull."),
    ("cup", "total_hardness", "low"): ("Too soft: coffee tastes thin.", "A little soft: coffee may taste thin."),
    ("cup", "calcium_hardness", "low"): ("Too soft: coffee tastes thin.", "A little soft: coffee may taste thin."),
    ("cup", "alkalinity", "high"): (
        "Too much alkalinity: coffee tastes flat.",
        "A little much alkalinity: coffee may taste flat.",
    ),
    ("cup", "alkalinity", "low"): (
        "Too little alkalinity: coffee tastes sour.",
        "A little short of alkalinity: coffee may taste sour.",
    ),
    ("cup", "total_dissolved_solids", "high"): (
        "Too full of minerals: coffee tastes heavy.",
        "Rather full of minerals: coffee may taste heavy.",
    ),
    ("cup", "total_dissolved_solids", "low"): (
        "Too few minerals: coffee tastes thin.",
        "Few minerals: coffee may taste thin.",
    ),
    ("cup", "ph", "high"): ("Turns too alkaline once it has stood.", "May turn too alkaline once it has stood."),
    ("cup", "ph", "low"): ("Stays too sour for coffee.", "May stay too sour for coffee."),
    ("cup", "total_chlorine", "high"): ("Chlorine reaches the cup.", "Chlorine may reach the cup."),
    ("cup", "iron", "high"): ("Iron spoils the taste.", "Iron may spoil the taste."),
    ("cup", "manganese", "high"): ("Manganese spoils the taste.", "Manganese may spoil the taste."),
    ("cup", "sodium", "high"): ("So much sodium that coffee tastes salty.", "Sodium may make coffee taste salty."),
    ("cup", "chloride_taste", "high"): ("So much chloride that one tastes it.", "Chloride may be tasted."),
    ("cup", "sulfate_taste", "high"): ("So much sulfate that one tastes it.", "Sulfate may be tasted."),
    ("scale", "gypsum_index", "high"): ("Gypsum settles in the boiler.", "Gypsum may settle in the boiler."),
    ("scale", "sulfate_hardness", "high"): (
        "Hard scale settles where water is boiled away.",
        "Hard scale may settle where water is boiled away.",
    ),
    ("scale", "alkalinity", "high"): (
        "More alkalinity than the machine's manual allows.",
        "May have more alkalinity than the machine's manual allows.",
    ),
    ("scale", "total_dissolved_solids", "high"): (
        "More minerals than the machine's manual allows.",
        "May have more minerals than the machine's manual allows.",
    ),
    ("corrosion", "chloride", "high"): ("So much chloride that it wears metal.", "Chloride may wear metal, slowly."),
    ("corrosion", "larson_ratio", "high"): ("So salty that it wears metal.", "May wear metal, slowly: it is salty."),
    ("corrosion", "boiler_chloride", "high"): (
        "Chloride in the boiler pits its steel.",
        "Chloride in the boiler may pit its steel.",
    ),
    ("corrosion", "line_ph", "low"): ("Too sour for the metal of the line.", "May be too sour for metal in the line."),
    ("corrosion", "line_ph", "high"): ("Too alkaline for the metal of the line.", "May be too alkaline for metal."),
    ("corrosion", "line_alkalinity", "low"): (
        "Too little alkalinity to spare metal.",
        "Short of alkalinity: it may wear metal, slowly.",
    ),
    ("corrosion", "line_alkalinity", "high"): ("Too alkaline for copper.", "May be too alkaline for copper."),
    ("corrosion", "line_co2", "high"): (
        "So much carbon dioxide that it wears copper and brass.",
        "Carbon dioxide may wear copper and brass.",
    ),
    ("corrosion", "conductivity", "low"): (
        "So pure that the boiler's level probe may not see it.",
        "So pure that the boiler's level probe may not see it.",
    ),
    ("corrosion", "total_hardness", "low"): (
        "Softer than the machine's manual allows.",
        "May be softer than the machine's manual allows.",
    ),
    ("corrosion", "alkalinity", "low"): (
        "Less alkalinity than the machine's manual allows.",
        "May have less alkalinity than the machine's manual allows.",
    ),
}
_PLAIN: Mapping[tuple[Subject, Status], str] = {
    ("cup", "ok"): "Suits coffee.",
    ("cup", "watch"): "Coffee may taste off.",
    ("cup", "act"): "Coffee tastes off.",
    ("scale", "ok"): "Next to no scale in the boiler.",
    ("scale", "watch"): "Scale may build up in the boiler.",
    ("scale", "act"): "Scale builds up in the boiler.",
    ("corrosion", "ok"): "Should not wear metal.",
    ("corrosion", "watch"): "May wear metal, slowly.",
    ("corrosion", "act"): "Wears metal.",
    ("safety", "ok"): "No reported figure is over its limit; that is no proof.",
    ("safety", "watch"): "Ask the utility or a laboratory.",
    ("safety", "act"): "Ask the utility or a laboratory.",
    ("safety", "stop"): "Do not serve this water.",
    ("safety", "unknown"): "Not known: no lab test yet.",
}
LEAST_G = 14.0  # of scale a year, half an ounce: less is no amount to picture


@dataclass(frozen=True, slots=True)
class Deciding:
    """The measure that decides a verdict and the side on which it is out; ``side`` None where it is in goal."""

    measure: Measure
    side: Side | None


def deciding(verdict: Verdict) -> Deciding | None:
    """The worst measure of a verdict; None where none is judged."""
    return _worst(verdict.measures)


def _worst(measures: Iterable[Measure]) -> Deciding | None:
    bound = [m for m in measures if m.goal != (None, None) and m.share is not None and m.p50 is not None]
    if not bound:
        return None
    one = max(bound, key=lambda m: (RANK[m.status], -(m.share or 0.0)))
    return Deciding(one, _side(one))


def _side(m: Measure) -> Side | None:
    if m.p10 is None or m.p50 is None or m.p90 is None or m.status == "ok":
        return None
    low, high = m.goal
    over = 0.0 if high is None else max(m.p90 - high, m.p50 - high)
    under = 0.0 if low is None else max(low - m.p10, low - m.p50)
    if over <= 0 and under <= 0:
        return "high" if high is not None else "low"
    return "high" if over >= under else "low"


def sentence(verdict: Verdict, towns: Sequence[Town], words: Words, scale_g: float | None, *, after: bool) -> str:
    """The first sentence of the plan's verdict on a subject.

    Parameters
    ----------
    verdict : the plan's, on its worst water
    towns : every water alone, to name those that are out
    scale_g : scale of a year in the main machine, g, for the subject scale
    after : the verdict is of the water after treatment
    """
    subject, status = verdict.subject, verdict.status
    if subject == "safety":
        return _PLAIN[subject, status]
    if status == "unknown":
        return _unknown(verdict)
    if status == "ok":
        return "Suits coffee from both towns." if subject == "cup" and len(towns) == 2 else _PLAIN[subject, status]
    each = [(t.after if after else t.before)[subject] for t in towns]
    out = [(t, v) for t, v in zip(towns, each, strict=True) if RANK[v.status] >= RANK[status]]
    leading = worst([v for _, v in out]) if out else verdict
    if subject == "scale" and scale_g is not None and scale_g >= LEAST_G and _settles(leading):
        hard = "Too hard for the boiler" if status == "act" else "A little hard for the boiler"
        return f"{hard}: about {_amount(scale_g, words)} of scale a year."
    text = _happens(leading, subject, status)
    if len(towns) > 1 and len(out) == 1:
        return f"{out[0][0].name}: {text[:1].lower()}{text[1:].replace(': ', '; ')}"
    return text


def _settles(verdict: Verdict) -> bool:
    found = deciding(verdict)
    return found is not None and WRONG.get((found.measure.name, found.side or "high")) == _HARD


def _happens(verdict: Verdict, subject: Subject, status: Status) -> str:
    found = deciding(verdict)
    if found is None or found.side is None:
        return _PLAIN[subject, status]
    said = _HAPPENS.get((subject, found.measure.name, found.side))
    return _PLAIN[subject, status] if said is None else said[0] if status == "act" else said[1]


def _amount(g: float, words: Words) -> str:
    return words.quantity("scale", g, 1 if words.out("scale", g) < 10 else 2)


def _unknown(verdict: Verdict) -> str:
    known = {m.name for m in verdict.measures if m.share is not None}
    lacking = [a for a in REQUIRED.get(verdict.subject, ()) if a not in known and f"line_{a}" not in known]
    names = [analyte_inside(a) for a in lacking] or ["the rest"]
    return f"Not known until {_and(names)} {'is' if len(names) == 1 else 'are'} measured."


def before_sentence(verdict: Verdict, words: Words, scale_g: float | None) -> str:
    """In one short sentence what the untreated water would do; empty where it would do no harm."""
    if verdict.status in ("ok", "unknown") or verdict.subject == "safety":
        return ""
    if verdict.subject == "scale" and scale_g is not None and scale_g >= LEAST_G:
        return f"Untreated, about {_amount(scale_g, words)} a year."
    found = deciding(verdict)
    wrong = None if found is None or found.side is None else WRONG.get((found.measure.name, found.side))
    return f"Untreated, it is {wrong}." if wrong else ""


def problem(town: Town) -> str | None:
    """What is most wrong with an untreated water, in two or three words; None where nothing is. Chlorine, which every
    carbon takes out of nearly every tap, is named only where nothing else is wrong."""
    ranked: list[tuple[bool, int, int, str]] = []
    for order, subject in enumerate(("scale", "cup", "corrosion")):
        verdict = town.before[subject]  # type: ignore[index]
        if verdict.status == "ok":
            continue
        for usual in (False, True):
            found = _worst(m for m in verdict.measures if (m.name == "total_chlorine") is usual)
            wrong = None if found is None or found.side is None else WRONG.get((found.measure.name, found.side))
            if found is not None and wrong:
                if found.measure.status == "watch":  # as the verdict's own sentence says it
                    wrong = wrong.replace("too ", "a little ", 1)
                ranked.append((usual, -RANK[found.measure.status], order, wrong))
    return min(ranked)[3] if ranked else None


def headline(towns: Sequence[Town]) -> str:
    """What is wrong with the untreated water, town by town."""
    if any(t.safety.status == "stop" for t in towns):
        names = [t.name for t in towns if t.safety.status == "stop"]
        return "Do not serve this water." if len(towns) == 1 else f"Do not serve the water of {_and(names)}."
    said = [(t.name, problem(t)) for t in towns]
    kinds = dict.fromkeys(wrong for _, wrong in said)
    if len(kinds) == 1:
        wrong = said[0][1]
        if wrong is None:
            if not any(v.status == "unknown" for t in towns for v in t.before.values()):
                return "This water suits as it is."
            known = _known_good([v for t in towns for v in t.before.values()])
            return "This water suits, as far as is known." if known else "Too little is known of this water."
        return f"The water is {wrong}."
    if len(said) > 3:
        count = sum(wrong is not None for _, wrong in said)
        return f"{number_word(count).capitalize()} of {number_word(len(said))} waters need treatment."
    parts = [f"{name} is {wrong or 'fine'}" for name, wrong in said]
    return f"{parts[0]}, {', '.join(p.replace(' is ', ' ', 1) for p in parts[1:])}."


def _known_good(verdicts: Sequence[Verdict]) -> bool:
    """Cup and scale are good, and nothing is known against the metal."""
    judged = [v for v in verdicts if v.subject != "safety"]
    return all(v.status == "ok" or (v.subject == "corrosion" and v.status == "unknown") for v in judged)


def outcome(
    stages: int, after: Sequence[Verdict], before: Sequence[Verdict], *, searching: bool, unpaid: str = ""
) -> str:
    """What the treatment makes of it. ``unpaid``: what is out of goal costs a year, where the search found that no
    treatment pays."""
    if stages == 0:
        if searching:
            return "Looking for a treatment."
        fine = all(v.status == "ok" for v in before if v.subject != "safety")
        if fine:
            return "Nothing to buy."
        if unpaid and any(v.status in ("act", "watch") for v in before if v.subject != "safety"):
            return f"No treatment pays with these drinks: it costs about {unpaid} a year as it is."
        return "There is no treatment in this plan."
    left = [v for v in after if v.subject != "safety"]
    count = f"{number_word(stages).capitalize()} stage{'s' if stages > 1 else ''}"
    one = stages == 1
    if _known_good(before) and all(v.status in ("ok", "unknown") for v in left):
        return f"{count} guard{'s' if one else ''} it."
    if any(v.status in ("act", "stop") for v in left):
        return f"{count} help{'s' if one else ''}, but not enough."
    if any(v.status == "watch" for v in left):
        return f"{count} fix{'es' if one else ''} most of it."
    if any(v.status == "unknown" for v in left):
        return f"{count} treat{'s' if one else ''} it, as far as is known."
    return f"{count} make{'s' if one else ''} it right."


_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


def number_word(count: int) -> str:
    """A small number in words."""
    return _NUMBERS[count] if 0 <= count < len(_NUMBERS) else str(count)


def _and(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
