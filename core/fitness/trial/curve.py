r"""The recall curve and the diameter at which it reaches 95 %, with its interval."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.heightmap import FloatArray

WANTED = 0.95
DRAWS = 100
PLATEAU = 0.80
"""A plateau below this is no plateau but a curve that has not risen yet."""


@dataclass(frozen=True, slots=True)
class Curve:
    r"""Recall by diameter, :math:`A\,\Phi((d-\mu)/s)`.

    Attributes
    ----------
    plateau, middle, width : float
        A, μ and s; metres.
    """

    plateau: float
    middle: float
    width: float

    def reaches(self, wanted: float = WANTED) -> float | None:
        """The diameter of this recall, metres; None when the plateau lies below it."""
        from scipy.special import ndtri

        if self.plateau <= wanted:
            return None
        return float(self.middle + self.width * ndtri(wanted / self.plateau))

    def at(self, diameter: float) -> float:
        """Recall at a diameter."""
        from scipy.special import ndtr

        return float(self.plateau * ndtr((diameter - self.middle) / self.width))


def fitted(diameters: FloatArray, dropped: FloatArray, found: FloatArray, near: Curve | None = None) -> Curve:
    """The curve by maximum likelihood (binomial), its plateau free.

    Without a plateau the freedom costs nothing; with one of 0.98 a curve that must reach 1 is wrong by 0.6 nm in 12
    (simulated for this program).

    Parameters
    ----------
    diameters, dropped, found : ndarray, shape (n,)
        Metres; numbers of spheres.
    near : Curve, optional
        A curve to begin from, where one is known; several beginnings are tried otherwise.

    Examples
    --------
    >>> d = np.linspace(6e-9, 13e-9, 6)
    >>> from scipy.special import ndtr
    >>> curve = fitted(d, np.full(6, 400.0), 400 * ndtr((d - 8.6e-9) / 2e-9))
    >>> round(curve.reaches() * 1e9, 1)
    11.9
    """
    from scipy.optimize import minimize
    from scipy.special import expit, log_ndtr, ndtr, xlog1py

    scale = float(diameters.max())
    x = diameters / scale
    share = found / np.maximum(dropped, 1)
    half = float(np.interp(0.5 * share.max(), np.maximum.accumulate(share), x))

    def loss(p: FloatArray) -> float:
        # The width is a logarithm and the plateau a logistic, so that neither can leave its range.
        u = (x - p[0]) * math.exp(-p[1])
        a = PLATEAU + (1 - PLATEAU) * expit(p[2])
        recall = a * ndtr(u)
        hit = found * (math.log(a) + log_ndtr(u))
        return -float(np.sum(hit + xlog1py(dropped - found, -np.minimum(recall, 1 - 1e-12))))

    starts = [(half, math.log(width), plateau) for width in (0.05, 0.2) for plateau in (4.0, 1.0)]
    fine = 1e-4
    if near is not None:
        fine = 1e-3  # of the largest diameter, and of the log-likelihood: far below the scatter of draws
        starts = [(near.middle / scale, math.log(near.width / scale), 2.0)]
    tried = [
        minimize(loss, np.array(start), method="Nelder-Mead", options={"xatol": fine, "fatol": fine, "maxiter": 600})
        for start in starts
    ]
    best = min(tried, key=lambda one: float(one.fun))
    middle, log_width, logit = (float(value) for value in best.x)
    return Curve(float(PLATEAU + (1 - PLATEAU) * expit(logit)), middle * scale, math.exp(log_width) * scale)


def interval(
    diameters: FloatArray, dropped: FloatArray, found: FloatArray, rng: np.random.Generator
) -> tuple[float | None, float | None]:
    """95 % interval of the diameter that reaches 95 %, by resampling.

    Parameters
    ----------
    diameters : ndarray, shape (n,)
        Metres.
    dropped, found : ndarray, shape (maps, n)
        By map and diameter. With three maps or more, maps are drawn with replacement as well: maps scatter by more than
        the spheres on each do.
    rng : numpy.random.Generator
        For the draws.

    Returns
    -------
    (float or None, float or None)
        None where more than one draw in forty never reaches it.
    """
    maps = len(dropped)
    whole = fitted(diameters, dropped.sum(axis=0), found.sum(axis=0))
    reached = []
    for _ in range(DRAWS):
        pick = rng.integers(0, maps, maps) if maps >= 3 else np.arange(maps)
        n, k = dropped[pick].sum(axis=0), found[pick].sum(axis=0)
        drawn = rng.binomial(n.astype(int), np.clip((k + 0.5) / (n + 1), 0, 1)).astype(np.float64)
        reached.append(fitted(diameters, n, drawn, near=whole).reaches())
    ends = np.quantile(np.array([math.inf if d is None else d for d in reached]), (0.025, 0.975), method="nearest")
    low, high = (float(end) if math.isfinite(end) else None for end in ends)
    return low, high


def all_seen(dropped: Sequence[int], found: Sequence[int]) -> float:
    """The highest recall over the curve that its data allow: the largest exact upper limit."""
    return max((binomial(k, n)[1] for n, k in zip(dropped, found, strict=True) if n), default=0.0)


def binomial(found: int, dropped: int, level: float = 0.95) -> tuple[float, float]:
    """Exact (Clopper-Pearson) interval of a share.

    >>> [round(end, 3) for end in binomial(95, 100)]
    [0.887, 0.984]
    """
    from scipy.special import betaincinv

    tail = (1 - level) / 2
    low = 0.0 if found == 0 else float(betaincinv(found, dropped - found + 1, tail))
    high = 1.0 if found == dropped else float(betaincinv(found + 1, dropped - found, 1 - tail))
    return low, high
