"""Pitch and angle of a grating from the peak of its spectrum, refined between the bins."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.errors import MapError
from core.heightmap import FloatArray, HeightMap

SEARCH = 1.25
"""The peak is sought between the nominal frequency over and times this."""

LEAST_PERIODS = 4
"""Periods that must lie within the scan."""

STANDS_OUT = 8.0
"""Amplitude of the peak over the median in the search ring: white noise of 256² points reaches 4.5."""

TILES = 2
"""The scan is parted into this many by this many for the repeatability."""

ROUNDS = 30


@dataclass(frozen=True, slots=True)
class Grating:
    """One set of lines of a grating as measured, before any calibration.

    Attributes
    ----------
    frequency : (float, float)
        Wave vector over 2π, down and across, cycles per metre; across is not negative.
    u : float
        Relative standard uncertainty of the period, from parts of the scan.
    """

    frequency: tuple[float, float]
    u: float

    @property
    def period(self) -> float:
        """Distance of the lines at right angles to them, metres."""
        return 1 / math.hypot(*self.frequency)

    @property
    def angle(self) -> float:
        """Direction at right angles to the lines, degrees anticlockwise as shown from the fast axis, −90 to 90."""
        return math.degrees(math.atan2(-self.frequency[0], self.frequency[1]))


def gratings(scan: HeightMap, pitch: float, *, count: int = 1) -> tuple[Grating, ...]:
    """The sets of lines of a grating of known nominal pitch.

    The amplitude of the Hann-windowed Fourier transform is evaluated between its bins and climbed to its top by
    Newton's method; the window keeps harmonics and edges apart.

    Parameters
    ----------
    scan : HeightMap
        Levelled or not; missing points count as the mean.
    pitch : float
        Nominal or certified pitch, metres: the peak is sought within 25 % of it.
    count : {1, 2}, default 1
        1 for lines, 2 for a chequered or dotted grating. Two are given the one more across the rows first.

    Returns
    -------
    tuple of Grating

    Raises
    ------
    MapError
        If the scan holds fewer than 4 periods or shows no peak there.

    Examples
    --------
    >>> from core.synthetic.lattice import coordinates
    >>> _, x = coordinates((128, 128), (1e-8, 1e-8))
    >>> lines = HeightMap(1e-8 * np.sin(2 * np.pi * x / 1.53e-7) * np.ones((128, 1)), pitch=(1e-8, 1e-8))
    >>> round(1e9 * gratings(lines, 150e-9)[0].period, 1)
    153.0
    """
    if not 0 < pitch < math.inf:
        raise MapError(f"The pitch of a grating must be positive, not {pitch}")
    if count not in (1, 2):
        raise MapError(f"A grating has one or two sets of lines, not {count}")
    if min(scan.size) < LEAST_PERIODS * pitch:
        raise MapError(
            f"The scan of {min(scan.size):.3g} m holds fewer than {LEAST_PERIODS} periods of {pitch:.3g} m",
            fix="Scan a larger area.",
        )
    if pitch < 3 * max(scan.pitch):
        raise MapError("A period has fewer than 3 pixels", fix="Scan with more points.")
    whole = _peaks(scan, pitch, count)
    found = [Grating(f, _scatter(scan, f, pitch)) for f in whole]
    return tuple(sorted(found, key=lambda one: abs(one.angle)))


def _peaks(scan: HeightMap, pitch: float, count: int) -> list[tuple[float, float]]:
    z = _windowed(scan)
    amplitude = np.abs(np.fft.rfft2(z))
    fy, fx = np.fft.fftfreq(z.shape[0], scan.pitch[0])[:, None], np.fft.rfftfreq(z.shape[1], scan.pitch[1])[None, :]
    size = np.hypot(fy, fx)
    ring = (size >= 1 / (SEARCH * pitch)) & (size <= SEARCH / pitch)
    ground = float(np.median(amplitude[ring]))
    found: list[tuple[float, float]] = []
    for _ in range(count):
        if not ring.any():
            break
        best = int(np.argmax(np.where(ring, amplitude, -1.0)))
        row, column = divmod(best, amplitude.shape[1])
        if amplitude[row, column] < STANDS_OUT * ground or amplitude[row, column] == 0:
            break
        start = float(fy[row, 0]), float(fx[0, column])
        found.append(_positive(_refined(z, scan.pitch, start)))
        # the second set lies far off in direction: everything within 45° of the first goes
        away = np.abs(fy * start[0] + fx * start[1]) / np.maximum(size, 1e-300) / math.hypot(*start)
        ring &= away < math.cos(math.pi / 4)
    if len(found) < count:
        raise MapError(
            f"No {'second ' if found else ''}set of lines of about {pitch:.3g} m stands out of the spectrum",
            fix="Check the nominal pitch, and that the scan shows the grating.",
        )
    return found


def _windowed(scan: HeightMap) -> FloatArray:
    used = scan.used
    if not used.any():
        raise MapError("No point of this map counts")
    rows, columns = (np.hanning(n + 2)[1:-1] for n in scan.shape)
    window = rows[:, None] * columns[None, :] * used
    level = float(np.average(np.where(used, scan.z, 0.0), weights=window))
    return np.asarray(np.where(used, scan.z - level, 0.0) * window)


def _refined(z: FloatArray, pitch: tuple[float, float], start: tuple[float, float]) -> tuple[float, float]:
    """The top of |F|² near a bin, by Newton's method on its logarithm; the step is at most half a bin."""
    y, x = ((np.arange(n) - (n - 1) / 2) * step for n, step in zip(z.shape, pitch, strict=True))
    f = np.array(start)
    bins = np.array([1 / (n * step) for n, step in zip(z.shape, pitch, strict=True)])
    for _ in range(ROUNDS):
        down, across = np.exp(-2j * np.pi * f[0] * y), np.exp(-2j * np.pi * f[1] * x)
        along = z @ across, z @ (across * x), z @ (across * x * x)
        total = down @ along[0]
        gy, gx = (down * y) @ along[0], down @ along[1]
        hyy, hxy, hxx = (down * y * y) @ along[0], (down * y) @ along[1], down @ along[2]
        # ln F and its derivatives by −2πi y and −2πi x
        first = -2j * np.pi * np.array([gy, gx]) / total
        second = -4 * np.pi**2 * np.array([[hyy, hxy], [hxy, hxx]]) / total - np.outer(first, first)
        step = -np.linalg.solve(second.real, first.real)
        step = np.clip(step, -0.5 * bins, 0.5 * bins)
        f = f + step
        if np.all(np.abs(step) < 1e-9 * bins):
            break
    return float(f[0]), float(f[1])


def _positive(f: tuple[float, float]) -> tuple[float, float]:
    """The one of ±f that points across, or straight up."""
    return (-f[0], -f[1]) if f[1] < 0 or (f[1] == 0 and f[0] > 0) else f


def _scatter(scan: HeightMap, f: tuple[float, float], pitch: float) -> float:
    """Relative standard uncertainty of the period: the scatter between the parts of the scan over √(their number)."""
    rows, columns = (n // TILES for n in scan.shape)
    if min(rows * scan.pitch[0], columns * scan.pitch[1]) < LEAST_PERIODS * pitch:
        return 0.0
    sizes = []
    for top in range(TILES):
        for left in range(TILES):
            part = slice(top * rows, (top + 1) * rows), slice(left * columns, (left + 1) * columns)
            tile = scan.with_(z=scan.z[part], mask=None if scan.mask is None else scan.mask[part])
            if tile.used.mean() > 0.5:
                sizes.append(math.hypot(*_refined(_windowed(tile), scan.pitch, f)))
    return float(np.std(sizes, ddof=1) / np.mean(sizes)) / math.sqrt(len(sizes)) if len(sizes) > 1 else 0.0
