"""The waters of a plan in the measures that are read: as it comes, and at each branch."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from brewwater.planning.candidate import Served
from brewwater.planning.scenario import Scenario
from brewwater.verdicts import State, TargetChoice, describe, ph_in_cup
from brewwater.water import Water

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
# Without calcium or carbonate an index is without end: what is under this has nothing that could drop out.
LEAST_INDEX = -9.0

# Every measure of a water that a result shows, by its name with unit and basis, given the goals that are chosen.
MEASURES: Mapping[str, Callable[[Water, State, TargetChoice], FloatArray]] = {
    "hardness_mg_L_as_CaCO3": lambda water, state, goals: water.hardness_mg_L_as_CaCO3,
    "alkalinity_mg_L_as_CaCO3": lambda water, state, goals: water.alkalinity_mg_L_as_CaCO3,
    "tds_mg_L": lambda water, state, goals: state.tds_mg_L,
    "ph": lambda water, state, goals: ph_in_cup(state, goals),
    "ph_in_cup": lambda water, state, goals: ph_in_cup(state, goals),
    "ph_in_line": lambda water, state, goals: state.line_ph,
    "ph_in_air": lambda water, state, goals: state.air_ph,
    "chloride_mg_L": lambda water, state, goals: water.chloride_mg_L,
    "sodium_mg_L": lambda water, state, goals: water.sodium_mg_L,
    "conductivity_uS_cm": lambda water, state, goals: state.conductivity_uS_cm,
    "total_chlorine_mg_L_as_Cl2": lambda water, state, goals: water.total_chlorine_mg_L,
    "calcite_saturation_index_hot": lambda water, state, goals: np.maximum(state.hot_index, LEAST_INDEX),
    "ccpp_hot_mg_L_as_CaCO3": lambda water, state, goals: state.hot_ccpp_mg_L_as_CaCO3,
}
SOURCE = "as it comes"


def shown(scenario: Scenario, water: Water, state: State) -> dict[str, FloatArray]:
    """Each measure's 10th, 50th and 90th percentile over draws and waters, each water by its share of the service
    days; NaN where it cannot be solved."""
    goals = scenario.document.targets
    return {name: scenario.pooled(of(water, state, goals)) for name, of in MEASURES.items()}


@dataclass(frozen=True, slots=True)
class Waters:
    """Percentiles of every measure (``MEASURES``): of the water as it comes, then of each branch's by its name."""

    each: tuple[tuple[str, Mapping[str, FloatArray]], ...]

    def frame(self) -> pd.DataFrame:
        """Three rows a water, its 10th, 50th and 90th percentile; a column a measure, its unit in the name."""
        import pandas as pd

        rows = [
            {"water": name, "percentile": percent} | {key: float(values[at]) for key, values in measures.items()}
            for name, measures in self.each
            for at, percent in enumerate((10, 50, 90))
        ]
        return pd.DataFrame(rows, columns=["water", "percentile", *MEASURES])


def waters_of(scenario: Scenario, source: State, served: Sequence[Served]) -> Waters:
    """The waters of a plan; ``source``: the state of ``scenario.waters``."""
    served_waters = [(at.branch.name, shown(scenario, at.water, at.state or describe(at.water))) for at in served]
    return Waters(((SOURCE, shown(scenario, scenario.waters, source)), *served_waters))
