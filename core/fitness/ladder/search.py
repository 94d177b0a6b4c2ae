"""The search: which step heights turn the whole map into one pure tone.

The phasor exp(2πi z/h) is blind to whole steps of h. On a ladder of terraces under a common tilt it is a plane wave,
under a common bow a chirp, whatever the terraces look like; no terrace has to be found first.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from core.fitness.ladder.ground import Ground
from core.heightmap import FloatArray

LOWEST, HIGHEST, GRID = 0.105e-9, 1.7e-9, 1.04
"""Step heights that are tried, metres, and the ratio from one to the next."""

BLOCK = 4
"""Points that are averaged before the transform."""

CHIRP = 0.6
"""Bow that is tried, cycles at the edge: none and either sign, for x², xy and y²."""

CLIMBS = 1
"""Chirps whose peak is climbed to its top."""

CLIMB_ROUNDS = 6

CANDIDATES = 6
"""Peaks over h that are followed up, by prominence."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A step height that may be one.

    Attributes
    ----------
    step : float
        Metres.
    resultant : float
        Length of the mean phasor, 0 to 1.
    surface : tuple of float
        The common surface in steps, on 1, x, y, x², xy, y² with x and y from −1 to 1; its level is not known yet.
    window : int
        Median window that was used.
    """

    step: float
    resultant: float
    surface: tuple[float, ...]
    window: int


def candidates(ground: Ground, slope: FloatArray | None) -> list[Candidate]:
    """Candidates of one route.

    Parameters
    ----------
    ground : Ground
    slope : ndarray or None
        A surface to take off first, metres: the other route.
    """
    ny, nx = (n // BLOCK for n in ground.shape)
    y, x = (-1 + (np.arange(n) + 0.5) * 2 / n for n in (ny, nx))
    bows = list(itertools.product((0.0, CHIRP, -CHIRP), repeat=3))
    chirps = np.array(
        [np.exp(-2j * np.pi * (a * x[None, :] ** 2 + b * x * y[:, None] + c * y[:, None] ** 2)) for a, b, c in bows],
        dtype=np.complex64,
    )
    weight = _blocks(ground.used.astype(np.complex64))
    share = float(np.abs(weight).mean())
    gx, gy = np.broadcast_arrays(x[None, :], y[:, None])
    terms = np.stack([gx, gy, gx**2, gx * gy, gy**2]).reshape(5, -1)
    tried: list[Candidate] = []
    step = LOWEST
    while step <= HIGHEST:
        window = ground.window(step)
        if window is not None:
            heights = ground.median(window) if slope is None else ground.median(window) - slope
            # single precision: a hundred turns are still known to a millionth
            tone = _blocks(_phasor((2 * np.pi / step * heights).astype(np.float32)) * ground.used)
            power = np.abs(_transform(chirps * tone)).reshape(len(bows), -1)
            places = power.argmax(axis=1)
            found = []
            for bow in np.argsort(power.max(axis=1))[::-1][:CLIMBS]:
                row, column = divmod(int(places[bow]), nx)
                a, b, c = bows[int(bow)]
                start = np.array([_signed(column, nx) / 2, _signed(row, ny) / 2, a, b, c])
                found.append(_climbed(tone.ravel(), terms, start))
            height, surface = max(found, key=lambda pair: pair[0])
            tried.append(Candidate(step, height / (ny * nx * share), (0.0, *surface), window))
        step *= GRID
    return _prominent(tried)


def _climbed(tone: NDArray[np.complex64], terms: FloatArray, start: FloatArray) -> tuple[float, tuple[float, ...]]:
    """The top near a bin of the transform, by Gauss and Newton on the phase: between bins up to 60 % are lost."""
    surface, best, height = start, start, 0.0
    for _ in range(CLIMB_ROUNDS):
        turned = tone * _phasor((-2 * np.pi * (surface @ terms)).astype(np.float32))
        total = complex(turned.sum())
        if abs(total) <= height:
            break
        best, height = surface, abs(total)
        turned = turned * (total.conjugate() / abs(total))
        weight = np.maximum(turned.real, 0.0)
        mean = (terms @ weight) / max(float(weight.sum()), 1e-300)
        centred = terms - mean[:, None]
        normal = (centred * weight) @ centred.T
        surface = surface + np.linalg.solve(normal + 1e-9 * np.trace(normal) * np.eye(5), centred @ turned.imag) / (
            2 * np.pi
        )
    return height, tuple(float(value) for value in best)


def _phasor(angle: NDArray[np.float32]) -> NDArray[np.complex64]:
    turned = np.empty(angle.shape, np.complex64)
    np.cos(angle, out=turned.real)
    np.sin(angle, out=turned.imag)
    return turned


def _transform(tones: NDArray[np.complex64]) -> NDArray[np.complex64]:
    from scipy import fft

    return np.asarray(fft.fft2(tones))


def _blocks(values: NDArray[np.complex64]) -> NDArray[np.complex64]:
    ny, nx = (n // BLOCK for n in values.shape)
    return np.asarray(values[: ny * BLOCK, : nx * BLOCK].reshape(ny, BLOCK, nx, BLOCK).mean(axis=(1, 3)))


def _signed(index: int, n: int) -> int:
    return index if index <= n // 2 else index - n


def _prominent(tried: list[Candidate]) -> list[Candidate]:
    from scipy.signal import find_peaks

    if len(tried) < 3:
        return tried
    heights = np.array([one.resultant for one in tried])
    # ends count as peaks, too
    padded = np.concatenate([[0.0], heights, [0.0]])
    peaks, properties = find_peaks(padded, prominence=0.0)
    order = np.argsort(properties["prominences"])[::-1][:CANDIDATES]
    return [tried[int(peaks[k]) - 1] for k in order]
