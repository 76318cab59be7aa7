"""A plan document from a few figures: what the command line's options describe, and ``brewwater.quick_plan``."""

from __future__ import annotations

import math
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from brewwater.errors import InputError
from brewwater.files import plain_file
from brewwater.planning.document import PlanDocument, demo_document, document_of, new_unit, with_overrides
from brewwater.reports.analysis import Measurement
from brewwater.units import number_and_unit

MOST_DRINKS = 20_000
_ANALYTES = {"hardness": "total_hardness", "alkalinity": "alkalinity", "tds": "total_dissolved_solids"}


def quick_document(
    plan: PlanDocument | Mapping[str, Any] | str | os.PathLike[str] | None = None,
    *,
    report: str | os.PathLike[str] | None = None,
    supply: str | None = None,
    hardness: float | str | None = None,
    alkalinity: float | str | None = None,
    tds: float | str | None = None,
    drinks: float | str | None = None,
    named: str = "{}",
) -> PlanDocument:
    """The document that a few figures describe.

    Parameters
    ----------
    plan : a document in any form (``document_of``). None: a plain mobile unit that starts today where a report or a
        figure of the water is given, the demo where none is
    report, supply : a water report's file, and which of its supplies
    hardness, alkalinity, tds : mg/L, the first two as CaCO3; or a text with its unit such as ``17 gpg``. What is not
        given stays as the document has it
    drinks : on a service day, 0 to 20000
    named : how an argument is called in an error

    Raises
    ------
    InputError : a file, a supply or a number that cannot be used
    """
    figures = {"hardness": hardness, "alkalinity": alkalinity, "tds": tds}
    analysis = {
        _ANALYTES[key]: typed(named.format(key), value, _ANALYTES[key])
        for key, value in figures.items()
        if value is not None
    }
    read = None
    if report is not None:
        from brewwater.reports import read_report

        plain_file(report, named.format("report"))
        read = read_report(Path(report)).supply(supply)
    elif supply is not None:
        field, remedy = named.format("supply"), f"Give the report with {named.format('report')}."
        raise InputError(field, supply, "it names a supply of a report", remedy)
    if plan is not None:
        document = document_of(plan)
    else:
        document = demo_document() if read is None and not analysis else new_unit()
    per_day = None if drinks is None else _drinks(named.format("drinks"), drinks)
    return with_overrides(document, supply=read, analysis=analysis, drinks_per_service_day=per_day)


def typed(field: str, value: float | str, analyte: str) -> Measurement:
    """A figure as a person types it: a number in mg/L, or with a unit of the closed list, such as ``17 gpg``.

    Raises
    ------
    InputError : not a number, not finite, negative, or a unit outside the list
    """
    found = number_and_unit(str(value))
    if found is None or not math.isfinite(found[0]):
        raise InputError(
            field,
            value,
            "a number of 0 or more is needed, in mg/L or with its unit",
            "Give a number such as 290, or 17 gpg.",
        )
    number, unit = found
    if number < 0:
        raise InputError(field, value, "it cannot be less than 0", "Check the sign.")
    try:
        entry = Measurement.model_validate({"value": number, "unit": unit or "mg/L", "method": "typed"})
    except ValidationError:  # far too many letters for a unit
        remedy = "Give a number such as 290, or 17 gpg."
        raise InputError(field, value, "it is not a number with a unit", remedy) from None
    entry.in_plan_units(analyte)  # refuses a unit outside the closed list
    return entry


def _drinks(field: str, value: float | str) -> float:
    found = number_and_unit(str(value))
    if found is None or found[1] or not 0 <= found[0] <= MOST_DRINKS:
        needed = f"a number of drinks per service day from 0 to {MOST_DRINKS} is needed"
        raise InputError(field, value, needed, "Give a number such as 150.")
    return found[0]
