"""What a reading tells: the log sorted into evidence, the draws weighed and moved by it, and diagnoses."""

from brewwater.log.diagnose import Seen, diagnose
from brewwater.log.evidence import (
    analyte_of,
    bed_holds,
    counted_log,
    follow_meters,
    foretold_gal,
    metered_gal,
    metered_log,
    plan_factor,
    tested_log,
)
from brewwater.log.likelihood import Learned, Step, follow, learn
from brewwater.log.parts import Diagnosis, Flag, Metered, Scene, Sorted, Tested, Timeline, timeline
from brewwater.log.validate import sort_log

__all__ = [
    "Diagnosis",
    "Flag",
    "Learned",
    "Metered",
    "Scene",
    "Seen",
    "Sorted",
    "Step",
    "Tested",
    "Timeline",
    "analyte_of",
    "bed_holds",
    "counted_log",
    "diagnose",
    "follow",
    "follow_meters",
    "foretold_gal",
    "learn",
    "metered_gal",
    "metered_log",
    "plan_factor",
    "sort_log",
    "tested_log",
    "timeline",
]
