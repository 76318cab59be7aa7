"""Free chlorine or chloramine, from the figures and the sentences of a report; ``unknown`` is a real answer."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Literal

from brewwater.reports.analysis import Disinfectant, Measurement

_SENTENCE = re.compile(r"(?<=[.;!?])\s+|\n")
_DOES = (
    r"disinfect|treat|uses?\b|used|adds?\b|added|maintain|switch|convert|desinfi|aufbereit|zugesetzt|gechlort"
    r"|désinfect|trait|ajout|trata|añad|utiliza|disinfett|aggiun|ontsmet|residual"
)
_CHLORAMINE = re.compile(r"chlor-?amin|cloramin|cloroammin|clorammin|monochlor|combined chlorine", re.IGNORECASE)
_FREE = re.compile(
    r"free chlorine|free residual chlorine|free available chlorine|sodium hypochlorite|chlorine gas|gaseous chlorine"
    r"|freies chlor|freiem chlor|chlore libre|cloro libre|cloro libero|vrij chloor|hypochlorit|hipoclorito|ipoclorito",
    re.IGNORECASE,
)
_NEVER = re.compile(
    r"\b(?:not|no|never|without|instead of|kein(?:e|en)?|nicht|ohne|sans|ne|sin|non|senza|geen|niet)\b", re.IGNORECASE
)
_NONE = re.compile(
    r"not (?:chlorinated|disinfected)|no (?:chlorine|disinfectant) (?:is|was) (?:added|used)|without disinfection"
    r"|ohne (?:chlor|desinfektion)|ungechlort|nicht (?:gechlort|desinfiziert)|keine desinfektion|sans chlore"
    r"|sin cloro|senza cloro|zonder chloor",
    re.IGNORECASE,
)
# By-products and definitions name the substances without saying what the supply uses.
_ASIDE = re.compile(
    r"by-?product|decomposition|maximum residual|mrdl|definition|allergic|dialysis|aquarium|fish|parasit|ion of sod",
    re.IGNORECASE,
)
_NOTICE = re.compile(
    r"(?:boil[- ]water (?:notice|advisory|order)|do[- ]not[- ]drink (?:notice|advisory|order)|abkochgebot)[^.]{0,60}"
    r"(?:is|remains|currently|now|ist|gilt|bleibt) (?:still |weiterhin )?(?:in (?:effect|force|kraft)|active)",
    re.IGNORECASE,
)


def from_values(analysis: Mapping[str, Measurement]) -> Disinfectant:
    """What the residuals say: free and total chlorine beside each other, or a chloramine figure."""

    def middle(analyte: str) -> float | None:
        return analysis[analyte].value.middle if analyte in analysis else None

    free, total, combined = middle("free_chlorine"), middle("total_chlorine"), middle("chloramine")
    if free is not None and total is not None and total > 0:
        if free >= 0.7 * total:
            return "free_chlorine"
        if free <= 0.3 * total:
            return "chloramine"
        return "unknown"
    if combined is not None and combined > 0.2 and (free is None or free < combined):
        return "chloramine"
    if free is not None and free > 0.05 and combined is None and total is None:
        return "free_chlorine"
    return "unknown"


def from_text(texts: Sequence[str]) -> tuple[Disinfectant, str | None]:
    """What the sentences say, and the sentence; conflicting sentences give ``unknown`` and both."""
    votes: dict[str, str] = {}
    for sentence in (s for t in texts for s in _SENTENCE.split(t)):
        if not 8 <= len(sentence) <= 600 or _ASIDE.search(sentence):
            continue
        if _NONE.search(sentence):
            votes.setdefault("none", sentence)
            continue
        if not re.search(_DOES, sentence, re.IGNORECASE):
            continue
        for kind, pattern in (("chloramine", _CHLORAMINE), ("free_chlorine", _FREE)):
            match = pattern.search(sentence)
            if match is not None and not _NEVER.search(sentence[: match.end()]):
                votes.setdefault(kind, sentence)
    if len(votes) == 1:
        kind, sentence = next(iter(votes.items()))
        return kind, sentence.strip()[:200]  # type: ignore[return-value]
    return "unknown", " / ".join(s.strip()[:120] for s in votes.values()) or None


def notice_in(texts: Sequence[str]) -> Literal["none", "boil_water", "do_not_drink"]:
    """``boil_water`` or ``do_not_drink`` where a sentence says that a notice holds now, else ``none``."""
    for text in texts:
        match = _NOTICE.search(text)
        if match is not None:
            return "do_not_drink" if "drink" in match.group().lower() else "boil_water"
    return "none"
