"""Profile elements: a peak and the valley beside it, told apart from ripples by their height."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from core.heightmap import FloatArray


def element_widths(heights: FloatArray, least: float) -> FloatArray:
    """Widths of the whole profile elements of one profile, in points.

    Parameters
    ----------
    heights : ndarray, shape (n,)
        Heights from the reference line, metres; NaN where missing.
    least : float
        Height that a peak, and depth that a valley, must reach, metres.

    Returns
    -------
    ndarray
        Widths in points: from each rise through the reference line to the next, and from each fall to the next. Empty
        when the profile holds no whole element.

    Notes
    -----
    Crossing-the-line segmentation with hysteresis: a peak begins where the profile reaches `least`, a valley where it
    reaches −`least`; between the two lies one crossing, or several of which the middle of the first and the last is
    taken. Crossings are interpolated linearly. Elements with a gap in them do not count. The half elements at either
    end do not count (ISO 21920-2:2021, from memory).

    Examples
    --------
    >>> wave = np.sin(2 * np.pi * np.arange(200) / 40 + 0.1)
    >>> element_widths(wave, 0.1).round(6).tolist()
    [40.0, 40.0, 40.0, 40.0, 40.0, 40.0, 40.0]
    """
    with np.errstate(invalid="ignore"):
        state = (heights >= least).astype(np.int8) - (heights <= -least)
    reached = np.flatnonzero(state)
    turns = np.flatnonzero(state[reached[:-1]] != state[reached[1:]]) if reached.size else reached
    before, after = reached[turns], reached[turns + 1]
    gaps = np.concatenate([[0], np.cumsum(np.isnan(heights))])
    whole = gaps[after + 1] == gaps[before]
    before, after = before[whole], after[whole]
    crossing = _crossings(heights, before, after)
    rises = state[before] < 0
    return np.concatenate([_distances(crossing[rises], gaps), _distances(crossing[~rises], gaps)])


def _crossings(heights: FloatArray, before: NDArray[np.intp], after: NDArray[np.intp]) -> FloatArray:
    """Place of the crossing between points on either side of the line: the middle of the first and the last."""
    above = heights >= 0
    at = np.flatnonzero(above[:-1] != above[1:])
    place = at + heights[at] / (heights[at] - heights[at + 1])
    first = np.searchsorted(at, before)
    last = np.searchsorted(at, after) - 1
    return np.asarray((place[first] + place[last]) / 2)


def _distances(places: FloatArray, gaps: NDArray[np.int64]) -> FloatArray:
    """Distances of places that follow each other without a gap between them."""
    start, end = np.floor(places[:-1]).astype(int), np.ceil(places[1:]).astype(int)
    return np.asarray(np.diff(places)[gaps[end + 1] == gaps[start]])
