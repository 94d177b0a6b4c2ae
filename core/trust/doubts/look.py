"""One look at a raw map: what several detectors need is computed once here, and only when asked for."""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np

from core.artefacts import MAD_TO_SIGMA
from core.errors import LowreliefError
from core.heightmap import FloatArray, HeightMap, frozen
from core.polynomials.fit import fit_polynomial
from core.selection import median
from core.trust.doubts.periodogram import Periodogram, periodogram
from core.trust.doubts.spectrum_lines import Line, lines, outstanding
from core.units import format_length, percent

ROUGH_REACH = 5.0
CLIP_REACH = 6.0
"""Robust sigma within which heights count as texture, and to which they are limited before every spectrum."""

DUST = 1e-13
"""Relief below this share of the numbers it is written in is rounding, not relief."""

DIRECTIONAL = 0.4
"""Streak index from which a texture is called directional (simulated: isotropic 0.1 to 0.3, lapping 0.4 to 0.9)."""

LEAST_SIDE = 128
"""Points of the shortest side that spectra need: below, the surroundings of a line do not fit in."""

MOST_MISSING = 0.10
"""Share of missing points above which no spectrum is judged."""


def rob(values: FloatArray) -> float:
    """Robust standard deviation: 1.4826 × median |v − median v|, in the unit of the values; NaN are left out.

    Examples
    --------
    >>> rob(np.array([1.0, 2.0, 3.0, 4.0, 1000.0, np.nan]))
    1.482602218505602
    """
    flat = np.asarray(values).reshape(-1)
    flat = flat[~np.isnan(flat)]
    return MAD_TO_SIGMA * median(np.abs(flat - median(flat))) if flat.size else 0.0


class Look:
    """A raw map with the pieces that detectors share.

    Parameters
    ----------
    raw : HeightMap
        As recorded; ``raw.z`` are the untouched numbers.

    Examples
    --------
    >>> look = Look(HeightMap(np.random.default_rng(1).standard_normal((64, 64)), (1e-8, 1e-8)))
    >>> round(look.rough, 1), look.line_rate, look.directional
    (1.0, None, False)
    """

    def __init__(self, raw: HeightMap) -> None:
        self.raw = raw

    @cached_property
    def level(self) -> FloatArray:
        """Heights less their least-squares plane (or their mean, if there is none), metres; NaN where missing."""
        with np.errstate(over="ignore", invalid="ignore"):
            try:
                level = fit_polynomial(self.raw, 1).residual
            except (LowreliefError, np.linalg.LinAlgError):
                heights = self.raw.heights()
                level = self.raw.z - (float(np.mean(heights)) if heights.size else 0.0)
            return frozen(np.where(np.isinf(level), np.nan, level)) if np.isinf(level).any() else level

    @cached_property
    def spread(self) -> tuple[float, float]:
        """Median and robust sigma of the levelled heights, metres."""
        heights = self._measured
        if heights.size == 0:
            return 0.0, 0.0
        middle = median(heights)
        return middle, MAD_TO_SIGMA * median(np.abs(heights - middle))

    @cached_property
    def rough(self) -> float:
        """S: RMS of the levelled heights that lie within five robust sigma of their median, metres: no particles."""
        heights = self._measured
        if heights.size == 0:
            return 0.0
        middle, sigma = self.spread
        about = heights - middle
        if sigma > 0:
            about = about[np.abs(about) <= ROUGH_REACH * sigma]
        unit = float(np.max(np.abs(about)))  # squares of very large or very small heights stay numbers
        return unit * math.sqrt(float(np.var(about / unit))) if unit > 0 else 0.0

    @cached_property
    def blank(self) -> bool:
        """Whether there is no relief to judge: nothing measured, all heights alike, or a plane to the last digit."""
        heights = self._measured
        if heights.size == 0:
            return True
        raw = self.raw.heights()
        return not self.rough > DUST * max(float(raw.max()), -float(raw.min()))

    @cached_property
    def clipped(self) -> FloatArray:
        """Levelled heights limited to six robust sigma about their median, metres: particles lose their grip."""
        middle, sigma = self.spread
        if sigma == 0:
            return self.level
        return frozen(np.clip(self.level, middle - CLIP_REACH * sigma, middle + CLIP_REACH * sigma))

    @cached_property
    def power(self) -> Periodogram:
        """Spectral density of the clipped heights in units of S², tapered along both axes."""
        return periodogram(self.clipped, unit=self.rough)

    @cached_property
    def streak_index(self) -> float:
        """w, 0 to 1: share of the texture's power that runs in the strongest 15° of direction."""
        return 0.0 if self.blank else self.power.streak_index(self.raw.pitch)

    @property
    def directional(self) -> bool:
        """Whether the texture has one direction, so that stripes may be its own."""
        return self.streak_index >= DIRECTIONAL

    @cached_property
    def obstacle(self) -> str:
        """Why spectra of this map prove nothing, in words; empty when they do."""
        if self.blank:
            return "the map has no relief"
        if min(self.raw.shape) < LEAST_SIDE:
            rows, columns = self.raw.shape
            return f"the map has {rows} × {columns} points, and {LEAST_SIDE} × {LEAST_SIDE} is the least"
        share = 1 - self._measured.size / self.raw.z.size
        return f"{percent(share)} of its points have no height, and {percent(MOST_MISSING)} is the most" * (
            share > MOST_MISSING
        )

    @cached_property
    def above_box(self) -> FloatArray:
        """Every bin of the power over the mean of those around it."""
        return frozen(outstanding(self.power))

    @cached_property
    def lines(self) -> list[Line]:
        """What stands out in the spectrum, the strongest first; few of them are lines, their ratio tells."""
        return lines(self.power, self.above_box)

    def wavelength(self, line: Line) -> float:
        """Distance of the crests of a line, metres."""
        dy, dx = self.raw.pitch
        return 1 / math.hypot(line.down / (self.power.rows * dy), line.across / (self.power.columns * dx))

    def told(self, share: float) -> str:
        """A share of S as a length with its unit."""
        return format_length(share * self.rough)

    @cached_property
    def line_rate(self) -> float | None:
        """Lines there and back in a second, Hz, as file or sidecar say; None if they do not."""
        said = self.raw.metadata.get("line_rate")
        return float(said) if isinstance(said, int | float) and 0 < said < math.inf else None

    @cached_property
    def _measured(self) -> FloatArray:
        """The levelled heights that count, flat."""
        if self.raw.complete and not np.isnan(self.level[0, 0]):
            return self.level.reshape(-1)
        return self.level[self.raw.used & ~np.isnan(self.level)]
