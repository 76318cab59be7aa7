"""Headings that name the supply or the sampling point of the tables beneath them."""

from __future__ import annotations

import re
from collections.abc import Sequence

_WORDS = (
    r"punto (?:di prelievo|di campionamento|de muestreo|de toma)|sampl(?:e|ing) (?:point|location|site|station)"
    r"|(?:water )?(?:supply |quality )?zone(?: name)?|location|treatment (?:works|plant)|entnahmestelle"
    r"|probenahme(?:stelle|ort)|messstelle|versorgungs(?:gebiet|zone|bereich)|wasserwerk|ortsnetz|hochzone|tiefzone"
    r"|point de (?:prélèvement|surveillance)|lieu(?: de prélèvement)?|captage|réseau|unité de distribution"
    r"|monster(?:punt|locatie)|meetpunt|pompstation|productielocatie|voorzieningsgebied|punkt poboru|miejsce poboru"
    r"|ujęcie|suw|stacja uzdatniania|wodociąg|odběrné místo|místo odběru|vodovod|punct de (?:recoltare|prelevare)"
    r"|zona de aprovizionare|provtagningsplats|provpunkt|vattenverk|prøvested|prøvetakingssted|vannverk|vandværk"
    r"|næytteenottopaikka|näytteenottopaikka|vesilaitos|ponto de amostragem|zona de abastecimento|red de distribución"
    r"|zona de abastecimiento|acquedotto|采样地点|采样点|水厂名称"
)
_NAMED = re.compile(rf"(?:^|\b)(?:{_WORDS})\s*[:：]\s*(?P<name>\S[^|]{{1,80}})", re.IGNORECASE)


def place_in(text: str) -> str | None:
    """The supply or sampling point that a line names: ``Sampling point: North works``."""
    match = _NAMED.search(text)
    if match is None:
        return None
    name = re.split(r"\s{2,}", match["name"])[0].strip(" .;,-–")
    return name[:80] if re.search(r"[^\W\d_]{2}", name) else None


def places(texts: Sequence[Sequence[str]]) -> list[list[tuple[int, str]]]:
    """For each page the lines that name a place; none at all where the report names only one."""
    found = [[(i, name) for i, text in enumerate(page) if (name := place_in(text))] for page in texts]
    if len({name for page in found for _, name in page}) < 2:
        return [[] for _ in texts]
    return found


def place_of(top: int, named: Sequence[tuple[int, str]], before: str | None) -> str | None:
    """The place whose heading stands last above a table; the page before's where this page names none above."""
    above = [name for i, name in named if i <= top]
    return above[-1] if above else before
