"""What an instrument adds to a surface: tilt, bow, noise, row offsets, hum, streaks, missing points."""

from __future__ import annotations

import math

import numpy as np

from core.errors import MapError
from core.heightmap import BoolArray, FloatArray
from core.synthetic.lattice import Pitch, Shape, coordinates, not_negative, positive


def tilt(shape: Shape, pitch: Pitch, *, down: float, across: float) -> FloatArray:
    """A plane.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    down, across : float
        Slopes in the direction of growing rows and columns, metres per metre.

    Returns
    -------
    ndarray, shape `shape`
        Metres, zero in the middle.

    Examples
    --------
    >>> tilt((1, 3), (1e-8, 1e-8), down=0, across=0.1).tolist()
    [[-1e-09, 0.0, 1e-09]]
    """
    y, x = coordinates(shape, pitch)
    return y * down + x * across


def bow(shape: Shape, *, down: float = 0.0, across: float = 0.0) -> FloatArray:
    """The parabola that a bent scanner adds.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    down, across : float, default 0
        Sag along the columns and along the rows: how far the map's outer edges lie above its middle, metres.

    Returns
    -------
    ndarray, shape `shape`
        Metres.

    Notes
    -----
    z = 4 · sag · u², u from −½ to ½. Over N cells its Sq, mean and plane removed, is
    4 · sag · √((N² − 1)(N² − 4)/180)/N², which tends to 0.298 · sag.

    Examples
    --------
    >>> bow((1, 2), across=1e-9).tolist()
    [[2.5e-10, 2.5e-10]]
    """
    v, u = coordinates(shape, (1 / shape[0], 1 / shape[1]))
    return 4 * (down * v**2 + across * u**2)


def white_noise(shape: Shape, *, sq: float, rng: np.random.Generator) -> FloatArray:
    """Independent Gaussian noise of ensemble RMS `sq` (metres) in every point; the closed form is a flat spectrum.

    Raises
    ------
    MapError
        If `sq` is negative.
    """
    return not_negative(sq, "The RMS") * rng.standard_normal(shape)


def row_offsets(shape: Shape, *, sq: float, rng: np.random.Generator) -> FloatArray:
    """One height for each scan line, independent, of ensemble RMS `sq` (metres).

    Raises
    ------
    MapError
        If `sq` is negative.
    """
    offsets = not_negative(sq, "The RMS") * rng.standard_normal(shape[0])
    return np.repeat(offsets[:, None], shape[1], axis=1)


def hum(
    shape: Shape, *, amplitude: float, frequency: float, line_rate: float, duty: float = 1.0, phase: float = 0.0
) -> FloatArray:
    """A steady oscillation in time, as a scan records it line by line.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    amplitude : float
        Half the height from crest to trough, metres; the RMS is ``amplitude / √2``.
    frequency : float
        Hz.
    line_rate : float
        Lines there and back in a second, Hz.
    duty : float, default 1
        Share of the time there in which points are taken; the rest is overscan.
    phase : float, default 0
        Radians at the start of the first line.

    Returns
    -------
    ndarray, shape `shape`
        Metres.

    Raises
    ------
    MapError
        If a frequency is not positive, or `duty` is not above 0 and at most 1.

    Notes
    -----
    Line i starts at i / line_rate, its points are duty / (2 · line_rate · nx) apart: the spectrum along a row peaks at
    frequency · duty / (2 · line_rate) cycles per row (folded where that is more than nx / 2).

    Examples
    --------
    >>> hum((2, 4), amplitude=1e-9, frequency=50, line_rate=1).shape
    (2, 4)
    """
    rate = positive(line_rate, "The line rate")
    if not 0 < duty <= 1:
        raise MapError(f"The duty lies above 0 and is at most 1, not {duty}")
    rows, columns = shape
    start = np.arange(rows)[:, None] / rate
    within = (np.arange(columns)[None, :] + 0.5) * duty / (2 * rate * columns)
    return amplitude * np.sin(2 * math.pi * positive(frequency, "The frequency") * (start + within) + phase)


def streaks(
    shape: Shape, *, share: float, height: float, length: int, rng: np.random.Generator
) -> tuple[FloatArray, BoolArray]:
    """Runs of points along the fast axis that the probe dragged up.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    share : float
        Share of the points covered, 0 to 0.3; reached exactly but for the last run.
    height : float
        Height of every run, metres.
    length : int
        Points in a run; shorter than a row.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    heights : ndarray, shape `shape`
        Metres, zero between the streaks.
    truth : ndarray of bool, shape `shape`
        True where a streak lies. Streaks never lie in neighbouring rows of the same columns.

    Raises
    ------
    MapError
        If the share or the length does not suit the map.
    """
    rows, columns = shape
    if not 0 <= share <= 0.3 or not 1 <= length <= columns:
        raise MapError(f"Streaks cover up to 0.3 of a map and are no longer than a row, not {share} and {length}")
    marked = np.zeros((rows + 2, columns), dtype=bool)  # one spare row above and below
    wanted = math.ceil(share * rows * columns / length)
    for _ in range(1000 * (wanted + 1)):
        if wanted == 0:
            break
        row, column = int(rng.integers(1, rows + 1)), int(rng.integers(0, columns - length + 1))
        if not marked[row - 1 : row + 2, column : column + length].any():
            marked[row, column : column + length] = True
            wanted -= 1
    truth = np.ascontiguousarray(marked[1:-1])
    return np.where(truth, height, 0.0), truth


def missing(heights: FloatArray, *, count: int, rng: np.random.Generator) -> FloatArray:
    """A copy of the heights in which `count` points, drawn without regard to each other, have none (NaN).

    Raises
    ------
    MapError
        If there are fewer points than that.
    """
    if not 0 <= count <= heights.size:
        raise MapError(f"{count} of {heights.size} points cannot be missing")
    holed = np.array(heights, dtype=np.float64)
    holed.reshape(-1)[rng.choice(heights.size, count, replace=False)] = np.nan
    return holed
