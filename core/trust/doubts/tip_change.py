"""Tip change: a line that divides the map into a sharper and a duller part."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.heightmap import FloatArray
from core.trust.doubts.doubt import Doubt, Place
from core.trust.doubts.lines import COLUMNS, LEAST_LINES, medians
from core.trust.doubts.look import Look
from core.units import format_length

RAW_CHANGE = {1: 0.22, 2: 0.3}
SMOOTH_CHANGE = {6: 0.45, 12: 0.48}
"""Distance along the line, points, and change of the logarithm of the steps over it above which it is told; on the
map itself, and on its means over 3 × 3 points, in which texture outlasts noise."""

SCORE = 4.0
SIDE = 256
"""Points on a side for which the limits hold. A smaller map holds fewer features and is less even by chance."""

MARGIN = 0.1
"""Share of the lines at either end within which no change is looked for."""

LONG_RUN = 64
"""Lines over which the unevenness of the texture is followed."""


def tip_change(look: Look) -> Doubt | None:
    """The doubt that the probe changed at some line.

    Notes
    -----
    vᵢ = ln of the median of |z(x + lag) − z(x)| along line i. The best split n leaves Δ between the means of both
    parts and the score T = |Δ| √(n(N − n)/N)/σ, σ² the long-run variance of the residuals (Bartlett, 64 lines, not
    below half of the plain variance). Told for T > 4 and |Δ| above the limit of its lag: short lags on the map as it is
    see fine textures change by a third, lags of 6 and 12 points on means over 3 × 3 points see smooth ones halve, whose
    short steps are noise. The size of the change guards more than the score; on maps of fewer than 256² points its
    limit is raised by the ratio of the sides, because their halves differ more by chance. A blunter probe changes
    nothing on a
    texture that is longer than a few of its widths.

    Simulated for this program (256², ten clean textures; `tests/core/trust/test_doubt_spatial_rates.py`): 6 alarms in
    1,500 clean maps, 4 of them on long-waved texture (20 points), whose halves differ by chance. Texture halved, noise
    kept: found in 193 of 200 maps (17 of 20 where lapping runs along the lines or at an angle); weakened to 0.7: in 82
    of 200. On maps of 128² a halved texture is found in a quarter.
    """
    if look.blank or min(look.raw.shape) < LEAST_LINES:
        return None
    found = best_split(look.level)
    if found is None:
        return None
    ny, nx = look.raw.shape
    ratio = math.exp(found.change)
    duller_below = ratio < 1
    kept = f"lines 1 to {found.row}" if duller_below else f"lines {found.row + 1} to {ny}"
    masked = {"top": f"{found.row} px"} if duller_below else {"top": "0 px", "height": f"{found.row} px"}
    uneven = "uneven lapping or tip" if look.directional else "an uneven surface or the tip"
    place = Place(found.row, 0, ny, nx) if duller_below else Place(0, 0, found.row, nx)
    return Doubt(
        "tip-change",
        "amber",
        f"Line {found.row + 1} divides the map: after it, steps over {format_length(found.lag * look.raw.pitch[1])} "
        f"along the lines are {ratio:.2g} times as high as before.",
        f"The probe became duller or picked something up, or got rid of it. Use the sharper part, {kept}; change the "
        "probe and scan again.",
        {"line": float(found.row), "ratio": ratio, "score": found.score, "lag_m": found.lag * look.raw.pitch[1]},
        place=place,
        confused_with=f"Line {found.row + 1} divides the map: {uneven}.",
        settled_by="Scan the lines before it once more: the probe stays changed, the surface does not.",
        cure={"do": "mask", "what": "rectangle", **masked},
    )


@dataclass(frozen=True, slots=True)
class Split:
    """A line that divides the map.

    Attributes
    ----------
    row : int
        First row of the second part.
    change : float
        Change of ln(median step along the line) from the first part to the second.
    score : float
        T.
    lag : int
        Distance of the steps, points.
    """

    row: int
    change: float
    score: float
    lag: int


def best_split(level: FloatArray) -> Split | None:
    """The split that goes farthest beyond the limit of its lag; None if none does."""
    over: list[tuple[float, Split]] = []
    wider = max(1.0, SIDE / math.sqrt(level.size))
    summed = level[:-2] + level[1:-1]
    summed += level[2:]
    for heights, wide, limits in ((level, 1, RAW_CHANGE), (summed, 3, SMOOTH_CHANGE)):
        for lag, limit in limits.items():
            found = split(fineness(heights, lag, wide), lag)
            if found is not None and abs(found.change) > wider * limit and found.score > SCORE:
                over.append((abs(found.change) / limit, found))
    return max(over, key=lambda item: item[0])[1] if over else None


def fineness(level: FloatArray, lag: int, wide: int = 1) -> FloatArray:
    """ln of the median step over `lag` points along each row; NaN where it is zero or too few points decide.

    With `wide`, the steps are those of sums over so many neighbours along the row.
    """
    count = level.shape[1] - lag - wide + 1
    stride = max(1, level.shape[1] // COLUMNS)
    steps = level[:, lag : lag + count : stride] - level[:, :count:stride]
    for beside in range(1, wide):
        steps += level[:, lag + beside : lag + beside + count : stride]
        steps -= level[:, beside : beside + count : stride]
    typical = medians(np.abs(steps, out=steps))
    return np.log(typical, out=np.full_like(typical, np.nan), where=typical > 0)


def split(v: FloatArray, lag: int = 1) -> Split | None:
    """The best division of a sequence into two parts of unlike mean; None if less than 9/10 of it is known.

    Rows without a value are left out.
    """
    rows = np.flatnonzero(np.isfinite(v))
    n = len(rows)
    if n < 0.9 * len(v) or n < LEAST_LINES // 2:
        return None
    known = v[rows] - np.mean(v[rows])
    sums = np.cumsum(known)
    edge = math.ceil(MARGIN * n)
    at = np.arange(edge, n - edge + 1)
    change = (sums[-1] - sums[at - 1]) / (n - at) - sums[at - 1] / at
    size = np.abs(change) * np.sqrt(at * (n - at) / n)
    best = int(np.argmax(size))
    first = int(at[best])
    residual = known.copy()
    residual[:first] -= residual[:first].mean()
    residual[first:] -= residual[first:].mean()
    sigma = math.sqrt(_long_run_variance(residual))
    score = float(size[best]) / sigma if sigma > 0 else (math.inf if size[best] > 0 else 0.0)
    return Split(int(rows[first]), float(change[best]), score, lag)


def _long_run_variance(residual: FloatArray) -> float:
    """Variance of the mean times the number of lines, for lines that resemble their neighbours."""
    n = len(residual)
    plain = float(residual @ residual) / n
    reach = min(LONG_RUN, n // 4)
    total = plain
    for apart in range(1, reach + 1):
        total += 2 * (1 - apart / (reach + 1)) * float(residual[apart:] @ residual[:-apart]) / n
    return max(total, plain / 2)
