"""The power of a map bin by bin, on which the spectral detectors look for what no texture has.

White noise of variance s² gives s² in every bin. A bin of any random texture is exponentially distributed about its
smooth level, whatever the texture: that is the law by which lines are judged.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from core.heightmap import FloatArray, frozen
from core.spectrum.taper import window_weights

EXPONENTIAL_MEDIAN = 0.6931471805599453
"""ln 2: median of an exponential law of mean 1."""

CORNER = 0.35
"""Cycles per point, on both axes, beyond which a well-sampled texture has died out and white noise is left."""

UNEVEN = 1.25
"""Ratio of the powers of both corners that chance does not reach at 256² points (their random error is 7 % each)."""

ANGLES = 36
LONGEST_BIN = 3
SHORTEST = 0.25  # cycles per point

FILLS = (3, 5)
"""Sides of the squares, points, whose measured points vote for the height of a hole: the smaller if it holds any."""

Index = NDArray[np.intp]


@dataclass(frozen=True, slots=True, eq=False)
class Periodogram:
    """Squared transform of a tapered map over the sum of its squared weights, half plane of wavenumbers.

    Attributes
    ----------
    density : ndarray, shape (rows, columns // 2 + 1), read-only
        By cycles per frame down (0, 1, …, −1) and across (0, 1, …), in squared units of the heights.
    rows, columns : int
        Of the frame that was transformed: the top left of the map, cropped to sides that transform fast.
    tapered : ndarray, shape (rows, columns)
        Heights under the window, in units of the heights: what was transformed.
    """

    density: FloatArray = field(repr=False)
    rows: int
    columns: int
    tapered: FloatArray = field(repr=False)

    def at(self, down: Index, across: Index) -> FloatArray:
        """Density at whole cycles per frame of either sign; beyond the Nyquist limit it repeats."""
        y, x = self.folded(down, across)
        return np.asarray(self.density[y, x])

    def folded(self, down: Index, across: Index) -> tuple[Index, Index]:
        """Where in the half plane whole cycles per frame of either sign are kept."""
        x = np.mod(across, self.columns)
        mirrored = x > self.columns // 2
        return np.mod(np.where(mirrored, -down, down), self.rows), np.where(mirrored, self.columns - x, x)

    def signed(self, row: int) -> int:
        """Cycles per frame down of a row of the density."""
        return row if row <= self.rows // 2 else row - self.rows

    @property
    def frequencies(self) -> tuple[FloatArray, FloatArray]:
        """Cycles per point, down as a column and across as a row."""
        down, across = np.fft.fftfreq(self.rows), np.fft.rfftfreq(self.columns)
        return down.astype(np.float64)[:, None], across.astype(np.float64)[None, :]

    def corner_median(self) -> float:
        """Median beyond 0.35 cycles per point on both axes; 0 for a map too small to have such bins.

        The steps of terraces reach into one of the two corners, whichever they point to: where the corners differ by
        more than chance, the lower one is taken.
        """
        down, across = (frequency.reshape(-1) for frequency in self.frequencies)
        right = self.density[:, across > CORNER]
        corners = [right[down > CORNER], right[down < -CORNER]]
        if not all(corner.size for corner in corners):
            return 0.0
        low, high = sorted(float(np.median(corner)) for corner in corners)
        if high > UNEVEN * low:
            return low
        return float(np.median(np.concatenate(corners)))

    def streak_index(self, pitch: tuple[float, float]) -> float:
        """Share of the power above the corner median that lies within 15° of the strongest direction.

        Of waves longer than four points and shorter than a third of the frame, in 36 sectors of 5°; the largest sum
        of three neighbours.
        """
        down, across = self.frequencies
        radius = np.hypot(down, across)
        use = (radius > LONGEST_BIN / min(self.rows, self.columns)) & (radius < SHORTEST)
        if not use.any():
            return 0.0
        angle = np.arctan2(down / pitch[0], across / pitch[1])[use]
        sector = np.floor(angle / np.pi * ANGLES).astype(np.intp) % ANGLES
        sums = np.bincount(sector, self.density[use] - self.corner_median(), ANGLES)
        total = float(sums.sum())
        return float(np.max(sums + np.roll(sums, 1) + np.roll(sums, -1))) / total if total > 0 else 0.0


def periodogram(heights: FloatArray, *, unit: float) -> Periodogram:
    """Transform a levelled map under a Hann window along both axes.

    Parameters
    ----------
    heights : ndarray, shape (ny, nx)
        Metres; NaN where missing.
    unit : float
        Length in which the heights are counted, metres, so that no square over- or underflows.

    Returns
    -------
    Periodogram

    Notes
    -----
    Sides that transform slowly (large primes) are cropped to the next faster length below. Holes count as nothing in
    the sum of weights; their points take the mean of the measured ones around them, because a hole cut out of texture
    at zero spreads the texture's power over all bins (1 % of scattered holes would read as noise of a tenth of S).
    """
    from scipy.fft import prev_fast_len, rfft2

    rows, columns = (prev_fast_len(n, real=True) for n in heights.shape)
    framed = heights[:rows, :columns] / (unit or 1.0)
    down, across = window_weights("hann", rows), window_weights("hann", columns)
    holes = np.isnan(framed)
    if holes.any():
        measured = ~holes
        framed = np.where(holes, _from_neighbours(framed, measured), framed)
        squares = float(down**2 @ (measured @ across**2))
    else:
        squares = float(down @ down) * float(across @ across)
    framed -= float(down @ (framed @ across)) / max(float(down.sum() * across.sum()), 1e-300)
    framed *= across
    framed *= down[:, None]
    transform = rfft2(framed)
    density = (transform.real**2 + transform.imag**2) / (squares or 1.0)
    return Periodogram(frozen(density), rows, columns, frozen(framed))


def _from_neighbours(heights: FloatArray, measured: NDArray[np.bool_]) -> FloatArray:
    """Mean of the measured points in a square around every point; 0, the level, where there is none."""
    from scipy.ndimage import uniform_filter

    filled = np.zeros(heights.shape)
    known, zeroed = measured.astype(np.float64), np.where(measured, heights, 0.0)
    for side in reversed(FILLS):
        weight = uniform_filter(known, side)
        some = weight > 0.5 / side**2  # running sums leave dust where there is nothing
        np.divide(uniform_filter(zeroed, side), weight, out=filled, where=some)
    return filled
