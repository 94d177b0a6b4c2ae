"""The S-L surface of ISO 25178-2: short waves off by a low-pass, long ones by the difference to a second low-pass."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.errors import MapError
from core.filters.gaussian import Edges, Smoothed, kept, low_pass
from core.filters.line import blocks
from core.filters.robust import robust_low_pass
from core.heightmap import BoolArray, FloatArray, HeightMap, frozen


@dataclass(frozen=True, slots=True, eq=False)
class Banded:
    """The waves of a band.

    Attributes
    ----------
    z : ndarray, read-only
        Heights of the part that the edge rule keeps, metres; NaN where nothing was measured or too little lies around.
    keep : (slice, slice)
        That part: rows and columns of the map.
    removed_rms, short_rms, long_rms : float
        RMS about its mean of all that was taken off, of the short waves and of the long ones, metres, over the points
        of that part that count; 0 where there was no such filter.
    lost : int
        Points of that part that were measured and are missing now.
    sparse : float
        Share of the measured points of the map whose footprint misses more than 10 % of its weight.
    rounds : int
        Rounds of the robust search; 1 for a linear filter.
    converged : bool
        Whether that search came to rest.
    """

    z: FloatArray
    keep: tuple[slice, slice]
    removed_rms: float
    short_rms: float
    long_rms: float
    lost: int
    sparse: float
    rounds: int = 1
    converged: bool = True


def band_pass(
    scan: HeightMap, shortest: float | None, longest: float | None, *, edges: Edges, robust: bool = False
) -> Banded:
    """The waves between two wavelengths.

    Parameters
    ----------
    scan : HeightMap
        The map, levelled. Missing and masked points have weight 0; masked points keep their heights above the ground.
    shortest, longest : float or None
        S and L nesting index, metres: wavelengths passed at one half. None leaves that side open.
    edges : {"cut", "kept"}
        ``"cut"``: half of the longest wavelength is left out all round, or of the shortest if there is no longest.
    robust : bool, default False
        Whether the long waves are found by robust regression (of order 1) instead of the linear filter.

    Returns
    -------
    Banded

    Raises
    ------
    MapError
        If the shortest is not below the longest wavelength, neither is given, or nothing is kept.
    QuantityError
        If a wavelength is not positive.

    Notes
    -----
    A wave of frequency f keeps ``2^−(Sf)² · (1 − 2^−(Lf)²)`` of its amplitude.

    Examples
    --------
    >>> x = np.arange(300) * np.ones((300, 1))
    >>> scan = HeightMap(np.cos(2 * np.pi * x / 20) + np.cos(2 * np.pi * x / 400), pitch=(1.0, 1.0))
    >>> banded = band_pass(scan, 5.0, 80.0, edges="cut")
    >>> banded.z.shape, round(float(banded.z.std()), 3)
    ((220, 220), 0.678)
    """
    if shortest is None and longest is None:
        raise MapError("A band without limits takes nothing off", fix="Give the shortest or the longest wavelength.")
    if shortest is not None and longest is not None and shortest >= longest:
        raise MapError("A band from a longer to a shorter wavelength is empty", fix="Exchange the two.")
    keep = kept(scan.shape, scan.pitch, longest or shortest or 0.0, edges)
    sparse, rounds, converged = 0.0, 1, True
    short = scan
    if shortest is not None:
        smooth = low_pass(scan, shortest, edges="kept")
        sparse = smooth.sparse
        short = scan.with_(z=_masked_as_they_are(smooth, scan))
    z = short.z[keep]
    if longest is not None:
        ground = robust_low_pass(short, longest, edges="kept") if robust else low_pass(short, longest, edges="kept")
        sparse, rounds, converged = max(sparse, ground.sparse), ground.rounds, ground.converged
        z = z - ground.z[keep]
    before, between = scan.z[keep], short.z[keep]
    counted = None if scan.complete else scan.used[keep] & ~np.isnan(z)
    return Banded(
        z=frozen(z if z.base is None else z.copy()),
        keep=keep,
        removed_rms=_rms_between(before, z, counted),
        short_rms=0.0 if shortest is None else _rms_between(before, between, counted),
        long_rms=0.0 if longest is None else _rms_between(between, z, counted),
        lost=0 if counted is None else int(np.count_nonzero(np.isnan(z) & ~np.isnan(before))),
        sparse=sparse,
        rounds=rounds,
        converged=converged,
    )


def _masked_as_they_are(smooth: Smoothed, scan: HeightMap) -> FloatArray:
    """The smooth surface; masked points are no part of it and stay."""
    return smooth.z if scan.mask is None else np.where(scan.mask, scan.z, smooth.z)


def _rms_between(one: FloatArray, other: FloatArray, counted: BoolArray | None) -> float:
    """RMS of the difference about its mean over the points that count; 0 if there are none.

    Row by row in blocks, so that no further map is made. Means and squares of the blocks join by the formula of the
    variance of two groups, which keeps the digits of a difference that lies far from 0.
    """
    points, mean, squares = 0, 0.0, 0.0
    for rows in blocks(len(one)):
        difference = one[rows] - other[rows]
        part = difference.reshape(-1) if counted is None else difference[counted[rows]]
        if part.size == 0:
            continue
        centre = float(part.mean())
        part -= centre
        together = points + part.size
        squares += float(part @ part) + (centre - mean) ** 2 * points * part.size / together
        mean += (centre - mean) * part.size / together
        points = together
    return math.sqrt(squares / points) if points else 0.0
