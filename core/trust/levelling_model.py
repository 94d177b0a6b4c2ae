r"""What levelling takes off a random texture, and what a levelled map still tells of it: the table behind the meter.

A texture with the covariance K loses :math:`\sum_q \varphi_q^T K \varphi_q / n` of its Sq² to the orthonormal terms φ
that are fitted and taken off. What remains has the covariance (I − P) K (I − P): its autocorrelation falls sooner than
that of the texture, so the length seen on a levelled map is too short and would let the loss look small. Here the
autocorrelation *after* levelling is computed for textures of many lengths, with a Gaussian and with an exponential
decay; the meter looks a measured one up.

A Gaussian kernel is a product of one kernel down and one across, so everything follows from matrices of one axis. The
exponential one is a sum of Gaussian ones of all lengths:

.. math:: e^{-r/T} = \int \frac{dx}{\sqrt\pi}\, \exp\!\left(x - \tfrac14 e^{2x}\right) e^{-r^2/(T e^x)^2}.

References
----------
D. Nečas, P. Klapetek, M. Valtr, Sci. Rep. 10 (2020) 15294, doi:10.1038/s41598-020-72171-8: the bias itself. The look-up
from the levelled map was measured for this program.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from core.heightmap import FloatArray, frozen
from core.polynomials.basis import orthonormal

POINTS = 128
"""Points of the axis on which the model is computed."""

GRID = math.log(10) / 12
"""Step of the logarithm of the lengths: twelve to the decade."""

SHORTEST, LONGEST = 1 / 500, 3.0
"""Texture lengths in the table, in sides."""

FLATTEST = 11
"""Most that a texture is longer on one axis than on the other, logarithm in steps of `GRID`: eight times."""

MIXTURE = (-6.0, 2.0)
"""Logarithms of the Gaussian lengths, in T, that the exponential is made of; what lies below is all of it noise."""

SHAPE_AT = 0.4
"""Share of the 1/e length at which the shape of the decay is read: 0.85 if Gaussian, 0.67 if exponential."""

GAUSSIAN, EXPONENTIAL = math.exp(-(SHAPE_AT**2)), math.exp(-SHAPE_AT)


@dataclass(frozen=True, slots=True)
class Removed:
    """The terms that were taken off.

    Attributes
    ----------
    along : int
        Degree of the polynomial of each row: 0 an offset, −1 none.
    surface : int
        Total degree of the polynomial surface: 1 a plane, 0 the mean, −1 none.
    """

    along: int = -1
    surface: int = -1

    @property
    def degree(self) -> int:
        """The highest order along the rows."""
        return max(self.along, self.surface)

    def orders_down(self, j: int) -> int | None:
        """How many orders down are taken off together with the order `j` along the rows; None for all."""
        return None if j <= self.along else max(0, self.surface - j + 1)

    @property
    def terms(self) -> int:
        """Terms of a surface, or terms for each row."""
        return self.along + 1 if self.along >= 0 else (self.surface + 1) * (self.surface + 2) // 2

    def joined(self, other: Removed) -> Removed:
        """Both taken off."""
        return Removed(max(self.along, other.along), max(self.surface, other.surface))


@dataclass(frozen=True, slots=True, eq=False)
class Law:
    """One decay: by texture length, what a levelled map shows and what it lost.

    Attributes
    ----------
    length : ndarray, shape (k,)
        T over the side along the rows, rising.
    apparent : ndarray, shape (k,)
        1/e length of the autocorrelation along the levelled rows, over the side; rising.
    shape : ndarray, shape (k,)
        Its value at `SHAPE_AT` of that length.
    loss : ndarray, shape (k,)
        Share of Sq² taken off.
    """

    length: FloatArray
    apparent: FloatArray
    shape: FloatArray
    loss: FloatArray


@dataclass(frozen=True, slots=True)
class Found:
    """What the table says of a levelled map.

    Attributes
    ----------
    length : float
        T over the side along the rows.
    loss : float
        Share of Sq² taken off.
    gaussian : float
        Where the shape of the decay lies: 0 exponential, 1 Gaussian.
    beyond : bool
        Whether the apparent length lies at the end of what levelled maps can show: the loss is at least this.
    """

    length: float
    loss: float
    gaussian: float
    beyond: bool


def loss(removed: Removed, length: float, *, gaussian: bool = True, aspect: float = 1.0) -> float:
    """Share of Sq² that levelling takes off a texture.

    Parameters
    ----------
    removed : Removed
        The terms.
    length : float
        1/e length T of the autocorrelation over the side along the rows.
    gaussian : bool, default True
        exp(−r²/T²); False for exp(−r/T).
    aspect : float, default 1
        T over the side down, divided by `length`; 1 for an isotropic texture on a square map.

    Returns
    -------
    float
        Share of the ensemble Sq², 0 to 1.

    Examples
    --------
    >>> [round(100 * (1 - math.sqrt(1 - loss(Removed(along=j), 1 / 10))), 1) for j in range(4)]
    [8.7, 17.2, 25.4, 33.1]
    """
    lengths, weights = _kernels(length, gaussian)
    across = _powers(lengths, max(removed.degree, 0))
    down = _powers(lengths * aspect, max(removed.surface, 0))
    return float(weights @ _lost(removed, across, down))


def look_up(removed: Removed, apparent: float, shape: float, *, aspect: float = 1.0) -> Found:
    """The texture and its loss from what a levelled map shows.

    Parameters
    ----------
    removed : Removed
        The terms that were taken off.
    apparent : float
        1/e length of the autocorrelation along the levelled rows, over the side.
    shape : float
        Value of the autocorrelation at `SHAPE_AT` of that length.
    aspect : float, default 1
        As in `loss`; rounded to the grid of lengths.

    Returns
    -------
    Found
        Between the Gaussian and the exponential law by the shape, never outside of both.
    """
    gauss, exponential = table(removed, round(math.log(aspect) / GRID))
    at = [np.interp(apparent, law.apparent, column) for law in (gauss, exponential)
          for column in (law.length, law.shape, law.loss)]  # fmt: skip
    (length_g, shape_g, loss_g), (length_e, shape_e, loss_e) = at[:3], at[3:]
    share = min(1.0, max(0.0, (shape - shape_e) / max(shape_g - shape_e, 1e-9)))
    most = exponential.apparent[-1] + share * (gauss.apparent[-1] - exponential.apparent[-1])
    return Found(
        length=float(length_e + share * (length_g - length_e)),
        loss=float(loss_e + share * (loss_g - loss_e)),
        gaussian=float(share),
        beyond=bool(apparent > 0.75 * most),
    )


@lru_cache(maxsize=128)
def table(removed: Removed, shift: int = 0) -> tuple[Law, Law]:
    """The Gaussian and the exponential law; `shift` is the logarithm of the aspect in steps of `GRID`."""
    steps = range(round(math.log(SHORTEST) / GRID), round(math.log(LONGEST) / GRID) + 1)
    lowest = steps.start + math.floor(MIXTURE[0] / GRID)
    axis = _axis(removed.degree, lowest - FLATTEST, steps.stop + math.ceil(MIXTURE[1] / GRID) + FLATTEST)
    here = slice(FLATTEST, len(axis.powers) - FLATTEST)
    shift = min(FLATTEST, max(-FLATTEST, shift))
    across, down = axis.powers[here], axis.powers[here.start + shift : here.stop + shift]
    lost, missing = _lost(removed, across, down), _missing(removed, axis, here, down)
    offsets, weights = _mixture()
    laws = []
    for parts in (((0, 1.0),), tuple(zip(offsets.astype(int).tolist(), weights.tolist(), strict=True))):
        rows = []
        for step in steps:
            at = [step + offset - lowest for offset, _ in parts]
            share = np.array([weight for _, weight in parts])
            length = math.exp(GRID * step)
            rows.append((length, *_apparent(length, len(parts) == 1, share @ missing[at]), float(share @ lost[at])))
        columns = np.array(rows).T
        known = int(np.argmax(columns[1])) + 1  # beyond, levelling makes all textures look alike
        laws.append(Law(*(frozen(np.maximum.accumulate(c[:known]) if n == 1 else c[:known].copy())
                          for n, c in enumerate(columns))))  # fmt: skip
    return laws[0], laws[1]


def _kernels(length: float, gaussian: bool) -> tuple[FloatArray, FloatArray]:
    """Lengths and weights of the Gaussian kernels that make up a decay."""
    if gaussian:
        return np.array([length]), np.ones(1)
    offsets, weights = _mixture()
    return length * np.exp(GRID * offsets), weights


@lru_cache(maxsize=1)
def _mixture() -> tuple[FloatArray, FloatArray]:
    """Gaussian lengths, as steps of `GRID` from T, and weights of the exponential decay; the weights sum to 1."""
    offsets = np.arange(math.floor(MIXTURE[0] / GRID), math.ceil(MIXTURE[1] / GRID) + 1.0)
    x = GRID * offsets
    weights = GRID / math.sqrt(math.pi) * np.exp(x - np.exp(2 * x) / 4)
    weights[0] += 1 - weights.sum()
    return offsets, weights


def _rows(lengths: FloatArray) -> FloatArray:
    """First row of the kernel of each length. Its value at no lag is set so that the row sums are the integrals: a
    kernel finer than the points would otherwise weigh too much."""
    lags = np.arange(POINTS) / POINTS
    rows = np.exp(-((lags / lengths[:, None]) ** 2))
    fine = lengths < 2 / POINTS
    rows[fine, 0] = math.sqrt(math.pi) * lengths[fine] * POINTS - 2 * rows[fine, 1:].sum(axis=1)
    return np.asarray(rows)


def _smoothed(lengths: FloatArray, degree: int) -> tuple[FloatArray, FloatArray]:
    """The polynomials, mean square 1, shape (n, d); and the kernels applied to them over n, shape (k, n, d)."""
    basis = orthonormal(POINTS, degree)
    lag = np.abs(np.subtract.outer(np.arange(POINTS), np.arange(POINTS)))
    return basis, np.stack([row[lag] @ basis for row in _rows(lengths)]) / POINTS


def _powers(lengths: FloatArray, degree: int) -> FloatArray:
    """Share of the variance along one axis between each two polynomials, shape (k, d, d)."""
    basis, smoothed = _smoothed(lengths, degree)
    return np.asarray(np.einsum("ni,knj->kij", basis, smoothed) / POINTS)


def _down(removed: Removed, down: FloatArray, j: int, other: int) -> FloatArray:
    """Share down of the terms that both orders along take off, shape (k,)."""
    counts = [count for count in (removed.orders_down(j), removed.orders_down(other)) if count is not None]
    if not counts:
        return np.ones(len(down))
    return np.asarray(np.einsum("kii->ki", down)[:, : min(counts)].sum(axis=1))


def _lost(removed: Removed, across: FloatArray, down: FloatArray) -> FloatArray:
    """Share of Sq² taken off, shape (k,)."""
    total = np.zeros(len(across))
    for j in range(removed.degree + 1):
        total += across[:, j, j] * _down(removed, down, j, j)
    return total


@dataclass(frozen=True, slots=True, eq=False)
class _Axis:
    """One axis under Gaussian kernels of all lengths on the grid: what does not depend on the other axis.

    Attributes
    ----------
    powers : ndarray, shape (k, d, d)
        As of `_powers`.
    moved : ndarray, shape (k, d, n)
        Each polynomial against itself after the kernel, by lag.
    both : ndarray, shape (d, d, n)
        Each polynomial against each other, by lag.
    """

    powers: FloatArray
    moved: FloatArray
    both: FloatArray


@lru_cache(maxsize=8)
def _axis(degree: int, first: int, end: int) -> _Axis:
    basis, smoothed = _smoothed(np.exp(GRID * np.arange(first, end)), degree)
    orders = range(degree + 1)
    return _Axis(
        powers=np.einsum("ni,knj->kij", basis, smoothed) / POINTS,
        moved=np.stack([_lagged(basis[:, j], smoothed[:, :, j]) for j in orders], axis=1),
        both=np.stack([_lagged(basis[:, j], basis.T) / 2 for j in orders]),
    )


def _missing(removed: Removed, axis: _Axis, here: slice, down: FloatArray) -> FloatArray:
    """What the autocovariance along the rows lacks at each lag, sums over the overlap divided by n, shape (k, n)."""
    across = axis.powers[here]
    out = np.zeros((len(across), POINTS))
    for j in range(removed.degree + 1):
        out += _down(removed, down, j, j)[:, None] * axis.moved[here, j]
        for other in range(removed.degree + 1):
            out -= (_down(removed, down, j, other) * across[:, j, other])[:, None] * axis.both[j, other]
    return out


def _lagged(first: FloatArray, second: FloatArray) -> FloatArray:
    """Mean over n of first_i second_{i+k} and of second_i first_{i+k}, summed; shape (len(second), n) for k ≥ 0."""
    size = 2 * POINTS
    a, b = np.fft.rfft(first, size), np.fft.rfft(second, size)
    return np.asarray(np.fft.irfft(2 * (a.conj() * b).real, size)[:, :POINTS] / POINTS)


def _apparent(length: float, gaussian: bool, missing: FloatArray) -> tuple[float, float]:
    """1/e length of a levelled autocorrelation and its value at `SHAPE_AT` of it."""
    lags = np.linspace(0.0, min(0.9, 3 * length), 301)
    u = lags / length
    whole = np.exp(-(u**2)) if gaussian else np.exp(-u)
    left = whole - np.interp(lags, np.arange(POINTS) / POINTS, missing) / (1 - lags)
    return decay_length(lags, left / left[0])


def decay_length(lags: FloatArray, correlation: FloatArray) -> tuple[float, float]:
    """1/e length of an autocorrelation, and its value at `SHAPE_AT` of it; NaN where it does not fall so far.

    >>> lags = np.linspace(0, 5, 2001)
    >>> [round(value, 3) for value in decay_length(lags, np.exp(-lags))]
    [1.0, 0.67]
    """
    below = np.flatnonzero(correlation < 1 / math.e)
    if not below.size:
        return math.nan, math.nan
    k = int(below[0])
    share = (correlation[k - 1] - 1 / math.e) / (correlation[k - 1] - correlation[k])
    length = float(lags[k - 1] + share * (lags[k] - lags[k - 1]))
    return length, float(np.interp(SHAPE_AT * length, lags, correlation))
