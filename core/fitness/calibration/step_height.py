"""Step height of a standard, by the evaluation of ISO 5436-1: fixed parts of the profile, one straight line for all."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.errors import MapError
from core.heightmap import BoolArray, FloatArray, HeightMap
from core.measures.profiles import Profiles

LINE = 1.5
"""Half the length of profile that is evaluated, in widths of the groove: three widths in all."""

LEFT_OUT = 1 / 3
"""Width left out beside each edge, in widths of the groove: whatever the walls are like, they are in there."""

SMOOTHING = 1 / 200
"""Gaussian smoothing of the profile before its edges are sought, as a share of its length."""

BLOCKS = 8
"""Groups of neighbouring rows whose scatter gives the repeatability: single rows are too much alike."""

ENOUGH = 0.9
"""Share of each part beside the groove that the profile must hold."""

LEAST_POINTS = 3
"""Points that each part of the profile must hold."""


@dataclass(frozen=True, slots=True)
class StepHeight:
    """The height of a step standard.

    Attributes
    ----------
    height : float
        Metres: positive for a ridge, negative for a groove; for a single step positive when the profile climbs.
    slope : float
        Slope of the straight line, metres per metre.
    edges : tuple of float
        Places of the edges, metres from the start of the profile: two, or one for a single step.
    rms : float
        RMS departure from the fit in the parts that were used, metres.
    u : float
        Standard uncertainty from the scatter of groups of rows, metres; 0 for a single profile.
    profiles : int
        Profiles behind it.
    """

    height: float
    slope: float
    edges: tuple[float, ...]
    rms: float
    u: float
    profiles: int


def step_height(scan: HeightMap | Profiles, *, kind: str = "groove", along: str = "rows") -> StepHeight:
    r"""Depth of a groove, height of a ridge or of a single step.

    Least squares of :math:`Z = \alpha X + \beta + h\,\delta`, with δ = +1 on the parts A and B beside the groove, −1
    on the middle third C of its bottom; the depth is 2h. Evaluated are three widths W of profile, centred; a third of
    W beside each edge is left out, so that walls do not matter. A single step has one part on either side.

    Parameters
    ----------
    scan : HeightMap or Profiles
        The standard, its edges roughly across the profiles, not levelled row by row.
    kind : {"groove", "step"}, default "groove"
        Groove or ridge with two edges, or a single step.
    along : {"rows", "columns"}, default "rows"
        Which lines of the map are profiles.

    Returns
    -------
    StepHeight
        From the mean profile; its uncertainty from groups of neighbouring profiles.

    Raises
    ------
    MapError
        If no edges are found, or the profile is too short on a side of them.

    References
    ----------
    ISO 5436-1:2000, type A1 (the rule from memory). A bow k x² adds 25/18 k W² to the depth: take it off first.

    Examples
    --------
    >>> x = np.arange(901) * 1e-8
    >>> groove = Profiles(np.where(np.abs(x - 4.5e-6) < 1.5e-6, -1e-7, 0.0) + 2e-2 * x, 1e-8)
    >>> round(1e9 * step_height(groove).height, 6)
    -100.0
    """
    if kind not in ("groove", "step"):
        raise MapError(f"A standard has a groove or a step, not {kind!r}")
    if along not in ("rows", "columns"):
        raise MapError(f"Profiles lie along rows or columns, not {along!r}")
    lines = scan if isinstance(scan, Profiles) else getattr(Profiles, along)(scan)
    mean = _mean_profile(lines.heights)
    x = np.arange(mean.size) * lines.spacing
    edges = _edges(mean, lines.spacing, 2 if kind == "groove" else 1)
    upper, lower = _parts(x, edges)
    height, slope, rms = _fit(x, mean, upper, lower)
    groups = np.array_split(lines.heights, min(BLOCKS, len(lines.heights)))
    several = [_fit(x, _mean_profile(group), upper, lower)[0] for group in groups] if len(groups) > 1 else []
    u = float(np.std(several, ddof=1)) / math.sqrt(len(several)) if several else 0.0
    return StepHeight(height, slope, edges, rms, u, len(lines.heights))


@dataclass(frozen=True, eq=False)
class StepProfile:
    """The mean profile of a standard and the parts of it that were used, to be drawn.

    Attributes
    ----------
    x, heights : ndarray, shape (n,)
        Metres; the heights less the straight line of the fit, so that the parts beside the groove lie at zero.
    upper, lower : ndarray of bool, shape (n,)
        The parts beside the groove (or behind the step), and that on its bottom (or before it).
    """

    x: FloatArray
    heights: FloatArray
    upper: BoolArray
    lower: BoolArray


def step_profile(scan: HeightMap | Profiles, found: StepHeight, *, along: str = "rows") -> StepProfile:
    """The profile behind a step height, with the parts that ISO 5436-1 evaluates.

    Parameters
    ----------
    scan, along
        As they were given to `step_height`.
    found : StepHeight
        What it found.
    """
    lines = scan if isinstance(scan, Profiles) else getattr(Profiles, along)(scan)
    mean = _mean_profile(lines.heights)
    x = np.arange(mean.size) * lines.spacing
    upper, lower = _parts(x, found.edges)
    level = mean - found.slope * x
    return StepProfile(x, level - np.nanmedian(level[upper]), upper, lower)


def _mean_profile(heights: FloatArray) -> FloatArray:
    """Mean over the profiles, each first brought to the same mean height; NaN where no profile has a point."""
    there = ~np.isnan(heights)
    if not there.any():
        raise MapError("The profile holds no point")
    count = there.sum(axis=0)
    total = np.where(there, heights, 0.0).sum(axis=0)
    return np.asarray(np.where(count > 0, total / np.maximum(count, 1), np.nan))


def _edges(profile: FloatArray, spacing: float, wanted: int) -> tuple[float, ...]:
    """Where the profile falls and climbs most, as seen above its general slope."""
    from scipy.ndimage import gaussian_filter1d

    there = ~np.isnan(profile)
    n = profile.size
    if there.sum() < 20:
        raise MapError("A step needs a profile of at least 20 points")
    places = np.arange(n)
    whole = np.interp(places, places[there], profile[there])
    sigma = max(1.0, SMOOTHING * n)
    slope = np.gradient(gaussian_filter1d(whole, sigma))
    slope = slope - np.median(slope)
    first = int(np.argmax(np.abs(slope)))
    found = [_centroid(slope, first)]
    if wanted == 2:
        opposite = -np.sign(slope[first]) * slope
        second = int(np.argmax(opposite))
        if opposite[second] < 0.3 * abs(slope[first]):
            raise MapError("Only one edge is found", fix='Take kind = "step", or scan the whole groove.')
        found.append(_centroid(slope, second))
    scatter = float(np.median(np.abs(slope))) / 0.6745
    if abs(slope[first]) <= 5 * scatter:
        raise MapError("No edge stands out of the profile", fix="Scan across the edges, and level no single rows.")
    return tuple(place * spacing for place in sorted(found))


def _centroid(slope: FloatArray, peak: int) -> float:
    """Centre of the wall about a peak of the slope: of all that is steeper than half."""
    steep = slope * np.sign(slope[peak]) > 0.5 * abs(slope[peak])
    left = right = peak
    while left > 0 and steep[left - 1]:
        left -= 1
    while right < slope.size - 1 and steep[right + 1]:
        right += 1
    wall = np.arange(left, right + 1)
    return float(np.average(wall, weights=np.abs(slope[wall])))


def _parts(x: FloatArray, edges: tuple[float, ...]) -> tuple[BoolArray, BoolArray]:
    """The points beside the groove (or behind the step), and those on its bottom (or before it)."""
    if len(edges) == 1:
        short = min(edges[0] - x[0], x[-1] - edges[0])
        beside = np.abs(x - edges[0])
        inside = (beside >= LEFT_OUT * short) & (beside <= short * (1 + 1e-9))
        upper, lower = inside & (x > edges[0]), inside & (x < edges[0])
    else:
        width, middle = edges[1] - edges[0], (edges[0] + edges[1]) / 2
        away = np.abs(x - middle)
        slack = width * 1e-9
        upper = (away >= (0.5 + LEFT_OUT) * width - slack) & (away <= LINE * width + slack)
        lower = away <= width / 6 + slack
        sides = (upper & (x < middle), upper & (x > middle))
        wanted = max(LEAST_POINTS, ENOUGH * (LINE - 0.5 - LEFT_OUT) * width / (x[1] - x[0]))
        if min(np.count_nonzero(side) for side in sides) < wanted:
            raise MapError(
                f"The profile ends too near to the groove: {x[-1] - x[0]:.3g} m hold no three widths of {width:.3g} m",
                fix="Scan at least three widths, the groove in the middle.",
            )
    if np.count_nonzero(lower) < LEAST_POINTS or np.count_nonzero(upper) < LEAST_POINTS:
        raise MapError("Too few points lie between the edges", fix="Scan with more points.")
    return upper, lower


def _fit(x: FloatArray, z: FloatArray, upper: BoolArray, lower: BoolArray) -> tuple[float, float, float]:
    """Height, slope and RMS of what the fit leaves."""
    there = (upper | lower) & ~np.isnan(z)
    if not (there & upper).any() or not (there & lower).any():
        raise MapError("A part of the profile that is needed is missing", fix="Mask less.")
    centre, length = float(x.mean()), float(x[-1] - x[0])
    level = float(np.median(z[there]))
    delta = np.where(upper, 1.0, -1.0)
    design = np.column_stack([(x - centre) / length, np.ones(x.size), delta])[there]
    found, *_ = np.linalg.lstsq(design, z[there] - level, rcond=None)
    rest = z[there] - level - design @ found
    two_h = 2 * float(found[2])
    sign = -1.0 if _is_between(upper) else 1.0
    return sign * two_h, float(found[0]) / length, math.sqrt(float(np.mean(rest**2)))


def _is_between(upper: BoolArray) -> bool:
    """Whether the reference lies on both sides (groove or ridge) and not behind the edge only (step)."""
    places = np.flatnonzero(upper)
    return bool(np.any(np.diff(places) > 1))
