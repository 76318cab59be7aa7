"""One check of the fit, and how its value is read from the draws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from brewwater.ensemble import mean, percentiles
from brewwater.verdicts.measure import assumed_words

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Check:
    """One check. ``part`` names the branch, stage or tank where there are several; ``unit`` of a ratio: 1.

    ``ok`` None: not known, either because no figure can stand in for what is missing, or because what stands in
    may turn it either way. ``assumed``: a usual figure stands in for something that was not given, so that the check
    holds or fails *on assumed values*: it warns, but neither refuses a train nor proves that one fits.
    """

    check: str
    value: float | None
    limit: float | None
    unit: str
    ok: bool | None
    source: str
    why: str
    part: str = ""
    assumed: bool = False

    @property
    def refuses(self) -> bool:
        """True where it fails on what was given."""
        return self.ok is False and not self.assumed


class Judge:
    """Reads the unfavourable side of the draws."""

    def __init__(self, weights: FloatArray) -> None:
        self.weights = weights

    def low(self, values: FloatArray) -> float:
        """What nine draws of ten reach."""
        return float(percentiles(values, self.weights, (0.1,))[0])

    def high(self, values: FloatArray) -> float:
        """What nine draws of ten stay under."""
        return float(percentiles(values, self.weights, (0.9,))[0])

    def middle(self, values: FloatArray) -> float:
        """The median."""
        return float(percentiles(values, self.weights, (0.5,))[0])

    def mean(self, values: FloatArray) -> float:
        """The mean: of parts that a reader adds up."""
        return float(mean(values, self.weights))


def at_least(value: float, least: float) -> bool:
    """True where a value reaches a limit, to rounding."""
    return value >= least * (1 - 1e-9) - 1e-12


def settled(
    check: str,
    value: float | None,
    limit: float | None,
    unit: str,
    holds: Sequence[bool],
    source: str,
    how: str,
    part: str = "",
    *,
    gone: Sequence[str] = (),
) -> Check:
    """A check with its verdict and its reason.

    Parameters
    ----------
    holds : whether it holds at the usual figures, and at either end of what stands in for what was not given: not
        known where these differ. Empty: no figure can stand in
    how : the reason, without its full stop
    gone : what was not given
    """
    ok = holds[0] if len(set(holds)) == 1 else None
    named = ", ".join(dict.fromkeys(gone))
    if not gone:
        why = f"{how}."
    elif ok is None:
        reason = "nothing stands in for" if not holds else "it may go either way with"
        why = f"Not known: {reason} what is not given ({named}). {how}."
    else:
        why = f"{assumed_words(ok)} (not given: {named}): {how}."
    return Check(check, value, limit, unit, ok, source, why, part, bool(gone))
