"""Registration: how far the second map of one place lies from the first, to a few hundredths of a point.

Repeats drift. Half a point of drift lets a rough texture lose some per cent of its covariance and turns it into noise,
so two maps are laid on each other before they are compared. The cross-correlation is formed of long waves only (a
Gaussian low-pass): phase correlation, which weighs all waves alike, is lost on smooth texture, where most waves are
noise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.errors import MapError
from core.heightmap import BoolArray, FloatArray, HeightMap
from core.polynomials.fit import fit_polynomial
from core.spectrum.taper import CORRELATION, tapered

ComplexArray = NDArray[np.complex128]

REACH = 16
"""Points that the second map is looked for in every direction."""

LOW_PASS = 4.0
"""Length T of the low-pass on the correlation, exp(−(πTf)²/2) of a wave of f cycles per point: about the correlation
length of a texture."""

GATE = 8.5
"""Least peak over its standard deviation between unrelated maps.

The standard deviation counts every wave as independent, which the Hann window makes 35/18 too small: 8.5 is a true 4.4
for the highest of a thousand lags. Simulated for this program on 128² points: of 1,300 unrelated pairs (white, Gaussian
T = 3 and 8, self-affine H 0.8) the highest reached 8.5; of 750 pairs of one texture at N/S = 1 (Gaussian T = 4, 6, 8,
self-affine H 0.5 and 0.8 with roll-off L/2) the lowest reached 9.8. For that the two spectra are smoothed over 3 × 3
waves: of one texture both are large at the same waves by chance, and unsmoothed they would fail it in 20-60 % of pairs.
"""

STEP = 0.02
"""Points: to this the peak is found."""

FAINTEST = 1e-4
"""Transmission of the low-pass below which a wave is left out."""

LONGEST_SHARE = 1 / 4
"""Waves longer than this share of a side do not speak at the gate: they are too few to be told from chance."""

NOT_REGISTERED = "not registered"

HALVED = 256
"""Points along the shorter axis from which on the coarse search goes by halves."""

_PITCH_TOLERANCE = 1e-3
_LEAST = 32
"""Points along an axis below which a search makes no sense."""


@dataclass(frozen=True, slots=True)
class Shift:
    """Where the content of the second map lies against the first.

    Attributes
    ----------
    down, across : float
        Points: what stands at row i, column j of the first map stands at i + down, j + across of the second. 0 where
        the maps could not be registered.
    pitch : (float, float)
        Of the maps ``(dy, dx)``, metres.
    z : float
        Height of the peak over the standard deviation that the two spectra give it between unrelated maps.
    registered : bool
        Whether it passed the gate and lies within the reach.
    u : (float, float)
        Standard uncertainty down and across, points, from the noise; 0 where not registered.
    mirrored : bool
        Whether the second map was turned left to right first, as retrace may be stored.
    """

    down: float
    across: float
    pitch: tuple[float, float]
    z: float
    registered: bool
    u: tuple[float, float] = (0.0, 0.0)
    mirrored: bool = False

    @property
    def metres(self) -> tuple[float, float]:
        """The shift down and across, metres."""
        return self.down * self.pitch[0], self.across * self.pitch[1]

    def describe(self) -> str:
        """Such as ``"registered at +1.24 points down, −0.30 across (z = 31)"``."""
        if not self.registered:
            return f"{NOT_REGISTERED} (z = {self.z:.1f}, {GATE} is needed)"
        turned = ", mirrored" if self.mirrored else ""
        down, across = (f"{value:+.2f}".replace("-", "−") for value in (self.down, self.across))
        return f"registered at {down} points down, {across} across (z = {self.z:.0f}){turned}"


def register(
    first: HeightMap,
    second: HeightMap,
    *,
    reach: int | tuple[int, int] = REACH,
    low_pass: float = LOW_PASS,
    gate: float = GATE,
) -> Shift:
    r"""Shift of the second map of one place against the first.

    Parameters
    ----------
    first, second : HeightMap
        Maps of one pitch; of unlike numbers of rows or columns the top left part that both have is taken. Missing and
        masked points have weight 0.
    reach : int or (int, int), default 16
        Points that are searched in every direction, or down and across. No more than a quarter of the map.
    low_pass : float, default 4
        Length T of the low-pass ``exp(−(πTf)²/2)``, points of the finer axis.
    gate : float, default 8.5
        Least z of the peak.

    Returns
    -------
    Shift
        With shift 0 and ``registered=False`` where the peak is below the gate or at the border of the search.

    Raises
    ------
    MapError
        If the pitches differ or the maps are smaller than 32 points.

    Notes
    -----
    Both maps are levelled by a plane and tapered (Hann). With F their transforms and W the low-pass,
    :math:`C(\tau) = \sum W F_1^* F_2 e^{2\pi i f\tau}`, between unrelated maps of variance
    :math:`\sum W^2 |F_1|^2 |F_2|^2`. The best whole shift within the reach is found first; then both maps are cropped
    to what they have in common there, because the two windows pull the peak towards 0, and the peak is refined by a
    matrix transform (M. Guizar-Sicairos, S. T. Thurman, J. R. Fienup, Opt. Lett. 33 (2008) 156,
    doi:10.1364/OL.33.000156).
    The gate is asked of waves up to a quarter of the side.

    Examples
    --------
    >>> from core.synthetic import gaussian_texture
    >>> z = gaussian_texture((140, 140), (1e-9, 1e-9), sq=1e-9, length=4e-9, rng=np.random.default_rng(1))
    >>> one, other = (HeightMap(part, (1e-9, 1e-9)) for part in (z[5:133, 3:131], z[2:130, 7:135]))
    >>> shift = register(one, other)
    >>> round(shift.down, 1), round(shift.across, 1), shift.registered
    (3.0, -4.0, True)
    """
    one, other = (_levelled(scan) for scan in same_lattice(first, second))
    reaches = reach if isinstance(reach, tuple) else (reach, reach)
    down, across = (min(most, n // 4) for most, n in zip(reaches, one.shape, strict=True))
    whole = _whole_shift(one, other, low_pass, (down, across))
    cross = _Cross.of(*_common(one, other, whole), low_pass)
    fine = cross.refined()
    z = cross.z(fine)
    at_border = abs(whole[0]) >= down or abs(whole[1]) >= across
    if z < gate or at_border:
        return Shift(0.0, 0.0, first.pitch, z, registered=False)
    return Shift(whole[0] + fine[0], whole[1] + fine[1], first.pitch, z, registered=True, u=cross.spread(fine))


def _whole_shift(one: HeightMap, other: HeightMap, low_pass: float, reach: tuple[int, int]) -> tuple[int, int]:
    """The whole shift within the reach, to a point; of large maps from means of 2 × 2 points, which is enough."""
    if min(one.shape) < HALVED or not (one.complete and other.complete):
        return _Cross.of(one, other, low_pass).whole_shift(reach)
    first, second = (
        scan.with_(z=_halved(scan.z), pitch=(2 * scan.pitch[0], 2 * scan.pitch[1])) for scan in (one, other)
    )
    down, across = _Cross.of(first, second, low_pass / 2).whole_shift((-(-reach[0] // 2), -(-reach[1] // 2)))
    return 2 * down, 2 * across


def _halved(z: FloatArray) -> FloatArray:
    rows, columns = (n // 2 * 2 for n in z.shape)
    even, odd = z[0:rows:2], z[1:rows:2]
    sums = even + odd
    return np.asarray((sums[:, 0:columns:2] + sums[:, 1:columns:2]) / 4)


def _levelled(scan: HeightMap) -> HeightMap:
    return scan.with_(z=fit_polynomial(scan, 1).residual)


def same_lattice(first: HeightMap, second: HeightMap) -> tuple[HeightMap, HeightMap]:
    """The top left parts that two maps of one pitch both have.

    Raises
    ------
    MapError
        If the pitches differ or too little is left.
    """
    if any(abs(a / b - 1) > _PITCH_TOLERANCE for a, b in zip(first.pitch, second.pitch, strict=True)):
        raise MapError(
            f"“{first.name}” and “{second.name}” have different pixels and are no repeats of one place",
            fix="Repeat a scan with the same size and the same number of points.",
        )
    rows, columns = (min(a, b) for a, b in zip(first.shape, second.shape, strict=True))
    if min(rows, columns) < _LEAST:
        raise MapError(
            f"Repeats of {rows} × {columns} points are too small to be registered",
            fix=f"Take at least {_LEAST} × {_LEAST} points.",
        )
    part = (slice(0, rows), slice(0, columns))
    return cropped(first, part), cropped(second, part)


def cropped(scan: HeightMap, part: tuple[slice, slice]) -> HeightMap:
    """A part of a map, mask and all."""
    if all(
        (cut.start or 0) == 0 and (cut.stop is None or cut.stop >= n) for cut, n in zip(part, scan.shape, strict=True)
    ):
        return scan
    return scan.with_(z=scan.z[part].copy(), mask=None if scan.mask is None else scan.mask[part])


def mirrored(scan: HeightMap) -> HeightMap:
    """The map turned left to right."""
    return scan.with_(z=scan.z[:, ::-1].copy(), mask=None if scan.mask is None else scan.mask[:, ::-1])


def overlaps(shift: tuple[int, int], shape: tuple[int, int]) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Parts of two maps that show the same place at a whole shift.

    >>> overlaps((2, -3), (10, 10))
    ((slice(0, 8, None), slice(3, 10, None)), (slice(2, 10, None), slice(0, 7, None)))
    """
    pairs = [
        (slice(max(0, -move), n - max(0, move)), slice(max(0, move), n - max(0, -move)))
        for move, n in zip(shift, shape, strict=True)
    ]
    return (pairs[0][0], pairs[1][0]), (pairs[0][1], pairs[1][1])


def _common(one: HeightMap, other: HeightMap, shift: tuple[int, int]) -> tuple[HeightMap, HeightMap]:
    first, second = overlaps(shift, one.shape)
    return cropped(one, first), cropped(other, second)


@dataclass(frozen=True, slots=True, eq=False)
class _Cross:
    """The low-passed cross spectrum of two tapered maps, of the waves that pass.

    Attributes
    ----------
    cross : ndarray of complex
        W F1* F2; the columns of the half plane count twice.
    own : (ndarray, ndarray)
        W |F1|² and W |F2|².
    fy, fx : ndarray
        Cycles per point of rows and columns.
    shape : (int, int)
        Points of the maps.
    """

    cross: ComplexArray
    own: tuple[FloatArray, FloatArray]
    fy: FloatArray
    fx: FloatArray
    shape: tuple[int, int]

    @classmethod
    def of(cls, one: HeightMap, other: HeightMap, low_pass: float) -> _Cross:
        """The cross spectrum of two levelled maps of one lattice."""
        from scipy import fft

        finest = min(one.pitch)
        fy = np.fft.fftfreq(one.shape[0]).astype(np.float64)
        fx = np.fft.rfftfreq(one.shape[1]).astype(np.float64)
        down, across = (
            np.exp(-((math.pi * low_pass * finest / step * f) ** 2) / 2)
            for step, f in zip(one.pitch, (fy, fx), strict=True)
        )
        rows, columns = np.flatnonzero(down > FAINTEST), np.flatnonzero(across > FAINTEST)
        passed = np.outer(down[rows], across[columns])
        waves = [
            fft.fft(fft.rfft(tapered(scan, "hann")[0], axis=1)[:, columns], axis=0, overwrite_x=True)[rows]
            for scan in (one, other)
        ]
        own = (passed * np.abs(waves[0]) ** 2, passed * np.abs(waves[1]) ** 2)
        return cls(passed * np.conj(waves[0]) * waves[1], own, fy[rows], fx[columns], one.shape)

    @property
    def folds(self) -> FloatArray:
        """How many waves of the whole plane a column stands for."""
        return np.where((self.fx == 0) | (self.fx == 0.5), 1.0, 2.0)

    def at(self, down: FloatArray, across: FloatArray, *, of: FloatArray | BoolArray | float = 1.0) -> FloatArray:
        """The correlation at all pairs of these lags, points, the waves weighed by `of`."""
        left = np.exp(2j * math.pi * np.outer(down, self.fy)) @ (self.cross * of * self.folds)
        return np.asarray((left @ np.exp(2j * math.pi * np.outer(self.fx, across))).real)

    def whole_shift(self, reach: tuple[int, int]) -> tuple[int, int]:
        """The whole shift of the highest correlation."""
        down, across = (np.arange(-most, most + 1.0) for most in reach)
        i, j = np.unravel_index(int(np.argmax(self.at(down, across))), (down.size, across.size))
        return int(down[i]), int(across[j])

    def refined(self) -> tuple[float, float]:
        """The peak within two points of no shift: to a quarter of a point, then to a fiftieth."""
        centre = (0.0, 0.0)
        for step, half in ((0.25, 7), (STEP, 13)):
            down, across = (middle + step * np.arange(-half, half + 1.0) for middle in centre)
            i, j = np.unravel_index(int(np.argmax(self.at(down, across))), (down.size, across.size))
            centre = (float(down[i]), float(across[j]))
        return centre

    def z(self, lag: tuple[float, float]) -> float:
        """Height of the correlation at a lag over its standard deviation between unrelated maps, of short waves."""
        from scipy.ndimage import uniform_filter

        heard = np.hypot(self.fy[:, None] * self.shape[0], self.fx[None, :] * self.shape[1]) >= 1 / LONGEST_SHARE
        peak = float(self.at(np.array([lag[0]]), np.array([lag[1]]), of=heard)[0, 0])
        one, other = (uniform_filter(power * heard, 3) for power in self.own)
        variance = float(np.sum(one * other * heard, axis=0) @ self.folds)
        return peak / math.sqrt(variance) if variance > 0 else 0.0

    def spread(self, lag: tuple[float, float]) -> tuple[float, float]:
        """Standard uncertainty of the peak at a lag, points: slope that noise gives it over its curvature.

        At the true shift the signal is real; what is imaginary is noise. Neighbouring waves share their noise under
        the Hann window, which widens the spread by 35/18.
        """
        turned = self.cross * np.exp(2j * math.pi * (self.fy[:, None] * lag[0] + self.fx[None, :] * lag[1]))
        found = []
        for square in ((2 * math.pi * self.fy[:, None]) ** 2, (2 * math.pi * self.fx[None, :]) ** 2):
            curvature = float(np.sum(square * turned.real, axis=0) @ self.folds)
            slope = math.sqrt(float(np.sum(square * turned.imag**2, axis=0) @ self.folds**2)) * CORRELATION["hann"]
            found.append(slope / curvature if curvature > 0 else math.inf)
        return found[0], found[1]
