"""Warranty evidence: what a machine's manual asks of its water, against every test of that water in the log.

Only limits that were entered from the manual count, never a usual figure; a test counts as it was read, without its
error. Nothing is concluded from it: whoever gives a warranty decides.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from brewwater.log.entry import Kind, Reading, standing_readings
from brewwater.verdicts import MachineProfile

Held = Literal["within", "past", "not_tested"]
_SLACK = 1e-9  # of a value converted from another unit


@dataclass(frozen=True, slots=True)
class StatedLimit:
    """A limit of the manual. ``kind`` of the log line that tests it; ``low`` and ``high`` in ``unit``; None where that
    end does not bind. ``in_boiler``: of the boiler's own water, which no test of the line can show."""

    kind: Kind
    low: float | None
    high: float | None
    unit: str
    in_boiler: bool = False

    def holds(self, value: float) -> bool:
        """Whether a value keeps to it; the limit itself does."""
        over = self.high is not None and value > self.high * (1 + _SLACK)
        return not over and not (self.low is not None and value < self.low * (1 - _SLACK))


@dataclass(frozen=True, slots=True)
class LimitTest:
    """A test against a limit: the line of the log, its value in the limit's unit, and whether it keeps to it."""

    line: Reading
    value: float
    within: bool


@dataclass(frozen=True, slots=True)
class Evidence:
    """A limit with every test of it, oldest first."""

    limit: StatedLimit
    tests: tuple[LimitTest, ...]

    @property
    def held(self) -> Held:
        """Past where any test is past it."""
        if not self.tests:
            return "not_tested"
        return "within" if all(test.within for test in self.tests) else "past"

    @property
    def past(self) -> tuple[LimitTest, ...]:
        """The tests that are past it."""
        return tuple(test for test in self.tests if not test.within)


def stated_limits(machine: MachineProfile) -> Iterator[StatedLimit]:
    """The limits that were entered from the machine's manual."""
    m, as_caco3 = machine, "mg/L as CaCO3"
    rows: tuple[tuple[Kind, float | None, float | None, str], ...] = (
        ("hardness", m.hardness_min_mg_L_as_CaCO3, m.hardness_max_mg_L_as_CaCO3, as_caco3),
        ("alkalinity", m.alkalinity_min_mg_L_as_CaCO3, m.alkalinity_max_mg_L_as_CaCO3, as_caco3),
        ("chloride", None, m.chloride_max_mg_L, "mg/L"),
        ("tds", None, m.tds_max_mg_L, "mg/L"),
        ("conductivity", m.minimum_conductivity_uS_cm, None, "µS/cm"),
        ("pressure_out_psi", m.minimum_inlet_psi, None, "psi"),
    )
    for kind, low, high, unit in rows:
        if low is not None or high is not None:
            in_boiler = kind == "chloride" and m.chloride_limit_at == "boiler"
            yield StatedLimit(kind, low, high, unit, in_boiler)


def warranty_evidence(
    machine: MachineProfile, places: Sequence[str], readings: Sequence[Reading]
) -> tuple[Evidence, ...]:
    """The machine's stated limits, each with every test that still counts.

    Parameters
    ----------
    machine : its profile
    places : what the log calls the water at this machine: its branch, ``served`` where it is the main one
    readings : the whole log, corrections included
    """
    standing = sorted(standing_readings(readings), key=lambda line: (line.date, line.recorded_at))

    def tests(limit: StatedLimit) -> Iterator[LimitTest]:
        for line in standing:
            # a gauge after the filters stands there whatever place is written; water is of the place that was written
            here = line.where in places or (limit.kind == "pressure_out_psi" and line.where == "")
            value = line.own_value() if line.kind == limit.kind and here else None
            if value is not None and not limit.in_boiler:
                yield LimitTest(line, value, limit.holds(value))

    return tuple(Evidence(limit, tuple(tests(limit))) for limit in stated_limits(machine))
