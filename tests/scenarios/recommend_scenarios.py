"""Plans of the scenarios: a mobile unit on a water of these numbers, and what to read of its plan."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from brewwater.plan import Plan, make_plan
from brewwater.planning.document import PlanDocument, load_document, mobile_template
from brewwater.planning.search import Alternative
from brewwater.treatment import Stage
from brewwater.verdicts import Measure, Verdict

Values = Mapping[str, float | list[float]]


def supply(name: str, values: Values, **facts: Any) -> dict[str, Any]:
    """A supply from numbers: mg/L, hardness and alkalinity as CaCO3."""
    analysis = {}
    for analyte, value in values.items():
        one: dict[str, Any] = {"value": value, "unit": "NONE" if analyte == "ph" else "mg/L", "method": "report"}
        if analyte in {"total_hardness", "alkalinity"}:
            one["basis"] = "CaCO3"
        analysis[analyte] = one
    return {"name": name, "analysis": analysis, **facts}


def document(values: Values, drinks: float = 120, draws: int = 256, **facts: Any) -> PlanDocument:
    """The mobile template on one water; ``facts`` of the supply (disinfectant)."""
    return towns({"Mill Street": (values, facts)}, drinks, draws)


def towns(
    waters: Mapping[str, tuple[Values, Mapping[str, Any]]],
    drinks: float = 120,
    draws: int = 256,
    fills: list[dict[str, Any]] | None = None,
    **changes: Any,
) -> PlanDocument:
    """The mobile template on several waters."""
    made = mobile_template().model_dump()
    made["supplies"] = [supply(name, values, **facts) for name, (values, facts) in waters.items()]
    made["fill"] = {"fills": fills or [{"supply": next(iter(waters))}], "heel": made["fill"]["heel"]}
    made["demand"]["drinks_per_service_day"] = drinks
    made["settings"]["draws"] = draws
    return load_document({**made, **changes})


def plan(values: Values, **more: Any) -> Plan:
    return make_plan(document(values, **more))


def media(stages: tuple[Stage, ...]) -> tuple[str, ...]:
    return tuple(s.medium for s in stages)


def chosen(made: Plan) -> tuple[str, ...]:
    """The media of the train, sediment filter and carbons left out."""
    return tuple(m for m in media(made.candidate.stages) if m not in {"sediment", "carbon", "catalytic_carbon"})


def listed(made: Plan, *wanted: str) -> Alternative:
    """The alternative with exactly these media besides sediment filter and carbons."""
    aside = {"sediment", "carbon", "catalytic_carbon"}
    found = [a for a in made.alternatives if tuple(m for m in media(a.candidate.stages) if m not in aside) == wanted]
    assert found, [media(a.candidate.stages) for a in made.alternatives]
    return found[-1]


def stage(made: Plan, medium: str) -> Stage:
    return next(s for s in made.candidate.stages if s.medium == medium)


def median(values: np.ndarray) -> float:
    return float(np.median(values))


def served(made: Plan) -> dict[str, float]:
    """Median hardness, alkalinity (as CaCO3), chloride, sodium (mg/L) at the main machine."""
    w = made.candidate.main.water
    return {
        "hardness": median(w.hardness_mg_L_as_CaCO3),
        "alkalinity": median(w.alkalinity_mg_L_as_CaCO3),
        "chloride": median(w.chloride_mg_L),
        "sodium": median(w.sodium_mg_L),
    }


def verdict(found: tuple[Verdict, ...], subject: str) -> Verdict:
    return next(v for v in found if v.subject == subject)


def measure(one: Verdict, name: str) -> Measure:
    return next(m for m in one.measures if m.name == name)


def codes(made: Plan) -> set[str]:
    return {w.code for w in made.warnings}
