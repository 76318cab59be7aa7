"""Level lines and upright columns from the slanting pieces of text of a photographed page."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


def straighten(quads: FloatArray, width: float, height: float) -> FloatArray:
    """Upright boxes ``(x0, y0, x1, y1)``, shape (pieces, 4), of slanting ones.

    The slope of the lines varies over a page that is seen at an angle. It is fitted to the pieces of text themselves,
    as a plane over the page; each piece then moves along its line to the middle of the page. The lean of the columns
    is the one at which the most edges and middles of pieces stand above one another.

    Parameters
    ----------
    quads : corners clockwise from the upper left, shape (pieces, 4, 2), pixels
    """
    if len(quads) == 0:
        return np.zeros((0, 4))
    left, right = (quads[:, 0] + quads[:, 3]) / 2, (quads[:, 1] + quads[:, 2]) / 2
    tall = (np.linalg.norm(quads[:, 3] - quads[:, 0], axis=1) + np.linalg.norm(quads[:, 2] - quads[:, 1], axis=1)) / 2
    a, b, c = _slope(left, right, tall)
    middle = (left + right) / 2
    x, y = middle[:, 0] - width / 2, middle[:, 1]
    level = y - (a * x + b * x * x / 2 + c * y * x)
    lean, spread = _lean(left[:, 0], right[:, 0], level, width, height)
    down = level - height / 2

    def upright(across: FloatArray) -> FloatArray:
        return np.asarray(across - (lean + spread * (across - width / 2)) * down)

    x0, x1 = upright(left[:, 0]), upright(right[:, 0])
    level = _lines(level, x0, x1, tall)
    return np.stack([x0, level - tall / 2, np.maximum(x1, x0 + 1), level + tall / 2], axis=1)


def _lines(level: FloatArray, x0: FloatArray, x1: FloatArray, tall: FloatArray) -> FloatArray:
    """Levels made equal along each line: pieces less than a third of their height apart, none above another."""
    out = level.copy()
    lines: list[list[int]] = []
    for i in np.argsort(-(x1 - x0) / tall):  # long pieces lie surest
        best: tuple[float, list[int]] | None = None
        for line in lines:
            off = abs(level[i] - float(np.mean(level[line])))
            above = any(min(x1[i], x1[j]) - max(x0[i], x0[j]) > 0.2 * tall[i] for j in line)
            if off < 0.3 * tall[i] and not above and (best is None or off < best[0]):
                best = (off, line)
        if best is None:
            lines.append([int(i)])
        else:
            best[1].append(int(i))
    for line in lines:
        out[line] = np.median(level[line])
    return out


def _slope(left: FloatArray, right: FloatArray, tall: FloatArray) -> tuple[float, float, float]:
    """Slope of the lines as ``a + b x + c y``, x from the middle of the page, y from its top."""
    across = right[:, 0] - left[:, 0]
    long = across > 2 * tall
    if long.sum() < 8:
        return 0.0, 0.0, 0.0
    slope = (right[long, 1] - left[long, 1]) / across[long]
    middle = (left[long] + right[long]) / 2
    x = middle[:, 0] - float(np.mean([left[:, 0].min(), right[:, 0].max()]))
    terms = np.stack([np.ones_like(x), x, middle[:, 1]], axis=1)
    weight = np.minimum(across[long], 600.0)
    for _ in range(3):
        fit = np.linalg.lstsq(terms * weight[:, None], slope * weight, rcond=None)[0]
        off = np.abs(slope - terms @ fit)
        weight = np.where(off > 3 * np.median(off) + 1e-4, 0.0, np.minimum(across[long], 600.0))
        if not weight.any():
            return 0.0, 0.0, 0.0
    return float(fit[0]), float(fit[1]), float(fit[2])


def _lean(left: FloatArray, right: FloatArray, level: FloatArray, width: float, height: float) -> tuple[float, float]:
    """Lean of the columns at the middle of the page, and how it grows to the right (1/pixel)."""
    down = level - height / 2
    step = max(width / 250, 2.0)

    def aligned(lean: float, spread: float) -> float:
        score = 0.0
        for edge in (left, (left + right) / 2, right):
            at = edge - (lean + spread * (edge - width / 2)) * down
            bins = np.bincount(np.clip((at / step).astype(int) + 20, 0, 400), minlength=401).astype(float)
            smooth = bins[:-1] + bins[1:]
            score = max(score, float((smooth**2).sum()))
        return score

    best = max(((aligned(lean, 0.0), lean) for lean in np.linspace(-0.08, 0.08, 81)), key=lambda s: (s[0], -abs(s[1])))
    leans = best[1] + np.linspace(-0.006, 0.006, 7)
    spreads = np.linspace(-8e-5, 8e-5, 33)
    found = max(
        ((aligned(lean, spread), lean, spread) for lean in leans for spread in spreads),
        key=lambda s: (s[0], -abs(s[2])),
    )
    return (float(found[1]), float(found[2])) if found[0] > 1.1 * best[0] else (float(best[1]), 0.0)
