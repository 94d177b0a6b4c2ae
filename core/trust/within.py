r"""How sure one scan is of its own Sq and Sa: the finite area, within this scan only.

A scan holds some number of independent pieces of its texture, and so much is its Sq a matter of chance. The target is
what *this process at this window, levelling and band* gives on average, not the specimen: from spot to spot it may
vary more, and one scan cannot know. The relative variance of Sq² is

.. math:: V = \left(2 + \max(0, \kappa)\right) \frac1A \sum_\tau \mathrm{tri}(\tau)\,\rho^2(\tau)

over the lags up to the first at which the radial mean of ρ falls below 0.05, tri the share of the map that overlaps
with itself, A its points. On a band-limited map all lags of the padded autocovariance c (divided by A) are taken,
:math:`V = (1 + \max(0, \kappa)/2) \sum c^2 / (A c_0^2)`: noise of the estimate doubles that sum, so the 2 goes. The
interval is that of χ² with ν = 2/V, Sq·√(ν/χ²): lopsided where ν is small.

κ is the excess kurtosis of the heights. For bumps of Gaussian shape that lie at random, Cov(u²_i, u²_j) is exactly
(2 + κ)ρ² (derived here: the fourth cumulant of such shot noise falls as ρ²); flat-topped distributions (κ < 0) are not
given credit. `tests/core/trust/test_within.py` simulates both.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from core.blocks import Edges, block_sums
from core.heightmap import FloatArray, HeightMap
from core.measures.reading import Reading
from core.trust.levelling_model import decay_length

READABLE = ("Sq", "Sa")
"""Readings that get an interval from one scan: means over all points; the autocorrelation tells their scatter."""

PRINTED, OPTIMISTIC = 10.0, 5.0
"""Texture lengths in a side from which an interval is told, and from which it is told as optimistic."""

BAND_SHARE = 1 / 4
"""A longest wavelength of a band up to this share of the side lets the interval hold on every texture."""

CUT = 0.05
"""Radial mean of the autocorrelation at which the sum ends."""

SIDE = 192
"""Points of the reduced map: enough for textures that it resolves; finer ones are looked at in pieces."""

FINE = 4.0
"""Texture lengths, in reduced points, below which pieces at full resolution are taken."""

WITHIN = "within this scan only; spot-to-spot variation unknown, not rankable"
COARSE = "optimistic, real cover about 80–90 %"
FLOOR = "the spots agree better than their finite areas allow; the interval is that of the areas"
FEW_FEATURES = "a few features make most of it, no interval from one scan"
NO_INTERVAL = "S depends on the window: the texture is nearly as long as the scan, no interval from one scan"


@dataclass(frozen=True, slots=True)
class FiniteArea:
    """What the finite area of one scan leaves open.

    Attributes
    ----------
    length : float
        1/e length of the autocorrelation, metres; infinite where it does not fall so far.
    lengths : float
        How many of it the shorter side holds.
    variance : float
        Relative variance V of Sq².
    variance_absolute : float
        The same for Sa²: the mean of |u| scatters a little more than its square would let expect.
    banded : bool
        Whether a band up to a quarter of the side was set.
    heavy : float
        Factor (1 or more) by which excess kurtosis enlarged the variances.
    """

    length: float
    lengths: float
    variance: float
    variance_absolute: float
    banded: bool
    heavy: float = 1.0

    def floor(self, symbol: str) -> float:
        """Relative variance of Sq² or Sa² by the autocorrelation alone: what spots cannot agree better than.

        Kurtosis is left out: it comes from few features, and spots may well have the same ones.
        """
        return (self.variance if symbol == "Sq" else self.variance_absolute) / self.heavy

    @property
    def u(self) -> float:
        """Relative standard uncertainty of Sq, ½√V."""
        return math.sqrt(self.variance) / 2

    @property
    def told(self) -> bool:
        """Whether an interval may be told at all."""
        return (self.banded or self.lengths >= OPTIMISTIC) and 0 < self.variance < 2

    @property
    def optimistic(self) -> bool:
        """Whether it is known to hold less than it says."""
        return self.told and not self.banded and self.lengths < PRINTED

    @property
    def freedom(self) -> float:
        """Degrees of freedom ν = 2/V; infinite without variance."""
        return 2 / self.variance if self.variance > 0 else math.inf

    @property
    def note(self) -> str:
        """What has to stand beside the interval."""
        if not self.told:
            long = not self.banded and self.lengths < OPTIMISTIC
            return f"{NO_INTERVAL if long else FEW_FEATURES}; {WITHIN}"
        return f"{WITHIN}; {COARSE}" if self.optimistic else WITHIN


def finite_area(scan: HeightMap, *, kurtosis: float | None = None) -> FiniteArea | None:
    """What the finite area of a treated map leaves open.

    Parameters
    ----------
    scan : HeightMap
        The treated map; its history tells whether there was a band. Missing and masked points do not count.
    kurtosis : float, optional
        Sku, where it is known already; computed otherwise.

    Returns
    -------
    FiniteArea or None
        None when too little counts or all heights are equal.

    Examples
    --------
    >>> from core.synthetic import gaussian_texture
    >>> z = gaussian_texture((256, 256), (1e-8, 1e-8), sq=1e-9, length=8e-8, rng=np.random.default_rng(1))
    >>> area = finite_area(HeightMap(z, pitch=(1e-8, 1e-8)))
    >>> 7e-8 < area.length < 9e-8, 0.02 < area.u < 0.04, area.note == WITHIN
    (True, True, True)
    """
    used = int(scan.z.size - scan.missing if scan.mask is None else np.count_nonzero(scan.used))
    if min(scan.shape) < 8 or used < 64:
        return None
    factor = max(1, math.ceil(max(scan.shape) / SIDE))
    maps = [_reduced(scan, factor)]
    sums = _sums(maps, scan, factor)
    if factor > 1 and not (sums and sums.length >= FINE * factor * max(scan.pitch)):
        sums = _sums(_pieces(scan), scan, 1)
    if sums is None:
        return None
    if kurtosis is None:
        kurtosis = _kurtosis(scan)
    heavy = 1 + max(0.0, kurtosis - 3) / 2
    banded = _banded(scan)
    raw, raw_absolute = (sums.all, sums.all_absolute) if banded else (2 * sums.cut, 2 * sums.cut_absolute)
    return FiniteArea(
        length=sums.length,
        lengths=min(scan.size) / sums.length if sums.length > 0 else math.inf,
        variance=heavy * raw / used,
        variance_absolute=heavy * raw_absolute / used,
        banded=banded,
        heavy=heavy,
    )


def interval(value: float, variance: float) -> tuple[float, float]:
    """Ends of the 95 % interval of an RMS from the relative variance of its square: χ² with ν = 2/V.

    >>> [round(end, 4) for end in interval(1.0, 2 / 4)]  # five values, four degrees of freedom
    [0.5991, 2.8736]
    """
    from scipy.special import chdtri

    freedom = 2 / variance
    low, high = (math.sqrt(freedom / float(chdtri(freedom, p))) for p in (0.025, 0.975))
    return value * low, value * high


def with_interval(reading: Reading, area: FiniteArea | None) -> Reading:
    """The reading of one scan with its interval within this scan, and the note that says so.

    Readings whose scatter does not follow from the autocorrelation stay as they are.
    """
    if area is None or reading.symbol not in READABLE or not reading.value or reading.value <= 0:
        return reading
    note = "; ".join(part for part in (reading.note, area.note) if part)
    if not area.told:
        return replace(reading, note=note)
    low, high = interval(reading.value, area.variance if reading.symbol == "Sq" else area.variance_absolute)
    return replace(reading, low=low, high=high, uncertainty=(high - low) / 2, note=note)


@dataclass(frozen=True, slots=True)
class _Sums:
    """Sums over lags in points of the full map: of tri ρ² up to the cut and of c² over all lags, each also for |u|."""

    length: float
    cut: float
    all: float
    cut_absolute: float
    all_absolute: float


def _sums(maps: list[FloatArray], scan: HeightMap, factor: int) -> _Sums | None:
    """Over the mean autocovariance of some maps, NaN where nothing counts, each point `factor`² of the scan."""
    square = 0.0
    total = pairs = None
    for z in maps:
        counts = np.isfinite(z)
        if not counts.any():
            continue
        u = np.where(counts, z, 0.0)
        products, overlap = _products(u), _products(counts.astype(np.float64))
        total = products if total is None else total + products
        pairs = overlap if pairs is None else pairs + overlap
        square += float(np.square(u).sum())
    if total is None or pairs is None or not square > 0:
        return None
    points = float(pairs[0, 0])
    biased = total / square
    overlap = np.maximum(np.rint(pairs), 0.0) / points
    rho = np.divide(biased, overlap, out=np.zeros_like(biased), where=overlap > 0.02)
    down, across = (np.fft.fftfreq(n, 1 / n) * factor * step for n, step in zip(rho.shape, scan.pitch, strict=True))
    radius = np.hypot(down[:, None], across[None, :])
    step = factor * max(scan.pitch)
    ring = np.rint(radius / step).astype(int)
    wanted = ring < min(min(scan.size) / 2 // step, *(n // 2 for n in rho.shape))
    counted = np.bincount(ring[wanted])
    radial = np.bincount(ring[wanted], rho[wanted]) / counted
    where = np.bincount(ring[wanted], radius[wanted]) / counted
    length = decay_length(where, radial)[0] if (radial < 1 / math.e).any() else math.inf
    below = np.flatnonzero(radial < CUT)
    inside = wanted & (ring < (int(below[0]) if below.size else len(radial)))
    area = float(factor**2)
    near = np.clip(rho[inside], -1, 1)
    weight = overlap[inside]
    return _Sums(
        length=length,
        cut=area * float(weight @ near**2),
        all=area * float(np.square(biased).sum()),
        cut_absolute=area * float(weight @ _absolute(near)),
        all_absolute=area * float(_absolute(np.clip(biased, -1, 1)).sum()),
    )


def _absolute(rho: FloatArray) -> FloatArray:
    """Covariance of |u| over (2/π)·½ for Gaussian heights: ρ² at small ρ, 1.14 ρ² at 1."""
    return np.asarray(2 * (np.sqrt(1 - rho**2) + rho * np.arcsin(rho) - 1))


def _products(u: FloatArray) -> FloatArray:
    from scipy import fft

    shape = [fft.next_fast_len(2 * n - 1, real=True) for n in u.shape]
    spectrum = fft.rfft2(u, shape)
    return np.asarray(fft.irfft2(np.square(spectrum.real) + np.square(spectrum.imag), shape))


def _reduced(scan: HeightMap, factor: int) -> FloatArray:
    """Means over blocks of points, about the mean; NaN where fewer than half of a block counts."""
    if factor == 1:
        return _about(scan.z if scan.mask is None else np.where(scan.used, scan.z, np.nan))
    rows, columns = (n // factor for n in scan.shape)
    down, across = (Edges(n * factor, n, 0, n) for n in (rows, columns))
    part = slice(rows * factor), slice(columns * factor)
    if scan.complete:
        return _about(block_sums(scan.z[part], down, across) / factor**2)
    used = scan.used[part]
    counts = block_sums(used.astype(np.float64), down, across)
    sums = block_sums(np.where(used, scan.z[part], 0.0), down, across)
    return _about(np.divide(sums, counts, out=np.full(sums.shape, np.nan), where=counts >= factor**2 / 2))


def _pieces(scan: HeightMap) -> list[FloatArray]:
    """Four pieces at full resolution, from the middles of the quarters, about the mean of the scan."""
    whole = scan.z if scan.mask is None else np.where(scan.used, scan.z, np.nan)
    middle = float(np.nanmean(whole))
    high, wide = (min(n, SIDE // 2) for n in scan.shape)
    tops, lefts = (
        [min(max(0, n * k // 4 - side // 2), n - side) for k in (1, 3)]
        for n, side in zip(scan.shape, (high, wide), strict=True)
    )
    return [whole[top : top + high, left : left + wide] - middle for top in tops for left in lefts]


def _about(z: FloatArray) -> FloatArray:
    return np.asarray(z - np.nanmean(z)) if np.isfinite(z).any() else z


def _kurtosis(scan: HeightMap) -> float:
    u = scan.heights() - scan.heights().mean()
    square = float(np.mean(u**2))
    return float(np.mean(u**4)) / square**2 if square > 0 else 3.0


def _banded(scan: HeightMap) -> bool:
    """Whether a band up to a quarter of the side was set; the edges that it cut belonged to the side."""
    waves = [entry.figures["longest_m"] for entry in scan.history if "longest_m" in entry.figures]
    cut = 2 * max((entry.figures.get("cut_m", 0.0) for entry in scan.history), default=0.0)
    side = min(size + cut + 2 * step for size, step in zip(scan.size, scan.pitch, strict=True))
    return bool(waves) and min(waves) <= BAND_SHARE * side * (1 + 1e-9)


def floored(reading: Reading, areas: Sequence[FiniteArea | None]) -> Reading:
    """The reading of several spots, its interval no narrower than their finite areas allow: 1.96 u/√n on the logarithm.

    Finite area is inside the scatter of the spots and is not added; but two or three spots may agree by chance.

    Examples
    --------
    >>> area = FiniteArea(length=1e-8, lengths=20.0, variance=0.04, variance_absolute=0.04, banded=False)
    >>> lucky = Reading("Sq", 1e-9, "m", "", uncertainty=1e-12, low=0.999e-9, high=1.001e-9, n=4)
    >>> round(math.log(floored(lucky, [area] * 4).high / 1e-9), 3)
    0.098
    """
    known = [area for area in areas if area is not None]
    if reading.symbol not in READABLE or reading.n < 2 or not known or not reading.value or not reading.low:
        return reading
    if reading.value <= 0 or reading.low <= 0 or reading.high is None:
        return reading
    variance = float(np.mean([area.floor(reading.symbol) for area in known]))
    least = 1.96 * math.sqrt(variance) / 2 / math.sqrt(reading.n)
    if math.log(reading.high / reading.low) / 2 >= least:
        return reading
    low, high = reading.value * math.exp(-least), reading.value * math.exp(least)
    note = "; ".join(part for part in (reading.note, FLOOR) if part)
    return replace(reading, low=low, high=high, uncertainty=(high - low) / 2, note=note)
