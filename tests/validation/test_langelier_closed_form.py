"""The closed form of the Langelier index, worked in print at two temperatures (corrosion-doctors.org)."""

from __future__ import annotations

from collections.abc import Callable

from brewwater import chemistry

Check = Callable[..., None]


def test_langelier_at_two_temperatures(printed: Check) -> None:
    source = "corrosion-doctors.org, Langelier index calculation"
    for temperature, index, saturation in ((25, -0.7, 8.2), (82, 0.3, 7.2)):
        ph = float(chemistry.saturation_ph_simplified(150, 34, 320, temperature))
        printed(source, f"pHs at {temperature} °C", ph, saturation, 0.05)
        ours = float(chemistry.langelier_index_simplified(7.5, 150, 34, 320, temperature))
        printed(source, f"Langelier index at {temperature} °C", ours, index, 0.05)
