"""Stripes of an instrument: mains that wander, fuzz of a feedback loop, fringes of laser light."""

from __future__ import annotations

import math

import numpy as np

from core.errors import MapError
from core.heightmap import FloatArray
from core.synthetic.lattice import Shape, not_negative, positive


def wandering_hum(
    shape: Shape,
    *,
    rms: float,
    frequency: float,
    line_rate: float,
    spread: float,
    memory: float,
    rng: np.random.Generator,
) -> FloatArray:
    """Mains whose frequency wanders while the scan goes on.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    rms : float
        Metres.
    frequency, line_rate : float
        Hz.
    spread : float
        Standard deviation of the frequency, Hz.
    memory : float
        Seconds after which it has forgotten where it was (an Ornstein–Uhlenbeck process).
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    ndarray, shape `shape`
        Metres.

    Examples
    --------
    >>> z = wandering_hum((64, 64), rms=1e-10, frequency=50, line_rate=1, spread=0.02, memory=30,
    ...                   rng=np.random.default_rng(1))
    >>> bool(abs(z.std() / 1e-10 - 1) < 0.05)
    True
    """
    from scipy.signal import lfilter

    rows, columns = shape
    rate, tick = positive(line_rate, "The line rate"), 0.05
    steps = math.ceil(rows / rate / tick) + 2
    kept = math.exp(-tick / positive(memory, "The memory"))
    pushes = rng.standard_normal(steps)
    pushes[1:] *= math.sqrt(1 - kept**2)
    wandered = np.asarray(lfilter([1.0], [1.0, -kept], pushes)) * not_negative(spread, "The spread")
    phase = 2 * math.pi * np.cumsum(positive(frequency, "The frequency") + wandered) * tick
    time = np.arange(rows)[:, None] / rate + (np.arange(columns)[None, :] + 0.5) / (2 * rate * columns)
    seen = np.interp(time, np.arange(steps) * tick, phase) + rng.uniform(0, 2 * math.pi)
    return np.asarray(math.sqrt(2) * not_negative(rms, "The RMS") * np.sin(seen))


def fuzz(shape: Shape, *, rms: float, centre: float, width: float, rng: np.random.Generator) -> FloatArray:
    """A band of noise along the fast axis, unrelated from line to line, as an oscillating feedback loop leaves it.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    rms : float
        Metres; reached exactly.
    centre, width : float
        Middle and standard deviation of its power, cycles per point.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    ndarray, shape `shape`
        Metres.

    Raises
    ------
    MapError
        If the band lies outside 0 to half a cycle per point.

    Examples
    --------
    >>> float(fuzz((8, 32), rms=1e-10, centre=0.25, width=0.03, rng=np.random.default_rng(1)).std().round(13))
    1e-10
    """
    if not 0 < centre < 0.5:
        raise MapError(f"The band lies between 0 and half a cycle per point, not at {centre}")
    rows, columns = shape
    frequency = np.fft.rfftfreq(columns)
    gain = np.exp(-((frequency - centre) ** 2) / (4 * positive(width, "The width") ** 2))
    waves = rng.standard_normal((rows, len(frequency))) + 1j * rng.standard_normal((rows, len(frequency)))
    heights = np.fft.irfft(waves * gain, columns, axis=1)
    return np.asarray(not_negative(rms, "The RMS") * heights / heights.std())


def fringes(shape: Shape, *, rms: float, periods: float, angle: float, phase: float = 0.0) -> FloatArray:
    """One even sine across the map.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    rms : float
        Metres.
    periods : float
        Crests along a whole side, in the direction in which they follow each other.
    angle : float
        Of that direction from the fast axis, degrees.
    phase : float, default 0
        Radians at the first point.

    Returns
    -------
    ndarray, shape `shape`
        Metres.

    Examples
    --------
    >>> fringes((1, 4), rms=1e-9, periods=1, angle=0).round(10).tolist()
    [[0.0, 1.4e-09, 0.0, -1.4e-09]]
    """
    rows, columns = shape
    down, across = math.sin(math.radians(angle)) / rows, math.cos(math.radians(angle)) / columns
    turns = periods * (np.arange(rows)[:, None] * down + np.arange(columns)[None, :] * across)
    return np.asarray(math.sqrt(2) * not_negative(rms, "The RMS") * np.sin(2 * math.pi * turns + phase))
