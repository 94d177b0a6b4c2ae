"""The areal Gaussian filter of ISO 16610-61 on maps with missing and masked points and oblong pixels."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from core.errors import MapError
from core.filters.line import BLOCK, MOST_PADDING, DirectLine, WaveLine, Way, blocks, padded_length
from core.filters.weights import checked_cutoff, sums_inside
from core.heightmap import FloatArray, HeightMap, frozen
from core.selection import typical_height

Edges = Literal["cut", "kept"]
Rows = Callable[[slice], FloatArray]

DIRECT_BELOW = 20.0
"""Cut-off in points, mean of both axes, below which the band matrix is quicker than the transform (measured)."""

SPARSE = 0.1
"""Share of the weight on missing or masked points above which a point is counted as resting on sparse ground."""

NOTHING = 1e-6
"""Share below which a weighted mean is rounding: there is none."""

EMPTY = 0.5
"""The same share above which there is no answer: the filter would be wider than its data."""


class AreaGaussian:
    r"""Gaussian weighted sums on one lattice; made once, used for every map and every set of weights on it.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    cutoff : float
        Wavelength that is passed at one half, metres.
    way : {"direct", "waves"}, optional
        How the sums are formed; by default the quicker one. Both agree to rounding.

    Notes
    -----
    The weight :math:`\exp(-\pi (x^2 + y^2) / (\alpha\lambda)^2)` is the product of one along and one across, so the
    sums are formed axis by axis, on oblong pixels too.
    """

    def __init__(
        self, shape: tuple[int, int], pitch: tuple[float, float], cutoff: float, way: Way | None = None
    ) -> None:
        wavelength = checked_cutoff(cutoff)
        self.shape = shape
        self.cutoffs = (wavelength / pitch[0], wavelength / pitch[1])
        self.way: Way = way or quicker_way(shape, self.cutoffs)
        self._inside = [sums_inside(c, n) for c, n in zip(self.cutoffs, shape, strict=True)]

    def mean(self, rows_of: Rows) -> FloatArray:
        """Weighted means of complete values, over the part of the footprint that lies on the map.

        Parameters
        ----------
        rows_of : callable
            Gives the values of a slice of rows: a few rows at a time, so that what is made for the filter alone never
            fills a map.
        """
        total = self._directly(rows_of) if self.way == "direct" else self._by_waves(rows_of)
        for lines, inside in ((total, self._inside[0]), (total.T, self._inside[1])):
            near = (int(np.count_nonzero(inside < 1 - 1e-15)) + 1) // 2  # in between all weights fall on the map
            for ends in (slice(0, near), slice(max(near, len(inside) - near), len(inside))):
                lines[ends] /= inside[ends, None]
        return total

    def weighted(self, weighed: Rows, weights: Rows) -> tuple[FloatArray, FloatArray]:
        """Weighted means by normalised convolution, and the share of the footprint's weight that they rest on.

        Parameters
        ----------
        weighed : callable
            Gives rows of values times their weights; 0 where the weight is 0.
        weights : callable
            Gives rows of weights, 0 to 1.

        Returns
        -------
        mean, share : ndarray, shape (ny, nx)
            The mean is NaN where the share is below `NOTHING`.
        """
        share, mean = self.mean(weights), self.mean(weighed)
        for rows in blocks(len(mean)):
            with np.errstate(divide="ignore", invalid="ignore"):
                mean[rows] /= share[rows]
            mean[rows][share[rows] < NOTHING] = np.nan
        return mean, share

    def _directly(self, rows_of: Rows) -> FloatArray:
        """A window of rows that have been summed across moves down the map; it stays in the cache."""
        down, across = (DirectLine(n, c) for n, c in zip(self.shape, self.cutoffs, strict=True))
        out = np.empty(self.shape)
        window = np.empty((min(BLOCK + 2 * down.half, self.shape[0]), self.shape[1]))
        top = bottom = 0  # rows of the map that the window holds
        for rows, needed, part in down.blocks():
            kept_on = bottom - needed.start
            window[:kept_on] = window[needed.start - top : bottom - top]
            across.across(rows_of(slice(bottom, needed.stop)), window[kept_on : needed.stop - needed.start])
            top, bottom = needed.start, needed.stop
            down.down_block(rows, part, window[: bottom - top], out[rows])
        return out

    def _by_waves(self, rows_of: Rows) -> FloatArray:
        """Rows into their waves, these down the columns, and back: only the waves that pass meet the columns."""
        down, across = (WaveLine(n, c) for n, c in zip(self.shape, self.cutoffs, strict=True))
        waves = np.empty((down.padded, across.waves), np.complex128)
        waves[self.shape[0] :] = 0.0
        for rows in blocks(self.shape[0]):
            across.into(rows_of(rows), waves[rows])
        waves = down.both_ways(waves)
        out = np.empty(self.shape)
        for rows in blocks(self.shape[0]):
            across.back(waves[rows], out[rows])
        return out


def quicker_way(shape: tuple[int, int], cutoffs: tuple[float, float]) -> Way:
    """The quicker way for this lattice and these cut-offs in points.

    Examples
    --------
    >>> quicker_way((1024, 1024), (8.0, 8.0)), quicker_way((1024, 1024), (128.0, 128.0))
    ('direct', 'waves')
    """
    lengthened = max(padded_length(n, c) / n for n, c in zip(shape, cutoffs, strict=True))
    return "direct" if sum(cutoffs) / 2 < DIRECT_BELOW or lengthened > MOST_PADDING else "waves"


@dataclass(frozen=True, slots=True, eq=False)
class Smoothed:
    """What a low-pass made of a map.

    Attributes
    ----------
    z : ndarray, shape (ny, nx), read-only
        Heights of the smooth surface, metres, on the whole lattice; NaN where nothing was measured or too little lies
        around. At masked points it is the ground that their neighbours make.
    keep : (slice, slice)
        Rows and columns that the edge rule keeps.
    lost : int
        Measured points without an answer, because more than half of their footprint's weight falls on missing or
        masked points.
    sparse : float
        Share of the measured points whose footprint misses more than 10 % of its weight.
    rounds : int
        Filterings: 1, or those of a robust filter.
    converged : bool
        Whether a robust filter came to rest.
    """

    z: FloatArray
    keep: tuple[slice, slice]
    lost: int = 0
    sparse: float = 0.0
    rounds: int = 1
    converged: bool = True


def low_pass(scan: HeightMap, cutoff: float, *, edges: Edges, way: Way | None = None) -> Smoothed:
    r"""The smooth surface under a map: areal Gaussian low-pass by normalised convolution.

    Parameters
    ----------
    scan : HeightMap
        The map. Missing and masked points have weight 0.
    cutoff : float
        Nesting index: the wavelength passed at one half, metres.
    edges : {"cut", "kept"}
        At an edge the footprint reaches beyond the map and is normalised inside it, which tilts and bends the answer
        there. ``"cut"`` keeps what lies half a cut-off inside, where less than 0.8 % of the weight is beyond;
        ``"kept"`` keeps all. The heights are given on the whole lattice; `Smoothed.keep` is the part to take.
    way : {"direct", "waves"}, optional
        How the sums are formed; by default the quicker one.

    Returns
    -------
    Smoothed

    Raises
    ------
    QuantityError
        If the cut-off is not positive.
    MapError
        If nothing is kept.

    Notes
    -----
    ISO 16610-61:2015: weights :math:`\exp(-\pi r^2/(\alpha\lambda)^2)/(\alpha\lambda)^2`,
    :math:`\alpha = \sqrt{\ln 2/\pi}`, sampled to 1.7 cut-offs and normalised over the points that count. The
    transmission of a wave w is :math:`2^{-(\lambda/w)^2}` in every direction.

    Examples
    --------
    >>> wave = np.cos(2 * np.pi * np.arange(200) / 20) * np.ones((200, 1))
    >>> smooth = low_pass(HeightMap(wave, pitch=(1.0, 1.0)), 20.0, edges="cut")
    >>> smooth.z[smooth.keep].shape, float(smooth.z[100, 100].round(6))
    ((180, 180), 0.5)
    """
    lattice = AreaGaussian(scan.shape, scan.pitch, cutoff, way)
    keep = kept(scan.shape, scan.pitch, cutoff, edges)
    level = typical_height(scan)  # taken off and given back: heights far from 0 keep their digits
    if scan.complete:
        z = lattice.mean(lambda rows: scan.z[rows] - level)
        z += level
        return Smoothed(frozen(z), keep)
    weighed, weights = counted_rows(scan, level)
    return supported(scan, *lattice.weighted(weighed, weights), level, keep)


def counted_rows(scan: HeightMap, level: float) -> tuple[Rows, Rows]:
    """Rows of heights above `level`, 0 at points that do not count, and rows of weights: 1 at points that count."""
    used = scan.used

    def weighed(rows: slice) -> FloatArray:
        above = scan.z[rows] - level
        above[~used[rows]] = 0.0
        return above

    return weighed, lambda rows: used[rows].astype(np.float64)


def supported(
    scan: HeightMap,
    mean: FloatArray,
    share: FloatArray,
    level: float,
    keep: tuple[slice, slice],
    rounds: int = 1,
    converged: bool = True,
) -> Smoothed:
    """The answer, `mean` and `level`, where enough of the footprint was measured, and where it was not; in place."""
    measured = answered = sparse = 0
    for rows in blocks(len(mean)):
        known, rests_on = ~np.isnan(scan.z[rows]), share[rows]
        good = known & (rests_on >= 1 - EMPTY)
        block = mean[rows]
        block += level
        block[~good] = np.nan
        measured += int(np.count_nonzero(known))
        answered += int(np.count_nonzero(good))
        sparse += int(np.count_nonzero(known & (rests_on < 1 - SPARSE)))
    return Smoothed(
        z=frozen(mean),
        keep=keep,
        lost=measured - answered,
        sparse=sparse / max(1, measured),
        rounds=rounds,
        converged=converged,
    )


def kept(shape: tuple[int, int], pitch: tuple[float, float], cutoff: float, edges: Edges) -> tuple[slice, slice]:
    """Rows and columns that the edge rule keeps.

    Raises
    ------
    MapError
        If there are none.

    Examples
    --------
    >>> kept((100, 50), (1.0, 2.0), 20.0, "cut")
    (slice(10, 90, None), slice(5, 45, None))
    """
    if edges not in ("cut", "kept"):
        raise MapError(f"Edges are “cut” or “kept”, not {edges!r}")
    margins = cut_margins(pitch, cutoff) if edges == "cut" else (0, 0)
    if any(2 * margin >= points for margin, points in zip(margins, shape, strict=True)):
        raise MapError(
            "Half a cut-off off every side leaves nothing of the map",
            fix="Filter with a shorter cut-off, or scan wider.",
        )
    return slice(margins[0], shape[0] - margins[0]), slice(margins[1], shape[1] - margins[1])


def cut_margins(pitch: tuple[float, float], cutoff: float) -> tuple[int, int]:
    """Rows and columns in half a cut-off, rounded up."""
    return math.ceil(cutoff / 2 / pitch[0] - 1e-6), math.ceil(cutoff / 2 / pitch[1] - 1e-6)
