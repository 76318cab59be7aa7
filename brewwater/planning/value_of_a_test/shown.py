"""What each test would show, predicted in every draw with its own error."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from brewwater.log import analyte_of
from brewwater.planning.candidate import Candidate
from brewwater.planning.scenario import Scenario
from brewwater.planning.value_of_a_test.decisions import Decision
from brewwater.reference import Row
from brewwater.reports.instruments import instrument
from brewwater.treatment import Stage
from brewwater.treatment.train import share_lost
from brewwater.water import Water

FloatArray = NDArray[np.float64]

# A reading is predicted so many times in each draw, each time with another error.
REPEATS = 4
# A test that reads a second figure of the same sample: what it shows first, because it tells free chlorine from
# chloramine, which one figure alone cannot.
_READS_TOO = {"total_chlorine_test": "free_chlorine"}


def reading_of(scenario: Scenario, candidate: Candidate, row: Row, place: str, choice: Decision) -> FloatArray | None:
    """What a test would show, its error included, shape (figure, repeat, n); None where it has nothing to do with
    the decision."""
    second = _READS_TOO.get(row["test"])
    shown = []
    for analyte in (row["analyte"],) if second is None else (second, row["analyte"]):
        truth = predicted_of(scenario, candidate, analyte, place, choice)
        if truth is None:
            return None
        name = row["test"] if analyte == row["analyte"] else f"{row['test']}: {analyte}"
        shown.append(_read(scenario, name, place, truth, instrument(analyte, row["method"])[:2]))
    return np.array(shown)


def predicted_of(
    scenario: Scenario, candidate: Candidate, analyte: str, place: str, choice: Decision
) -> FloatArray | None:
    """What a perfect test of an analyte would show, shape (n,); None where it has nothing to do with the
    decision."""
    n = scenario.draws.n
    if place != "served":
        number = next(i for i, s in enumerate(scenario.supplies) if s.name == place)
        return np.broadcast_to(analyte_of(scenario.supply_waters[number], analyte), n)
    one, used, without = choice.cartridge, choice.used, choice.without
    if one is None or used is None or without is None:
        return None
    if analyte == "meter_gal":
        return np.asarray(used * np.broadcast_to(one.usable_gal, n)) if np.isfinite(one.usable_gal).all() else None
    return _through(scenario, candidate, one.stage, analyte, used, without)


def _through(
    scenario: Scenario, candidate: Candidate, stage: Stage, analyte: str, used: FloatArray, without: Water
) -> FloatArray | None:
    """The served water at the main branch, with a cartridge as far used as it is; None where it does not show."""
    branch = scenario.main_branch.name
    whole = next(at.water for at in candidate.served if at.branch.name == branch)
    fresh, raw = (scenario.by_phase(analyte_of(w, analyte)) for w in (whole, without))
    if np.allclose(fresh, raw):
        return None
    return np.broadcast_to(fresh + share_lost(stage.medium, used) * (raw - fresh), used.shape)


def _read(scenario: Scenario, test: str, place: str, truth: FloatArray, error: tuple[float, float]) -> FloatArray:
    """Predicted readings with the instrument's error, shape (repeat, n)."""
    z = np.array([scenario.draws.normal(f"test/{place}/{test}/{k}") for k in range(REPEATS)])
    return np.asarray(truth + np.hypot(error[0] * truth, error[1]) * z)
