"""What each column of a table means: the label, the unit, a range, a limit; and which supply it belongs to."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise, permutations
from typing import Literal

from brewwater.reports.items import is_limit
from brewwater.reports.names import read_label
from brewwater.reports.values import read_value
from brewwater.units import PrintedUnit, read_unit

Role = Literal[
    "label",
    "unit",
    "range",
    "average",
    "low",
    "high",
    "value",
    "date",
    "limit",
    "violation",
    "count",
    "method",
    "note",
    "supply",
    "",
]
VALUE_ROLES = frozenset({"range", "average", "low", "high", "value"})

# Tried in this order: a column of limits must never be read as a value. Applied to the text without accents.
_PATTERNS: tuple[tuple[Role, str], ...] = (
    (
        "count",
        r"#\s*(?:sampled|months|of|samples|exceed|sites)|no\.?\s*(?:of|exceeding|samples|tests)"
        r"|number (?:of|exceed|sites)"
        r"|samples (?:taken|collected)|anzahl|nombre d|numero (?:di|de)\b|aantal|sites (?:over|above)"
        r"|exceed(?:ing|ances?)|^n$|samples? size|frequency|haufigkeit|percentage|percent of|liczba|pocet|^numar"
        r"|\bantal\b|\bantall\b|lukumaara|nr\.? ?crt|^l\.?p\.?$|^nr\.?$|^lfd|^no\.?$|^#$|^序号$|porcent|^poz\.?$"
        r"|cantidad de|pruebas|months with|^(?:n|no|nr|num)\.? ?o?\.?\s+(?:of|de|d'|von|di|av|prob)"
        r"|^n\.? ?[o°]\.?\s+\w{4}"
        r"|^samples$|^monsters$|^echantillons$|^campioni$|^muestras$|^amostras$|^prover$|^probek$|^proben$|^%\s*(?:of|do|de|des|der)?\s*[a-z]{4}|^df$|^dil\.?$|dilution",
    ),
    (
        "limit",
        r"\b(?:mcl|mclg|phg|mrdl|mrdlg|smcl|tt|al|nl|pcv|dlr|mrl|lod|loq|rl|mdl|nmcm|vmp|vp|nmh|mh|cma|vma|mac|imac|ao)s?\b"
        r"|^(?:bg|ng|lq|ld|lc)$|limit|grenz|hochstgehalt|uitgangs|"
        r"richtwert|standard(?!en)|guideline|goal|ideal|allowed|maximum contaminant|action level|advisory|parametr"
        r"ic value|\bnorm(?:a|e|y|en|as|ativ\w*)?\b|trinkwv|anforderung|valor[ei]? d[ei]i? parametr|valor parametrico"
        r"|parameterwert|parametri indicatori|valeurs? (?:reglement|guide|de reference)|reglement"
        r"|reference|permit|permiss|zulassig|hochst\s?wert|reporting|bestimmungs"
        r"grenze|nachweisgrenze|detection limit|\bwho\b|\bepa\b|\beu\b|max\.? allow|prescribed|regulat|target"
        r"|limiet|wettelijk|nivel de accion|maxim[oa] permit|dopuszczaln|mezni|doporucen|valoare (?:admis|limita)"
        r"|cma\b|gransvarde|riktvarde|grenseverdi|tiltaksgrense|gr[ae]+nsev[ae]+rdi|raja-?arvo|vaatimu|tavoite|enimmaisarvo"
        r"|laatuvaatimus|laatutavoite|标准|限值|toleranz|erwartungs|sollwert|eis(?:en)?\b|recommended|aesthetic"
        r"|d\.?\s?lgs|legal|objectiv|meta\b|normas|trigger|vereist",
    ),
    (
        "violation",
        r"violat|violac|complian|meets|uberschreit|erfullt|conforme|cumple|voldoet|within limits|overskrid|vyhov|zgodn"
        r"|cumprim|contraven",
    ),
    (
        "method",
        r"method|verfahren|metod|menetelm|方法|\bdin\b|lab\.? no|accredit|incertezza|uncertaint|accuracy|unsicherheit"
        r"|nejistota|niepewno|onzekerheid|incertitude|incertidumbre|mittausepav|osaker",
    ),
    (
        "date",
        r"\bdates?\b|\byears?\b|sampled|\bdatum\b|\bjahr\b|\bfecha\b|annee|\banno\b|\bdata\b(?! (?:range|value))"
        r"|\bano\b|probenahme|collected|prelevement|\bdato\b|paivamaara|\bpvm\b|\bjaar\b|^ar$|\brok\b|vuosi|^anul?$"
        r"|年份|年度|日期|muestread|provtagn|odber|^anal[yi][sz]ed$|^prepared$|^received$",
    ),
    (
        "note",
        r"source|origin|comment|remark|bemerkung|herkunft|\bnotes?\b|typical use|observ|remarque|fuente"
        r"|what does|meaning|health effect|describe|description(?! of)|where it comes|annotation|opmerking|likely"
        r"|signifi|^nota$|^note$|uwagi|poznamk|anmarkning|merknad|huomautus|备注|toelichting|^code\b|^url"
        r"|^nom (?:uge|moa|distr|depart|inst)|conclusion|^type\b|kontext|样品|编号",
    ),
    (
        "unit",
        r"^units?\b|\bunits?$|einheit|^unit[eà]?s?\b|\bunite$|^unidad|^eenheid|meeteenheid|^uom$|unit of|^u\.?\s?m\.?$"
        r"|^dimension|jednostk|jednotk|^unitat|\benhet\b|\benhed\b|yksikko|^j\.?\s?m\.?$|^m\.?\s?j\.?$|单位|^unidade"
        r"|measure$|measurement$|^u/m$|^udm$|^mj$|^um$",
    ),
    (
        "label",
        r"constituent|contaminant|parameter|substance|analyte|^analysis$|parametr|^stoff"
        r"|bezeichnung|determinand|characteristic|property|^test$|^substanz|kenngro|component|^item$|chemical"
        r"|^compound|bestandteil|untersuchung|messgro|^stof$|^ions?$|^mineral|inhaltsstoff|^element|^variable"
        r"|quality (?:parameter|indicator)|^name$|wskaznik|oznaczen|badany|ukazatel|indicator|^analys\b|^amne"
        r"|maaritys|muuttuja|tutkimus|项目|指标|descrizione|descripcion|wat hebben we|determinac|ensaio|^analyse$"
        r"|egenskap|rozbor|^badanie|libelle|componente|contaminante|constituyente|sustancia|analyt\b",
    ),
    (
        "range",
        r"\brang[eo]|spanne|bereich|von\s*-?\s*bis|gamme|intervall|fourchette|etendue|min\.?\s*[-–/.]+\s*max"
        r"|low\s*[-–/]\s*high|schwankung|zakres|rozsah|rozmezi|interval|\bspann\b|vaihteluvali|范围|faixa|spreiding"
        r"|min\.? ?\(?(?:and|und|e|et)? ?max",
    ),
    (
        "average",
        r"average|\bavg|\bmean\b|mittel(?!ung)|\bmedia\b|moyen|gemiddeld|^gem\.?$|durchschnitt|typical|median|promedio|\bmedio"
        r"|\bmoy\b|^o$|sredni|prumer|\bmedi[eiu]\b|medel|gjennomsnitt|gennemsnit|keskiarvo|平均|\bmedias\b",
    ),
    (
        "low",
        r"\bmin\b|minim|\blow(?:est)?\b|kleinst|\bmini\b|laagst|niedrigst|^from$|^von$|najniz|nejniz|minst|lagst|laveste"
        r"|pienin|最小|最低|mas bajo",
    ),
    (
        "high",
        r"\bmax\b|maxim|\bhigh(?:est)?\b|grosst|\bmaxi\b|massimo|hoogst|hochst|^to$|^bis$|\bpeak\b|najwyz|maks|nejvys"
        r"|hogst|hoyest|hojest|storst|suurin|最大|最高|elevado|mas alto",
    ),
    (
        "value",
        r"result|level|value|amount|detected|found|measured|reading|wert\b|befund|valor|valeur|waarde"
        r"|percentile|perzentil|^9[05]th$|your water|concentration|ergebnis|gehalt|konzentration"
        r"|^(?:drikkevann|drikkevand|drinking water|trinkwasser|drinkwater|dricksvatten|eau potable"
        r"|agua potable|acqua potabile|tap water|leitungswasser|leidingwater|pitna voda|woda pitna)$"
        r"|concentra|positive samples|resultaat|our water|reported|wynik|wartosc|vysled|hodnot|rezultat"
        r"|valoare|\bvarde|\bverdi|vaerdi|tulo[ks]|\barvo|检测结果|检验结果|结果|rilevat|misurat|\bist\b|istwert|medido|gemeten"
        r"|^proben?\s?\d*$|^sample\s?\d*$|^muestra\s?\d*$|^nivel|analisi$|actual|percentil",
    ),
    (
        "supply",
        r"^(?:water )?(?:zone|supply|plant|location|station|site|system|district|zona|ort|source name|facility"
        r"|sample point|sampling (?:point|location|site)|entnahmestelle|versorgungs(?:gebiet|zone)|wasserwerk"
        r"|water ?works|treatment plant|water system|region|area|service area|well|ville|commune|secteur|lieu"
        r"|point de|punto|comune|locatie|gebied|tap|supply zone|water supply zone|town|city|municipality|id"
        r"|nom commune|nom de la commune|miejsc\w*|misto|lokalita|plats|sted|paikka|采样地点|localidad|municipio"
        r"|punto di prelievo|punto de muestreo|reseau|sektor|sector|strefa|localitate)"
        r"s?(?: name)?$",
    ),
)
_COMPILED = tuple((role, re.compile(pattern, re.IGNORECASE)) for role, pattern in _PATTERNS)
_LABEL = dict(_COMPILED)["label"]
_YEAR = re.compile(r"^(?:fy|cy|year|jahr|année|año|anno)?\s*((?:19|20)\d{2})(?:\s*[-–/]\s*((?:19|20)?\d{2}))?$", re.I)
# System-wide, whatever supply the user takes.
_SYSTEM = re.compile(
    r"^(?:all|all (?:zones|supplies|plants|areas)|distribution system|system[- ]?wide|entire system|verteilnetz"
    r"|gesamt(?:es)? (?:netz|gebiet)|alle|tous|todas?|tutti|distribution|combined system|water system)$",
    re.IGNORECASE,
)
ALL = "all"


_LETTERS = {ord(a): b for a, b in (("ß", "ss"), ("ø", "o"), ("æ", "ae"), ("ł", "l"), ("Ø", "o"), ("Ł", "l"))}


@lru_cache(maxsize=8192)
def plain_text(text: str) -> str:
    """A text in lower case without accents."""
    text = text.translate(_LETTERS)
    return "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c)).lower()


@lru_cache(maxsize=8192)
def role_of(text: str) -> Role:
    """The role that a header text names, or ``""``."""
    text = plain_text(" ".join(text.replace("_", " ").split()))
    if not text or len(text) > 120 or not re.search(r"[^\W\d]|#", text):
        return ""
    bare = re.sub(r"\([^)]*\)", " ", text).strip()
    if bare and bare != text and role_of(bare) == "label":
        return "label"  # "Substance (unit of measure)"
    for role, pattern in _COMPILED:
        if pattern.search(text):
            return role
    return ""


def year_of(text: str) -> str | None:
    """``2021`` or ``2020-2021`` where the text is nothing else."""
    match = _YEAR.match(" ".join(text.split()))
    if match is None:
        return None
    return match.group(1) + (f"-{match.group(2)}" if match.group(2) else "")


@dataclass
class Column:
    """One column. ``supply`` and ``date`` come from the header; ``unit`` where the header prints one."""

    role: Role = ""
    supply: str | None = None
    date: str | None = None
    unit: str | None = None
    header: str = ""
    period: bool = False  # a quarter or month of the same supply: its values belong to one range


def read_columns(header: list[list[str]], body: list[list[str]], before: list[Column] | None) -> list[Column]:
    """Columns from the stacked header texts (``header[level][column]``) and the cells beneath.

    ``before`` are the columns of the header above in the same table: a later header that repeats a role
    without naming supplies keeps theirs.
    """
    width = max((len(r) for r in (*header, *body)), default=0)
    columns = [Column() for _ in range(width)]
    named: list[list[str]] = [[] for _ in range(width)]
    for j, column in enumerate(columns):
        texts = [t for t in dict.fromkeys(row[j] if j < len(row) else "" for row in header) if t]
        column.header = " ".join(texts)
        for text in texts:
            _one_level(column, text, named[j])
    _without_shares(columns, named)
    _mixed_names(columns, named)
    headed = any(c.role not in ("", "value") or c.date for c in columns)
    _by_content(columns, named, body)
    _limits_and_counts(columns, named, body)
    _supply_column(columns, named, body)
    _doubles(columns, named, body)
    _by_figures(columns, named, body)
    _middle(columns, named, body)
    for names in named:
        names[:] = [n for n in names if _may_name(n)]
    if not headed and sum(c.role == "value" for c in columns) < 2:
        named = [[] for _ in columns]  # words above a single column of figures name nothing
    same = _as_before(columns, before) if before and _repeats(columns) else {}
    for j, column in enumerate(columns):
        if column.supply is None and column.role in (*VALUE_ROLES, "date") and named[j]:
            column.supply = supply_name(named[j])
        elif column.supply is None and j in same:
            column.supply = same[j]
    return columns


_PERIOD = re.compile(
    r"^(?:[1-4]\.?(?:er|e|o|º|ª|st|nd|rd|th)?|i{1,3}|iv|first|second|third|fourth)\s*(?:quarters?|qtr\.?|quartale?|trimestre?|kwartaal"
    r"|kwarta\w+|kvartal|ctvrtleti|neljannes)(?:\s+(?:19|20)\d{2})?$|^[qtk][1-4](?:[\s/-]*(?:19|20)?\d{2})?$"
    r"|^(?:january|februar[y]?|march|april|may|june|july|august|september|october|november|december|januar"
    r"|marz|maerz|mai|juni|juli|oktober|dezember|janvier|fevrier|mars|avril|juin|juillet|aout"
    r"|septembre|octobre|novembre|decembre|gennaio|febbraio|marzo|aprile|maggio|giugno|luglio|agosto"
    r"|settembre|ottobre|dicembre|enero|febrero|abril|mayo|junio|julio|septiembre|octubre|noviembre"
    r"|diciembre|janeiro|fevereiro|marco|maio|junho|julho|setembro|outubro|novembro|dezembro|januari"
    r"|februari|maart|mei|augustus|maj|jun|jul|aug|sep|sept|oct|okt|nov|dec|dez|dic|jan|feb|fev|febr"
    r"|mar|apr|avr|abr|gen|ene|mag|giu|lug|ago|set|ott|out|stycznia?|styczen|luty|marzec|kwiecien"
    r"|czerwiec|lipiec|sierpien|wrzesien|pazdziernik|listopad|grudzien)\.?(?:[\s-]+(?:19|20)?\d{2})?$"
)
# A share of the samples, beside the lowest, middle and highest of all.
_SHARE = re.compile(
    r"\d{1,2}(?:\s?(?:th|st|nd|rd)|\.)?\s*(?:%\s?-?(?:ile|il)?|percentile|perzentil|percentil)", re.IGNORECASE
)


def _without_shares(columns: Sequence[Column], named: Sequence[list[str]]) -> None:
    """Percentiles beside other figures of the same samples say nothing that those do not bound."""
    share = [_SHARE.match(plain_text(c.header)) is not None and year_of(c.header) is None for c in columns]
    others = [c for c, s in zip(columns, share, strict=True) if not s and c.role == "average"]
    for column, names, is_share in zip(columns, named, share, strict=True):
        if is_share and others:
            column.role = "note"
            names.clear()


def _one_level(column: Column, text: str, names: list[str]) -> None:
    if _PERIOD.match(plain_text(" ".join(text.split()))):
        column.role, column.period = "value", True
        return
    year = year_of(text)
    if year is not None:
        column.date = year
        return
    unit = _unit_in(text)
    if unit is not None:
        column.unit = unit
        text = re.sub(r"[(\[]?\s*" + re.escape(unit) + r"\s*[)\]]?", " ", text).strip(" ,;:-")
        if not text:
            return
    text = text.replace("_", " ")
    match = re.search(r"\b((?:19|20)\d{2})\b", text)
    role = role_of(text)
    if role in VALUE_ROLES and match is not None:
        column.date = match.group(1)
    if role:
        if not (column.role in ("limit", "count", "note", "violation") and role in VALUE_ROLES):
            column.role = role
        if role in VALUE_ROLES:
            left = _beside_roles(text)
            if len(left) > 1:
                names.append("~" + left)
        return
    names.append(text)


def _beside_roles(text: str) -> str:
    """The words of a head that say no role: ``ZONE A moy.`` is zone A."""
    plain = plain_text(text)
    if len(plain) != len(text):
        text = plain
    for role, pattern in _COMPILED:
        if role in VALUE_ROLES or role == "date":
            for match in reversed(list(pattern.finditer(plain))):
                start, end = match.span()
                while start and plain[start - 1].isalpha():
                    start -= 1
                while end < len(plain) and plain[end].isalpha():
                    end += 1
                text = text[:start] + " " * (end - start) + text[end:]
    left = re.sub(
        r"\b(?:19|20)\d{2}\b|\b(?:of|the|in|water|samples?|detections?|monthly|annual|mg/l)\b",
        " ",
        text,
        flags=re.IGNORECASE,
    )
    return " ".join(left.split()).strip(" -–:,;/().*")


def _unit_in(text: str) -> str | None:
    """A unit that a header prints, alone or in brackets."""
    if (unit := read_unit(text)) is not None and unit.unit not in ("1", "count") and role_of(text) != "unit":
        return text
    for inner in re.findall(r"[(\[]([^()\[\]]{1,30})[)\]]", text):
        found = read_unit(inner)
        if found is not None and found.unit not in ("1", "count"):
            return str(inner)
    return None


def _mixed_names(columns: list[Column], named: list[list[str]]) -> None:
    """``North range | South range``: the words beside a role name a supply only where they tell columns apart."""
    seen: dict[Role, set[str]] = {}
    for column, names in zip(columns, named, strict=True):
        for name in names:
            if name.startswith("~"):
                seen.setdefault(column.role, set()).add(name)
    for column, names in zip(columns, named, strict=True):
        keep = [n.removeprefix("~") for n in names if not n.startswith("~") or len(seen[column.role]) > 1]
        names[:] = keep


def _by_content(columns: list[Column], named: list[list[str]], body: list[list[str]]) -> None:
    """Roles of columns whose header tells none: from what stands beneath."""
    for j, column in enumerate(columns):
        cells = [row[j] for row in body if j < len(row) and row[j]]
        figures = sum((v := read_value(c)) is not None and v.has_number for c in cells)
        years = len(cells) > 1 and not column.date and all(year_of(c) is not None for c in cells)
        if years and column.role in ("", *VALUE_ROLES):
            column.role = "date"
            del named[j][-1:]  # its own head, whatever it says
            continue
        # "Surface source" over figures is a supply, not a remark
        aside = column.role in ("note", "method") and re.search(r"source|origin", column.header, re.IGNORECASE)
        if aside and not named[j] and figures > max(1, 0.7 * len(cells)):
            column.role, named[j] = "value", [column.header]
        if column.role:
            continue
        if not cells:
            continue
        need = max(1, 0.6 * len(cells))
        if not any(c.role == "label" for c in columns) and sum(read_label(c) is not None for c in cells) >= need:
            column.role = "label"
        elif sum(_is_unit(c) for c in cells) >= need and not any(c.role == "unit" for c in columns):
            column.role = "unit"
        elif sum(read_value(c) is not None for c in cells) >= 0.5 * len(cells):
            column.role = "value"
        elif column.header and not named[j]:
            column.role = "note"


def _limits_and_counts(columns: list[Column], named: list[list[str]], body: list[list[str]]) -> None:
    """A column whose head is not understood, of legal limits or, beside lowest and highest, of whole numbers alone."""
    at = next((j for j, c in enumerate(columns) if c.role == "label"), None)
    ends = all(any(c.role == role and not c.supply for c in columns) for role in ("low", "high"))
    open_ = [j for j, c in enumerate(columns) if c.role == "value" and not c.date and not role_of(c.header)]
    if at is None or len(open_) == len([c for c in columns if c.role in VALUE_ROLES]):
        return
    for j in open_:
        pairs = [(label, row[j]) for row in body if j < len(row) and row[j] and (label := read_label(row[at]))]
        legal = sum(is_limit(text, label.analyte) for label, text in pairs)
        whole = all(text.isdecimal() for _, text in pairs) and ends and len(columns[j].header) > 0
        if len(pairs) >= 3 and (legal >= 0.7 * len(pairs) or whole):
            columns[j].role = "limit" if legal >= 0.7 * len(pairs) else "count"
            named[j].clear()


def _supply_column(columns: list[Column], named: list[list[str]], body: list[list[str]]) -> None:
    """A column of words, each on several rows, that tells apart rows of one analyte: it names where they were taken."""
    at = next((j for j, c in enumerate(columns) if c.role == "label"), None)
    if at is None or any(c.role == "supply" for c in columns):
        return
    labels = [label.analyte if (label := read_label(row[at])) is not None else "" for row in body]
    units = [" ".join(row[j] for j, c in enumerate(columns) if c.role == "unit" and j < len(row)) for row in body]
    rows = [(k, (a, u)) for k, (a, u) in enumerate(zip(labels, units, strict=True)) if a]
    if len({what for _, what in rows}) > 0.6 * len(rows):
        return
    for j, column in enumerate(columns):
        if j == at or column.role not in ("", "date", "note", "label", "value") or column.date:
            continue
        cells = [body[k][j] if j < len(body[k]) else "" for k, _ in rows]
        wordy = all(re.search(r"[^\W\d_]{2}", c) and read_value(c) is None and read_unit(c) is None for c in cells)
        apart = len({(c, what) for c, (_, what) in zip(cells, rows, strict=True)}) >= 0.95 * len(rows)
        if wordy and apart and 2 <= len(set(cells)) <= 0.5 * len(rows):
            column.role = "supply"
            named[j].clear()
            return


def _doubles(columns: list[Column], named: list[list[str]], body: list[list[str]]) -> None:
    """A result printed twice, as text and as a number (``<1`` and ``0.0``): the text is the result."""
    at = [j for j, c in enumerate(columns) if c.role == "value" and not c.date]
    for j in at:
        for k in at:
            pairs = [(row[j], row[k]) for row in body if k < len(row) and j < len(row) and row[j] and row[k]]
            read = [(a, b) for x, y in pairs if (b := read_value(y)) and ((a := read_value(x)) or not x[:1].isdigit())]
            if j == k or len(read) < 2 or columns[k].role != "value":
                continue
            same = [a is not None and a.high is not None and a.high == b.high for a, b in read]
            nought = [(a is None or a.below_detection) and b.high == 0 for a, b in read]
            if all(s or n for s, n in zip(same, nought, strict=True)) and any(nought):
                columns[k].role = "note"
                named[j] = named[k] = []


def _by_figures(columns: list[Column], named: list[list[str]], body: list[list[str]]) -> None:
    """What the figures themselves say: counting numbers, and lowest, middle and highest in their order."""
    for column, j in ((c, j) for j, c in enumerate(columns) if c.role == "value" and not named[j]):
        texts = [row[j] for row in body if j < len(row) and row[j]]
        if len(texts) >= 4 and all(t.isdecimal() for t in texts) and not column.header:
            steps = [int(b) - int(a) for a, b in pairwise(texts)]
            if all(0 < s <= 3 for s in steps):
                column.role = "count"
    at = [j for j, c in enumerate(columns) if c.role == "value" and not named[j] and not c.header and not c.date]
    if len(at) != 3:
        return
    rows = [[v.high if (v := read_value(row[j])) else None for j in at] for row in body if max(at) < len(row)]
    full = [r for r in rows if all(x is not None for x in r)]
    if len(full) < 4:
        return
    for order in permutations(range(3)):
        if all(r[order[0]] <= r[order[1]] <= r[order[2]] for r in full):  # type: ignore[operator]
            for role, k in zip(("low", "average", "high"), order, strict=True):
                columns[at[k]].role = role  # type: ignore[assignment]
            return


def _middle(columns: list[Column], named: list[list[str]], body: list[list[str]]) -> None:
    """A column whose head is not understood, between one lowest and one highest in every row, is the middle."""
    low, high = ([j for j, c in enumerate(columns) if c.role == role and not named[j]] for role in ("low", "high"))
    open_ = [j for j, c in enumerate(columns) if c.role == "value" and not c.date and not role_of(c.header)]
    if (
        len(low) != 1
        or len(high) != 1
        or len(open_) != 1
        or not min(low[0], high[0]) - 1 <= open_[0] <= max(low[0], high[0]) + 1
    ):
        return
    at = (low[0], open_[0], high[0])
    rows = [[v.high if (v := read_value(row[j])) else None for j in at] for row in body if max(at) < len(row)]
    full = [r for r in rows if None not in r]
    if len(full) >= 3 and all(a <= b <= c for a, b, c in full):  # type: ignore[operator]
        columns[open_[0]].role = "average"
        named[open_[0]] = []


def _is_unit(text: str) -> bool:
    unit: PrintedUnit | None = read_unit(text)
    return unit is not None and not text.strip().isdigit()


def _may_name(text: str) -> bool:
    """Whether a head may name a supply: short, no date, no sentence."""
    text = text.removeprefix("~")
    return (
        len(text) <= 80
        and not re.search(
            r"\d{1,2}[/.]\d{1,2}[/.]\d{2,4}|[;:]\s+\S|[a-z]{4}\.\s+\S|\.\s+[a-zà-ÿ]|[a-z]{3}\.$|^\W*$", text
        )
        and (not _DAY.search(text))
    )


_DAY = re.compile(r"\b\d{1,2}\.?\s+(?:de\s+)?[^\W\d_]{3,}\.?,?\s+(?:de\s+)?(?:19|20)\d{2}\b", re.IGNORECASE)


def _repeats(columns: list[Column]) -> bool:
    roles = [c.role for c in columns if c.role in VALUE_ROLES]
    return len(set(roles)) < len(roles)


def _as_before(columns: Sequence[Column], before: Sequence[Column]) -> dict[int, str | None]:
    """Supplies of the table above for columns that repeat its roles: in their order, or none where they differ."""
    now = [j for j, c in enumerate(columns) if c.role in VALUE_ROLES]
    then = [c for c in before if c.role in VALUE_ROLES]
    if [columns[j].role for j in now] == [c.role for c in then]:
        return {j: c.supply for j, c in zip(now, then, strict=True)}
    return {}


_GENERIC = re.compile(r"\b(?:service area|water service area|zone of service|versorgungsgebiet)\b", re.IGNORECASE)
_KIND = re.compile(r"\(([^()]*water[^()]*|[^()]*wasser[^()]*|wells?|river|lake)\)", re.IGNORECASE)


def supply_name(names: list[str]) -> str:
    """One name from stacked header texts: the area, and the kind of water where it is printed in brackets."""
    names = [" ".join(n.split()) for n in dict.fromkeys(names)]
    names = [re.sub(r"\s*\([a-z]\)$|\{[^}]*\}", "", n).strip() for n in names]
    names = [re.split(r"(?:^|\s+)including\b", n, flags=re.IGNORECASE)[0] for n in names if n]
    names = [n for n in names if n]
    if not names:
        return ALL
    if len(names) == 1 and _SYSTEM.match(names[0]):
        return ALL
    first = names[0]
    if _GENERIC.search(first) and _GENERIC.sub("", first).strip():
        area = _GENERIC.sub("", first).strip(" -–:")
        area = area.capitalize() if area.isupper() else area
        kind = next((m.group(1) for n in names if (m := _KIND.search(n))), None)
        if kind is not None and kind.lower() not in area.lower():
            return f"{area} ({kind})"
        return " ".join([area, *names[1:]])[:120]
    return " ".join(names)[:120]


def is_system(name: str) -> bool:
    """Whether a supply's name means the whole system."""
    return bool(_SYSTEM.match(" ".join(name.split())))
