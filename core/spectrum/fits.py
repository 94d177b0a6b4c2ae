r"""Models fitted to a spectrum by maximum likelihood, with intervals.

A bin of a periodogram scatters like an exponential variable about the true density, the mean of m independent bins like
a gamma variable of shape m. The likelihood of a model with density S is then (Whittle)

.. math:: -\ln L = \sum_r m_r \big( \ln S_r + P_r / S_r \big)

up to a constant. Two refinements: S is what the window makes of the model (its power is spread over neighbouring bins,
and a ring is a mean over its width), so that steep spectra are not read too shallow; and m counts the bins after
division by the window's correlation, 35/18 on each axis for Hann. Intervals are 95 %, from the Fisher information at
the optimum, widened by √(Pearson's X² over its degrees of freedom) where the model fits worse than chance allows, with
Student's t. They hold the scatter of *this* map about the law, not that from spot to spot.

References
----------
P. Whittle, Ark. Mat. 2 (1953) 423, doi:10.1007/BF02590998. A. M. Sykulski, S. C. Olhede, A. P. Guillaumin, J. M. Lilly,
J. J. Early, "The debiased Whittle likelihood", Biometrika 106 (2019) 251, doi:10.1093/biomet/asy071 (both from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from core.errors import MapError
from core.heightmap import FloatArray
from core.spectrum.line import Spectrum
from core.spectrum.models import KCorrelation, PowerLaw
from core.spectrum.taper import SPREAD

FIRST_BIN = 4
"""Lowest bin fitted unless the caller says otherwise: below it levelling and the window have eaten into the power."""

LEAST_POINTS = 5
"""Bins without which a fit is refused."""

DIRECTIONS = 6
"""Directions over a quarter turn in which the spread of the window is averaged round a ring."""

Theta = FloatArray
Density = Callable[[Theta, FloatArray], FloatArray]


@dataclass(frozen=True, slots=True)
class Estimate:
    """A fitted number with the ends of its 95 % interval, in SI."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Fit:
    """A model fitted to a spectrum.

    Attributes
    ----------
    model : PowerLaw or KCorrelation
        With the fitted parameters.
    estimates : mapping of str to Estimate
        ``exponent``, ``hurst``, ``amplitude`` of a power law; ``a``, ``b``, ``c``, ``hurst`` of a k-correlation.
    wavenumbers : (float, float)
        First and last wavenumber that was fitted, cycles per metre.
    points : int
        Number of bins fitted.
    misfit : float
        Pearson's X² over its degrees of freedom: about 1 (below it with a window, whose bins are alike) where the model
        holds, much above 1 where it does not.
    note : str
        What limits the fit.
    """

    model: PowerLaw | KCorrelation
    estimates: Mapping[str, Estimate]
    wavenumbers: tuple[float, float]
    points: int
    misfit: float
    note: str = ""


def fit_self_affine(spectrum: Spectrum, low: float | None = None, high: float | None = None) -> Fit:
    """Power law and Hurst exponent.

    Parameters
    ----------
    spectrum : Spectrum
        Radial average or a spectrum along an axis, two- or one-sided; with the Hann window unless the map is periodic.
    low, high : float, optional
        Wavenumbers between which the law is fitted, cycles per metre; by default from the fourth bin to half of the
        last wavenumber, where pixels and probe do not round the surface yet. Stay above the knee if there is one.

    Returns
    -------
    Fit
        With a `PowerLaw` of the density given (areal or along a line, two-sided).

    Raises
    ------
    MapError
        If fewer than 5 bins lie between the limits.

    Examples
    --------
    >>> from core.spectrum.areal import areal_spectrum
    >>> from core.spectrum.line import radial_average
    >>> from core.heightmap import HeightMap
    >>> from core.synthetic import self_affine
    >>> z = self_affine((256, 256), (1e-8, 1e-8), sq=1e-9, hurst=0.8, roll_off=2e-6, rng=np.random.default_rng(3))
    >>> fit = fit_self_affine(radial_average(areal_spectrum(HeightMap(z, pitch=(1e-8, 1e-8)))))
    >>> fit.estimates["hurst"].low < 0.8 < fit.estimates["hurst"].high
    True
    """
    data = _Data.of(spectrum, low, high)
    pivot = math.sqrt(data.f[0] * data.f[-1])  # amidst the range level and slope are nearly independent

    def density(theta: Theta, f: FloatArray) -> FloatArray:
        return np.asarray(np.exp(theta[0] - theta[1] * np.log(f / pivot)), dtype=np.float64)

    slope, level = np.polyfit(np.log(data.f / pivot), np.log(data.p), 1, w=np.sqrt(data.m))
    best = data.fitted(density, [np.array([level, -slope])])
    level, beta = (float(part) for part in best.theta)
    exponent = best.estimate(np.array([0.0, 1.0]), beta)
    to_one = np.array([1.0, math.log(pivot)])  # ln K is the level carried to 1 cycle per metre
    dimension = spectrum.dimension
    estimates = {
        "exponent": exponent,
        "hurst": Estimate(*((end - dimension) / 2 for end in (exponent.value, exponent.low, exponent.high))),
        "amplitude": _exp(best.estimate(to_one, float(to_one @ best.theta))),
    }
    hurst = estimates["hurst"]
    note = (
        "" if hurst.high > 0 and hurst.low < 1 else "the Hurst exponent lies outside 0 to 1: not a self-affine surface"
    )
    model = PowerLaw(estimates["amplitude"].value, beta, dimension)
    return data.fit(model, estimates, best.misfit, note)


def fit_k_correlation(spectrum: Spectrum, low: float | None = None, high: float | None = None) -> Fit:
    """k-correlation (ABC) model.

    Parameters
    ----------
    spectrum : Spectrum
        Radial average or a spectrum along an axis, two- or one-sided; with the Hann window unless the map is periodic.
    low, high : float, optional
        Wavenumbers between which the model is fitted, cycles per metre; by default from the fourth bin to half of the
        last wavenumber.

    Returns
    -------
    Fit
        A, B, C in the one-sided form along a line (see `KCorrelation`), whichever spectrum was fitted.

    Raises
    ------
    MapError
        If fewer than 5 bins lie between the limits.
    """
    data = _Data.of(spectrum, low, high)
    dimension = spectrum.dimension

    def density(theta: Theta, f: FloatArray) -> FloatArray:
        # Parametrised by the density at wavenumber 0, ln B and C; A follows. All stay positive and nearly independent.
        return np.asarray(
            np.exp(theta[0] - 0.5 * (theta[2] + dimension - 1) * np.log1p(np.square(np.exp(theta[1]) * f))),
            dtype=np.float64,
        )

    knees = np.geomspace(data.f[0], data.f[-1], 5)[:-1]
    starts = [np.array([math.log(data.p[:LEAST_POINTS].mean()), -math.log(knee), 2.5]) for knee in knees]
    best = data.fitted(density, starts)
    level, log_b, c = (float(part) for part in best.theta)
    b = math.exp(log_b)
    log_factor = (lambda c: math.log(KCorrelation(1.0, 1.0, max(c, 1e-9)).areal_factor)) if dimension == 2 else None
    # areal level = ln K(C) + ln A + ln B; along a line two-sided it is ln(A/2)
    if log_factor is None:
        log_a, to_a = level + math.log(2), np.array([1.0, 0.0, 0.0])
    else:
        slope = (log_factor(c + 1e-4) - log_factor(c - 1e-4)) / 2e-4
        log_a, to_a = level - log_b - log_factor(c), np.array([1.0, -1.0, -slope])
    exponent = best.estimate(np.array([0.0, 0.0, 1.0]), c)
    estimates = {
        "a": _exp(best.estimate(to_a, log_a)),
        "b": _exp(best.estimate(np.array([0.0, 1.0, 0.0]), log_b)),
        "c": exponent,
        "hurst": Estimate(*((end - 1) / 2 for end in (exponent.value, exponent.low, exponent.high))),
    }
    seen = data.f[0] < 1 / b < data.f[-1]
    note = "" if seen else "the knee lies outside the wavenumbers fitted: A and B are extrapolated"
    return data.fit(KCorrelation(math.exp(log_a), b, c), estimates, best.misfit, note)


@dataclass(frozen=True, slots=True)
class _Best:
    """The optimum, its covariance and Student's t."""

    theta: Theta
    covariance: FloatArray
    student: float
    misfit: float

    def estimate(self, gradient: FloatArray, value: float) -> Estimate:
        half = self.student * math.sqrt(max(float(gradient @ self.covariance @ gradient), 0.0))
        return Estimate(value, value - half, value + half)


@dataclass(frozen=True, slots=True, eq=False)
class _Data:
    """The bins to be fitted and where the window takes their power from.

    `f`, `p` and `m` are wavenumbers, two-sided densities and shapes, each (n,); `around` (n, k) are the wavenumbers
    whose densities, with the weights `share` (k,), make up the expectation of a bin.
    """

    f: FloatArray
    p: FloatArray
    m: FloatArray
    around: FloatArray
    share: FloatArray

    @classmethod
    def of(cls, spectrum: Spectrum, low: float | None, high: float | None) -> _Data:
        f = spectrum.wavenumbers
        first = f[min(FIRST_BIN, f.size) - 1] if low is None else low
        last = f[-1] / 2 if high is None else high
        usable = (spectrum.densities > 0) & np.isfinite(spectrum.densities)
        chosen = (f >= first * (1 - 1e-12)) & (f <= last * (1 + 1e-12)) & usable
        points = int(np.count_nonzero(chosen))
        if points < LEAST_POINTS:
            raise MapError(
                f"Only {points} bins lie between {first:.4g} and {last:.4g} 1/m",
                fix=f"Widen the range: {LEAST_POINTS} are needed.",
            )
        around, share = _neighbourhood(spectrum, f[chosen])
        two_sided = spectrum.densities[chosen] * (0.5 * spectrum.sided)
        return cls(f[chosen], two_sided, spectrum.freedom[chosen], around, share)

    def expectation(self, density: Density, theta: Theta) -> FloatArray:
        """What the window makes of the model, shape (n,)."""
        return density(theta, self.around) @ self.share

    def fitted(self, density: Density, starts: list[Theta]) -> _Best:
        """The likeliest parameters, from the best of several starts."""
        from scipy.optimize import least_squares
        from scipy.special import stdtrit

        log_p, root = np.log(self.p), np.sqrt(self.m)

        def residuals(theta: Theta) -> FloatArray:
            # Their squares sum to twice the loss of log-likelihood: least squares is maximum likelihood here.
            x = log_p - np.log(self.expectation(density, theta))
            x = np.clip(x, -600.0, 600.0)
            near = np.abs(x) < 1e-4
            excess = np.where(near, 0.5 * x * x * (1 + x / 3), np.expm1(x) - x)
            return np.asarray(root * np.sign(x) * np.sqrt(2 * np.maximum(excess, 0.0)))

        with np.errstate(over="ignore", under="ignore", invalid="ignore", divide="ignore"):  # far from the optimum
            found = min((least_squares(residuals, start, x_scale="jac") for start in starts), key=lambda one: one.cost)
        theta = np.asarray(found.x, dtype=np.float64)
        freedom = max(self.f.size - theta.size, 1)
        misfit = float(np.sum(self.m * np.square(self.p / self.expectation(density, theta) - 1))) / freedom
        steps = 1e-4 * np.eye(theta.size)
        gradient = (
            np.stack(
                [
                    np.log(self.expectation(density, theta + step)) - np.log(self.expectation(density, theta - step))
                    for step in steps
                ]
            )
            / 2e-4
        )
        information = gradient @ (self.m[:, None] * gradient.T)
        # What the spectrum does not tell has next to no information and gets next to endless width, not none.
        known, ways = np.linalg.eigh(information)
        known = np.maximum(known, 1e-14 * known[-1])
        covariance = np.asarray((ways / known) @ ways.T * max(1.0, misfit), dtype=np.float64)
        return _Best(theta, covariance, float(stdtrit(freedom, 0.975)), misfit)

    def fit(self, model: PowerLaw | KCorrelation, estimates: dict[str, Estimate], misfit: float, note: str) -> Fit:
        limits = float(self.f[0]), float(self.f[-1])
        return Fit(model, MappingProxyType(estimates), limits, self.f.size, misfit, note)


def _neighbourhood(spectrum: Spectrum, f: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Wavenumbers that a bin takes its power from, shape (n, k), and their weights, shape (k,)."""
    spread = SPREAD[spectrum.window]
    shifts, centre = np.array([-1.0, 0.0, 1.0]), f[:, None]
    if spectrum.dimension == 1:
        return np.abs(centre + shifts * spectrum.steps[0]) + 1e-300, spread
    dfy, dfx = spectrum.steps
    # over the width of its ring: two Gauss points, exact for cubics
    within = np.array([-0.5, 0.5]) / math.sqrt(3) * max(spectrum.steps)
    turn = (np.arange(DIRECTIONS) + 0.5) * (math.pi / 2 / DIRECTIONS)
    y, x, ring, angle = (part.reshape(-1) for part in np.meshgrid(shifts, shifts, within, turn, indexing="ij"))
    share = np.outer(spread, spread)[(y + 1).astype(int), (x + 1).astype(int)] / (within.size * turn.size)
    kept = share > 0
    y, x, ring, angle, share = (part[kept] for part in (y, x, ring, angle, share))
    r = np.maximum(centre + ring, 0.25 * max(spectrum.steps))
    around = np.hypot(r * np.sin(angle) + y * dfy, r * np.cos(angle) + x * dfx)
    return np.maximum(around, 0.25 * max(spectrum.steps)), share


def _exp(estimate: Estimate) -> Estimate:
    with np.errstate(over="ignore"):
        low, high = (float(np.exp(end)) for end in (estimate.low, estimate.high))
    return replace(estimate, value=math.exp(estimate.value), low=low, high=high)
