"""Gaussian weighted sums along lines of points, in two ways that agree to the last digits.

*Directly*: a band matrix in blocks, so that the processor's fastest routine, the matrix product, does the work. *By
waves*: a transform with zeros behind the line, so that its ends do not meet, and only with the waves that pass. The
first is quicker for short cut-offs, the second for long ones.

Both take the *moments* of the weights too, ``Σ g(k) (k/σ)^p z(i + k)``, which local polynomial fits are made of.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from core.filters.weights import REACH, SIGMA, highest_frequency, kernel
from core.heightmap import FloatArray

BLOCK = 64
"""Points of a block. Measured best: the block of the band matrix stays in the cache, and little of it is zero."""

MOST_PADDING = 8
"""The waves are not used where their zeros would make a line this many times longer."""

Way = Literal["direct", "waves"]
ComplexArray = NDArray[np.complex128]


class Line(Protocol):
    """Weighted sums along lines of so many points."""

    def down(self, values: FloatArray, out: FloatArray) -> None:
        """Sums along the columns of `values`, shape (points, n)."""

    def across(self, values: FloatArray, out: FloatArray) -> None:
        """Sums along the rows of `values`, shape (n, points)."""


class DirectLine:
    """Band matrix of the weights, for lines of `points` points and a cut-off in points; `power` as above."""

    def __init__(self, points: int, cutoff: float, power: int = 0) -> None:
        self.points = points
        g = kernel(cutoff, points - 1)
        self.half = half = len(g) - 1
        distance = np.arange(BLOCK + 2 * half) - half - np.arange(BLOCK)[:, None]
        band = np.where(abs(distance) <= half, g[np.minimum(abs(distance), half)], 0.0)
        if power:
            band *= (distance / (SIGMA * cutoff)) ** power
        self._band = band
        self._turned = np.ascontiguousarray(band.T)

    def down(self, values: FloatArray, out: FloatArray) -> None:
        for rows, needed, part in self.blocks():
            self.down_block(rows, part, values[needed], out[rows])

    def across(self, values: FloatArray, out: FloatArray) -> None:
        for rows in blocks(len(values)):
            block, made = values[rows], out[rows]
            for columns, needed, part in self.blocks():
                turned = self._turned[part, : columns.stop - columns.start]
                np.matmul(block[:, needed], turned, out=made[:, columns])

    def down_block(self, rows: slice, part: slice, needed: FloatArray, out: FloatArray) -> None:
        """Sums for one of the `blocks`, from the rows it needs."""
        np.matmul(self._band[: rows.stop - rows.start, part], needed, out=out)

    def blocks(self) -> list[tuple[slice, slice, slice]]:
        """Points that are computed, points that they need, and the part of the band that joins them."""
        found = []
        for made in blocks(self.points):
            begin = made.start - self.half
            low, high = max(0, begin), min(self.points, made.stop + self.half)
            found.append((made, slice(low, high), slice(low - begin, high - begin)))
        return found


class WaveLine:
    """The same by transform.

    Attributes
    ----------
    padded : int
        Length with the zeros: as long as the weights reach.
    waves : int
        Number of waves that pass, out of ``padded // 2 + 1``.
    transfer : ndarray, shape (padded // 2 + 1,)
        What becomes of each wave: the transform of the *sampled* weights. Sampling the transform of the continuous
        ones instead is wrong by up to 2 % at a cut-off of 4 points.
    """

    def __init__(self, points: int, cutoff: float, power: int = 0) -> None:
        self.points = points
        self.padded = padded_length(points, cutoff)
        highest = highest_frequency(cutoff) * self.padded
        self.waves = min(self.padded // 2 + 1, math.floor(highest) + 1 + power)
        self.transfer = _transfer(self.padded, cutoff, power)

    def into(self, values: FloatArray, out: ComplexArray) -> None:
        """The waves that pass, weakened, of each row of `values`."""
        from scipy import fft

        waves = fft.rfft(values, self.padded, axis=1)
        np.multiply(waves[:, : self.waves], self.transfer[: self.waves], out=out)

    def back(self, waves: ComplexArray, out: FloatArray) -> None:
        """The rows that these waves make."""
        from scipy import fft

        out[:] = fft.irfft(waves, self.padded, axis=1)[:, : self.points]

    def both_ways(self, waves: ComplexArray) -> ComplexArray:
        """Complex columns filtered; `waves`, shape (padded, n), is zero behind the last point and is overwritten."""
        from scipy import fft

        whole = fft.fft(waves, axis=0, overwrite_x=True)
        half = len(self.transfer)
        whole[:half] *= self.transfer[:, None]
        whole[half:] *= self.transfer[1 : self.padded - half + 1][::-1, None].conj()
        return np.asarray(fft.ifft(whole, axis=0, overwrite_x=True))[: self.points]

    def across(self, values: FloatArray, out: FloatArray) -> None:
        for rows in blocks(len(values)):
            waves = np.empty((rows.stop - rows.start, self.waves), np.complex128)
            self.into(values[rows], waves)
            self.back(waves, out[rows])

    def down(self, values: FloatArray, out: FloatArray) -> None:
        from scipy import fft

        for columns in blocks(values.shape[1]):
            waves = fft.rfft(values[:, columns], self.padded, axis=0)[: self.waves]
            waves *= self.transfer[: self.waves, None]
            out[:, columns] = fft.irfft(waves, self.padded, axis=0)[: self.points]


def line(points: int, cutoff: float, way: Way, power: int = 0) -> Line:
    """The weighted sums along lines of `points` points, in the way asked for."""
    return DirectLine(points, cutoff, power) if way == "direct" else WaveLine(points, cutoff, power)


def blocks(count: int) -> Iterator[slice]:
    """So many rows, a block at a time.

    >>> list(blocks(100))
    [slice(0, 64, None), slice(64, 100, None)]
    """
    return (slice(start, min(start + BLOCK, count)) for start in range(0, count, BLOCK))


@lru_cache(maxsize=256)
def padded_length(points: int, cutoff: float) -> int:
    """Length of a line with the zeros that keep its ends apart."""
    from scipy.fft import next_fast_len

    return int(next_fast_len(points + math.ceil(REACH * cutoff), real=True))


def _transfer(padded: int, cutoff: float, power: int) -> ComplexArray:
    half = math.floor(REACH * cutoff)
    g, k = kernel(cutoff, half), np.arange(-half, half + 1)
    weights = np.concatenate([g[:0:-1], g]) * (k / (SIGMA * cutoff)) ** power
    wrapped = np.zeros(padded)
    np.add.at(wrapped, -k % padded, weights)  # of a support longer than the line, what wraps meets only zeros
    return np.asarray(np.fft.rfft(wrapped))
