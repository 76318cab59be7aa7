"""The colours, light and dark, each with its meaning: colour is only for water and verdicts, all else is ink.

On screen they are CSS variables, so that a drawing follows the reader's theme; on paper the light ones stand as they
are. Contrast with the paper (WCAG 2, light / dark): ink 15.2 / 15.8, second 7.5 / 10.1, edge 3.7 / 6.0, raw 6.4 / 9.0,
treated 6.4 / 9.0, good 6.4 / 10.4, act 6.4 / 8.9, unknown 6.0 / 8.6. Yellow alone is 1.4 on light paper: it never
stands without an outline of ink.
"""

from __future__ import annotations

from dataclasses import dataclass, fields


@dataclass(frozen=True, slots=True)
class Ink:
    """Colours by meaning, as CSS reads them."""

    paper: str
    ink: str
    second: str
    edge: str
    grid: str
    band: str
    raw: str
    raw_fill: str
    treated: str
    treated_fill: str
    good: str
    watch: str
    watch_ink: str
    act: str
    unknown: str


PRINT = Ink(
    paper="#FBFAF7",
    ink="#17242B",
    second="#46545C",
    edge="#76838A",
    grid="#C9CECB",
    band="#E4E6E4",
    raw="#7B5330",
    raw_fill="#F1E6D9",
    treated="#0B5CAD",
    treated_fill="#DCE9F8",
    good="#17693F",
    watch="#FFD54A",
    watch_ink="#17242B",
    act="#B3202C",
    unknown="#55626A",
)
DARK = Ink(
    paper="#12181B",
    ink="#F0F1EC",
    second="#B9C4C7",
    edge="#8A989D",
    grid="#3A464B",
    band="#2B363A",
    raw="#DDB07C",
    raw_fill="#3A2D1E",
    treated="#84BDF7",
    treated_fill="#17324F",
    good="#86D6A6",
    watch="#F4CB45",
    watch_ink="#12181B",
    act="#FF9C94",
    unknown="#A9B6BB",
)
SCREEN = Ink(**{f.name: f"var(--bw-{f.name.replace('_', '-')})" for f in fields(Ink)})
CSS = (
    ":root{"
    + "".join(
        f"--bw-{f.name.replace('_', '-')}:light-dark({getattr(PRINT, f.name)},{getattr(DARK, f.name)});"
        for f in fields(Ink)
    )
    + "}"
)
