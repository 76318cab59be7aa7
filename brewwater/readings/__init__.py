"""What a reading tells: the log sorted into evidence, the draws weighed and moved by it, and diagnoses."""

from brewwater.readings.diagnose import Seen, diagnose
from brewwater.readings.evidence import (
    analyte_of,
    bed_holds,
    counted_log,
    follow_meters,
    metered_gal,
    metered_log,
    plan_factor,
    tested_log,
)
from brewwater.readings.likelihood import Learned, Step, follow, learn
from brewwater.readings.parts import Diagnosis, Flag, Metered, Scene, Sorted, Tested, Timeline, timeline
from brewwater.readings.sort import sort_log

__all__ = [
    "Diagnosis", "Flag", "Learned", "Metered", "Scene", "Seen", "Sorted", "Step", "Tested", "Timeline",
    "analyte_of", "bed_holds", "counted_log", "diagnose", "follow", "follow_meters", "learn", "metered_gal",
    "metered_log", "plan_factor", "sort_log", "tested_log", "timeline",
]  # fmt: skip
