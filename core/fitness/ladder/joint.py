"""The joint fit: common surface and step height together, on the inside of the terraces."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.fitness.ladder.ground import Ground
from core.fitness.ladder.search import Candidate
from core.heightmap import BoolArray, FloatArray

INSIDE = 0.35
"""Distance from the nearest level, in steps, up to which a point belongs to it."""

ROUNDS = 25
TILES = 4
"""The map is parted into this many by this many tiles for the jackknife."""

LEAST_TERRACE = 30
"""Points of a terrace that has a mean worth looking at."""

STUDENT = 2.131449545559323
"""Quantile 0.975 of Student's t with 15 degrees of freedom."""

SMOOTH_ROWS = 3
ROW_ROUNDS = 3


@dataclass(frozen=True, eq=False)
class Joint:
    """A fitted ladder, whether it is one or not.

    Attributes
    ----------
    step : float
        Metres.
    surface : ndarray, shape (ny, nx)
        Common surface with its level (and row offsets, where asked for), metres.
    levels : ndarray of int, shape (ny, nx)
        Terrace number of every point.
    residual : ndarray, shape (ny, nx)
        Filtered height less surface and level, in steps.
    inside : ndarray of bool, shape (ny, nx)
        Points on the inside of a terrace.
    resultant : float
        R1 = |mean exp(2πi residual)|.
    window : int
        Median window.
    """

    step: float
    surface: FloatArray
    levels: FloatArray
    residual: FloatArray
    inside: BoolArray
    resultant: float
    window: int


def refine(ground: Ground, candidate: Candidate, slope: FloatArray | None, *, rows: bool = False) -> Joint | None:
    """The candidate fitted to convergence; None where it falls apart.

    Parameters
    ----------
    ground : Ground
    candidate : Candidate
    slope : ndarray or None
        The surface of its route, metres.
    rows : bool, default False
        Whether every row has an offset of its own (drift between lines).
    """
    z = ground.median(candidate.window)
    terms = _terms(ground.shape)
    step = candidate.step
    surface = step * np.tensordot(np.array(candidate.surface), terms, axes=1)
    if slope is not None:
        surface = surface + slope
    turn = np.exp(2j * np.pi * (z - surface) / step)[ground.used].mean()
    surface = surface + step * float(np.angle(turn)) / (2 * np.pi)
    offsets = np.zeros(ground.shape[0])
    coarse = slice(None, None, 2), slice(None, None, 2)
    z2, t2, used2 = z[coarse], terms[(slice(None), *coarse)], ground.used[coarse]
    flat = t2.reshape(6, -1)
    for number in range(ROUNDS):
        rest = (z2 - surface[coarse]) / step
        levels = np.round(rest)
        inside = used2 & (np.abs(rest - levels) < INSIDE) & _quiet(levels, 1)
        if np.count_nonzero(inside) < 200:
            return None
        free = number >= 5 and bool(np.ptp(levels[inside]) > 0)
        design = np.vstack([flat, levels.reshape(1, -1)]) if free else flat
        target = (z2 - offsets[::2, None] - (0 if free else step * levels)).ravel()
        found = _solve(design, target, inside.ravel())
        if found is None:
            return None
        before = step
        if free:
            step = float(found[6])
            if not 0.8 * candidate.step < step < 1.25 * candidate.step:
                return None
        common = np.tensordot(found[:6], terms, axes=1)
        surface = common + offsets[:, None]
        if rows and number % 5 == 4 and number // 5 < ROW_ROUNDS:
            offsets = offsets + _row_phases(z, surface, step, ground.used)
            surface = common + offsets[:, None]
        elif number > 8 and abs(step - before) < 1e-5 * step:
            break
    rest = (z - surface) / step
    levels = np.round(rest)
    residual = rest - levels
    inside = ground.used & (np.abs(residual) < INSIDE) & _quiet(levels, candidate.window // 2 + 1)
    resultant = float(np.abs(np.exp(2j * np.pi * residual)[ground.used].mean()))
    return Joint(step, surface, levels, residual, inside, resultant, candidate.window)


def is_multiple(ground: Ground, joint: Joint, share: float = 0.8) -> bool:
    """Whether twice or three times the step, under the same surface, is as pure a tone: then that is the step.

    A map that has no levels at all is told in the same way. Of two levels only the double is asked for: three times
    their distance is a pure tone by nature where one of them is small.
    """
    heights = ground.median(joint.window) - joint.surface
    several = np.unique(joint.levels[joint.inside]).size > 2
    return any(
        abs(np.exp(2j * np.pi * heights / (k * joint.step))[ground.used].mean()) > share * joint.resultant
        for k in ((2, 3) if several else (2,))
    )


def terrace_resultant(ground: Ground, joint: Joint) -> tuple[float, float]:
    """How well whole terraces keep to the levels, 0 to 1: the mean of cos 2πq over them by area, q of each terrace.

    Noise is averaged out within a terrace, so that a ladder comes near 1 even where single points scatter. Flat-topped
    grains of random height have flat terraces as well, but these lie anywhere between the levels. Also the effective
    number of terraces, (ΣA)²/ΣA²: the fewer there are, the better the surface of the fit adapts to any of them.
    """
    from scipy.ndimage import label, sum_labels

    quiet = ground.used & _quiet(joint.levels, joint.window // 2 + 1)
    terraces, count = label(quiet)
    numbers = np.arange(1, count + 1)
    phasor = np.exp(2j * np.pi * joint.residual)
    area = sum_labels(quiet, terraces, numbers)
    real, imaginary = (sum_labels(part, terraces, numbers) for part in (phasor.real, phasor.imag))
    large = area >= LEAST_TERRACE
    if not large.any():
        return 0.0, 0.0
    effective = float(area[large].sum() ** 2 / np.sum(area[large] ** 2))
    length = np.maximum(np.hypot(real, imaginary), 1e-300)
    return float(np.average((real / length)[large], weights=area[large])), effective


def measured(ground: Ground, joint: Joint, *, rows: bool = False) -> tuple[float, float]:
    """Step height from the unfiltered heights inside the terraces, and its expanded uncertainty, metres.

    Least squares for surface, step, and row offsets where asked for; delete-one jackknife over 4 × 4 tiles, whose
    scatter holds what neighbouring points have in common.
    """
    terms = _terms(ground.shape)[[1, 3, 4] if rows else slice(None)]
    design = np.concatenate([terms, joint.levels[None]])
    z = ground.z
    if rows:
        # an offset for each row as an unknown: everything less its mean over the row's points
        weight = joint.inside.astype(float)
        count = np.maximum(weight.sum(axis=1, keepdims=True), 1)
        z = z - (z * weight).sum(axis=1, keepdims=True) / count
        design = design - (design * weight).sum(axis=2, keepdims=True) / count
    normals, rights = [], []
    for tile in _tiles(ground.shape):
        inside = joint.inside[tile]
        part = design[(slice(None), *tile)][:, inside]
        normals.append(part @ part.T)
        rights.append(part @ z[tile][inside])
    normal, right = np.sum(normals, axis=0), np.sum(rights, axis=0)
    step = _step_of(normal, right)
    without = np.array([_step_of(normal - a, right - b) for a, b in zip(normals, rights, strict=True)])
    if not math.isfinite(step) or not np.isfinite(without).all():
        return math.nan, math.nan
    n = len(without)
    return step, STUDENT * math.sqrt((n - 1) / n * float(np.sum((without - without.mean()) ** 2)))


def _step_of(normal: FloatArray, right: FloatArray) -> float:
    try:
        return float(np.linalg.solve(normal, right)[-1])
    except np.linalg.LinAlgError:
        return math.nan


def _solve(design: FloatArray, target: FloatArray, inside: BoolArray) -> FloatArray | None:
    part = design[:, inside]
    try:
        return np.asarray(np.linalg.solve(part @ part.T, part @ target[inside]))
    except np.linalg.LinAlgError:
        return None


def _terms(shape: tuple[int, int]) -> FloatArray:
    """1, x, y, x², xy, y² at every point, x and y from −1 to 1 over the cells; shape (6, ny, nx)."""
    y, x = (-1 + (np.arange(n) + 0.5) * 2 / n for n in shape)
    x, y = np.broadcast_to(x[None, :], shape), np.broadcast_to(y[:, None], shape)
    return np.stack([np.ones(shape), x, y, x * x, x * y, y * y])


def _quiet(levels: FloatArray, reach: int) -> BoolArray:
    """True where no level changes within so many points."""
    quiet = np.ones(levels.shape, bool)
    for axis in (0, 1):
        change = np.diff(levels, axis=axis) != 0
        beside = np.zeros(levels.shape, bool)
        first = (slice(None, -1), slice(None)) if axis == 0 else (slice(None), slice(None, -1))
        second = (slice(1, None), slice(None)) if axis == 0 else (slice(None), slice(1, None))
        beside[first] |= change
        beside[second] |= change
        quiet &= ~beside
    if reach > 1:
        from scipy.ndimage import minimum_filter

        quiet = minimum_filter(quiet, 2 * reach - 1, mode="nearest")
    return quiet


def _row_phases(z: FloatArray, surface: FloatArray, step: float, used: BoolArray) -> FloatArray:
    """Offset of each row, metres: the angle of its mean phasor, smoothed over 3 rows and unwrapped."""
    phasor = np.where(used, np.exp(2j * np.pi * (z - surface) / step), 0).mean(axis=1)
    kernel = np.ones(SMOOTH_ROWS) / SMOOTH_ROWS
    smooth = np.convolve(np.pad(phasor, SMOOTH_ROWS // 2, mode="edge"), kernel, mode="valid")
    return np.asarray(np.unwrap(np.angle(smooth)) * step / (2 * np.pi))


def _tiles(shape: tuple[int, int]) -> list[tuple[slice, slice]]:
    edges = [np.linspace(0, n, TILES + 1).astype(int) for n in shape]
    return [
        (slice(edges[0][i], edges[0][i + 1]), slice(edges[1][j], edges[1][j + 1]))
        for i in range(TILES)
        for j in range(TILES)
    ]
