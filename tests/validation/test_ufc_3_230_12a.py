"""UFC 3-230-12A, appendix A: blending raw water with permeate."""

from __future__ import annotations

from collections.abc import Callable

from brewwater.treatment.media.blend import raw_share


def test_blend_of_raw_water(printed: Callable[..., None]) -> None:
    printed(
        "UFC 3-230-12A App. A: raw 800, permeate 303, target 500",
        "share of raw water",
        float(raw_share(800, 303, 500)),
        0.396,
        0.0005,
    )
