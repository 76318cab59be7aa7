"""What a manual asks of the water, against the tests of the log."""

from __future__ import annotations

import datetime as dt

from brewwater.log.entry import Reading
from brewwater.log.warranty import stated_limits, warranty_evidence
from brewwater.verdicts import MachineProfile

DAY = dt.date(2027, 3, 1)
MACHINE = MachineProfile(
    hardness_min_mg_L_as_CaCO3=35, hardness_max_mg_L_as_CaCO3=90, chloride_max_mg_L=30, minimum_inlet_psi=40
)


def line(kind: str, value: float, unit: str, where: str = "served", days: int = 0, **more: object) -> Reading:
    fields = {"date": DAY + dt.timedelta(days=days), "kind": kind, "value": value, "unit": unit, "where": where}
    return Reading.model_validate(fields | more)


def test_each_limit_with_its_tests() -> None:
    log = [
        line("hardness", 90, "ppm", days=2),  # the limit itself holds
        line("hardness", 6, "gpg", days=1),  # 102.7 mg/L as CaCO3 (1 gpg = 17.1 ppm)
        line("hardness", 300, "ppm", where="source"),  # not the machine's water
        line("hardness", 20, "ppm", where="Bar", days=3),
        line("pressure_out_psi", 276, "kPa", where=""),  # 40.03 psi
    ]
    hardness, chloride, pressure = warranty_evidence(MACHINE, ("served", "Bar"), log)
    assert [(t.line.date.day, t.within) for t in hardness.tests] == [(2, False), (3, True), (4, False)]
    assert round(hardness.tests[0].value, 1) == 102.7
    assert (hardness.held, len(hardness.past)) == ("past", 2)
    assert (chloride.held, chloride.tests) == ("not_tested", ())
    assert (pressure.held, pressure.tests[0].within) == ("within", True)
    assert warranty_evidence(MACHINE, ("Other",), log)[0].held == "not_tested"


def test_a_corrected_line_does_not_count() -> None:
    wrong = line("chloride", 300, "mg/L")
    right = line("chloride", 30, "mg/L", corrects=wrong.id)
    (_, chloride, _) = warranty_evidence(MACHINE, ("served",), [wrong, right])
    assert [t.value for t in chloride.tests] == [30]
    assert chloride.held == "within"


def test_only_what_the_manual_states() -> None:
    assert list(stated_limits(MachineProfile())) == []
    boiler = MachineProfile(chloride_max_mg_L=50, chloride_limit_at="boiler")
    (found,) = warranty_evidence(boiler, ("served",), [line("chloride", 400, "mg/L")])
    assert found.held == "not_tested"  # a test of the line shows nothing of the boiler's own water
