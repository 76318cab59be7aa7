"""What bad water costs: by the drink served out of goal, by the gram of scale, by the machine that metal ends.

Every figure is a placeholder of ``reference/worth_defaults.csv`` until the user states it. Nothing here is spent:
it is what the search weighs money against.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pydantic import model_validator

from brewwater.records import NonNegative, Part, Positive
from brewwater.reference import Row, keyed
from brewwater.verdicts.severity import Lost, Weighed

FloatArray = NDArray[np.float64]


class Worth(Part):
    """What a bad cup and a spoilt machine cost, in the plan's currency; None: the placeholder of
    ``reference/worth_defaults.csv``.

    ``cup_per_drink``: a drink served wholly out of goal; ``scale_per_g``: elements and valves that a gram of scale
    ends early (descaling itself has its own price); ``machine_price`` and how many drinks it serves in its life,
    in water within goal (``machine_life_drinks``) and where its metal is attacked (``attacked_life_drinks``).
    ``cup``, ``scale``, ``corrosion``: a whole year wholly out of goal as one sum, however much is sold; where it is
    stated it stands in place of the figures by the drink and the gram (documents of before these were kept so).
    """

    cup_per_drink: NonNegative | None = None
    scale_per_g: NonNegative | None = None
    machine_price: NonNegative | None = None
    machine_life_drinks: Positive | None = None
    attacked_life_drinks: Positive | None = None
    cup: NonNegative | None = None
    scale: NonNegative | None = None
    corrosion: NonNegative | None = None

    @model_validator(mode="after")
    def _shorter(self) -> Worth:
        if self.of("attacked_life_drinks") > self.of("machine_life_drinks"):
            raise ValueError("attacked_life_drinks is more than machine_life_drinks: attacked metal lasts no longer")
        return self

    def of(self, key: str) -> float:
        """A figure by the drink or the gram: the user's, else the placeholder."""
        own = getattr(self, key)
        return float(defaults()[key]["value"] if own is None else own)

    @property
    def metal_per_drink(self) -> float:
        """What attacked metal costs by the drink: the machine's price over the drinks it still serves, less the
        same over its full life."""
        price = self.of("machine_price")
        return price / self.of("attacked_life_drinks") - price / self.of("machine_life_drinks")

    def assumed(self) -> tuple[Row, ...]:
        """The placeholders in use, each with its unit and reason."""
        return tuple(row for key, row in defaults().items() if getattr(self, key) is None)


def defaults() -> Mapping[str, Row]:
    """The rows of ``reference/worth_defaults.csv`` by key."""
    return keyed("worth_defaults")


@dataclass(frozen=True, slots=True)
class Stake:
    """What is at stake in a year: ``drinks`` served, shape (draw,) or (1,); ``descale_per_g``: currency."""

    worth: Worth
    drinks: FloatArray
    descale_per_g: float

    def whole_year(self, subject: Weighed, scale_g: FloatArray | float = 0.0) -> FloatArray:
        """A year wholly out of goal; ``scale_g``: the grams that such a water lays down in it."""
        subject = "cup" if subject == "chlorine" else subject
        stated = getattr(self.worth, subject)
        if stated is not None:
            return np.where(self.drinks > 0, stated, 0.0)
        if subject == "scale":
            return np.asarray(scale_g * self.worth.of("scale_per_g"), dtype=np.float64)
        each = self.worth.of("cup_per_drink") if subject == "cup" else self.worth.metal_per_drink
        return np.asarray(self.drinks * each, dtype=np.float64)

    def lost(self, lost: Lost, scale_g: FloatArray) -> dict[Weighed, FloatArray]:
        """What a year of a water at one machine loses. Scale is descaling too, and the life of a machine whose own
        limits are passed; inside the goal nothing is counted."""
        scale = lost.scale * (self.whole_year("scale", scale_g) + scale_g * self.descale_per_g)
        metal = self.whole_year("corrosion")
        return {
            "cup": lost.cup * self.whole_year("cup"),
            "chlorine": lost.chlorine * self.whole_year("chlorine"),
            "scale": scale + lost.limit * metal,
            "corrosion": lost.corrosion * metal,
        }
