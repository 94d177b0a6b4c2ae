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

ANGLES = 36
LONGEST_BIN = 3
SHORTEST = 0.25  # cycles per point

FILL = 5
"""Side of the square, points, over which neighbours vote for the height of a hole."""

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
    transform : ndarray of complex
        The transform itself, for phases.
    """

    density: FloatArray = field(repr=False)
    rows: int
    columns: int
    transform: NDArray[np.complex128] = field(repr=False)

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
        return np.fft.fftfreq(self.rows)[:, None], np.fft.rfftfreq(self.columns)[None, :]

    def corner(self) -> FloatArray:
        """The bins beyond 0.35 cycles per point on both axes, flat."""
        down, across = self.frequencies
        return self.density[np.abs(down[:, 0]) > CORNER][:, across[0] > CORNER].reshape(-1)

    def corner_median(self) -> float:
        """Median of the corner; 0 for a map too small to have one."""
        corner = self.corner()
        return float(np.median(corner)) if corner.size else 0.0

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
    return Periodogram(frozen(density), rows, columns, transform)


def _from_neighbours(heights: FloatArray, measured: NDArray[np.bool_]) -> FloatArray:
    """Mean of the measured points in a square around every point; 0, the level, where there is none."""
    from scipy.ndimage import uniform_filter

    weight = uniform_filter(measured.astype(np.float64), FILL)
    sums = uniform_filter(np.where(measured, heights, 0.0), FILL)
    some = weight > 0.5 / FILL**2  # running sums leave dust where there is nothing
    return np.where(some, sums / np.where(some, weight, 1.0), 0.0)
