"""Empty-bed contact time as a trade sheet prints it: cubic feet x 7.48 / gpm, in minutes."""

from __future__ import annotations

from collections.abc import Callable

from brewwater.plumbing.flow import FT_M
from brewwater.treatment.media.catalytic_carbon import empty_bed_contact_s


def test_minutes(printed: Callable[..., None]) -> None:
    minutes = float(empty_bed_contact_s(FT_M**3 * 1000, 1.0)) / 60
    printed(
        "contact-time formula, ft3 x 7.48 / gpm (scribd 684872363)", "minutes of 1 ft3 at 1 gpm", minutes, 7.48, 0.005
    )
