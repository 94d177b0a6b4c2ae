"""The profile Gaussian filter of ISO 16610-21: a section parted into primary profile, waviness and roughness."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.errors import MapError
from core.filters.gaussian import DIRECT_BELOW, EMPTY, NOTHING, Edges
from core.filters.line import MOST_PADDING, Way, line, padded_length
from core.filters.weights import checked_cutoff, sums_inside
from core.heightmap import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Parted:
    """A set of profiles, parted by wavelength. All arrays have the profiles' shape; NaN where there is no answer.

    Attributes
    ----------
    primary : ndarray
        Without the waves shorter than λs, metres.
    waviness : ndarray
        What of it is longer than λc, metres.
    roughness : ndarray
        What of it is shorter than λc: primary less waviness, metres.
    keep : slice
        The points along the profile that the edge rule keeps.
    """

    primary: FloatArray
    waviness: FloatArray
    roughness: FloatArray
    keep: slice


def profile_low_pass(
    profiles: FloatArray, spacing: float, cutoff: float, *, used: BoolArray | None = None, way: Way | None = None
) -> FloatArray:
    r"""Gaussian low-pass along profiles, by normalised convolution.

    Parameters
    ----------
    profiles : ndarray, shape (..., n)
        Heights, metres, n points along each profile; NaN where missing.
    spacing : float
        Distance of the points, metres.
    cutoff : float
        Wavelength passed at one half, metres.
    used : ndarray of bool, same shape, optional
        False at points that do not count. Missing points never do.
    way : {"direct", "waves"}, optional
        How the sums are formed; by default the quicker one.

    Returns
    -------
    ndarray, same shape
        Metres. NaN where nothing was measured, and where more than half of the weight falls on points that do not
        count. Near the ends the weights are normalised inside the profile.

    Raises
    ------
    QuantityError
        If the cut-off is not positive.

    Notes
    -----
    ISO 16610-21:2011: :math:`s(x) = \exp(-\pi (x / \alpha\lambda)^2) / \alpha\lambda`, sampled to 1.7 cut-offs.

    Examples
    --------
    >>> wave = np.cos(2 * np.pi * np.arange(400) / 40)
    >>> float(profile_low_pass(wave, 1.0, 40.0)[200].round(6))
    0.5
    """
    points = checked_cutoff(cutoff) / spacing
    z = np.asarray(profiles, np.float64)
    rows = np.ascontiguousarray(z.reshape(-1, z.shape[-1]))
    measured = ~np.isnan(rows)
    counts = measured if used is None else measured & used.reshape(rows.shape)
    level = float(np.median(rows[counts])) if counts.any() else 0.0
    filtering = line(rows.shape[1], points, way or _quicker_way(rows.shape[1], points))
    inside = sums_inside(points, rows.shape[1])
    mean, share = np.empty(rows.shape), np.ones(rows.shape)
    filtering.across(np.where(counts, rows - level, 0.0), mean)
    mean /= inside
    if not counts.all():
        filtering.across(counts.astype(np.float64), share)
        share /= inside
        mean /= np.maximum(share, NOTHING)
    mean += level
    mean[~measured | (share < 1 - EMPTY)] = np.nan
    return mean.reshape(z.shape)


def part_profiles(
    profiles: FloatArray,
    spacing: float,
    *,
    shortest: float | None,
    longest: float | None,
    edges: Edges,
    used: BoolArray | None = None,
    way: Way | None = None,
) -> Parted:
    """Part profiles by wavelength: low-pass at λs, then at λc.

    Parameters
    ----------
    profiles : ndarray, shape (..., n)
        Heights, metres; NaN where missing. Level them first: a tilt is a very long wave, and the ends tell.
    spacing : float
        Distance of the points, metres.
    shortest : float or None
        λs, metres; None leaves the short waves in.
    longest : float or None
        λc, metres; None leaves the waviness 0.
    edges : {"cut", "kept"}
        ``"cut"``: half of the longer cut-off is to be left out at either end (`Parted.keep`); ``"kept"``: nothing is.
    used : ndarray of bool, optional
        False at points that do not count. They keep their heights in the primary profile.
    way : {"direct", "waves"}, optional
        How the sums are formed; by default the quicker one.

    Returns
    -------
    Parted

    Raises
    ------
    QuantityError
        If a cut-off is not positive.
    MapError
        If λs is not below λc, or nothing is kept.

    Examples
    --------
    >>> x = np.arange(2000.0)
    >>> profile = np.cos(2 * np.pi * x / 400) + np.cos(2 * np.pi * x / 10)
    >>> parted = part_profiles(profile, 1.0, shortest=None, longest=60.0, edges="cut")
    >>> parted.keep, float(parted.roughness[parted.keep].std().round(3))
    (slice(30, 1970, None), 0.707)
    """
    if edges not in ("cut", "kept"):
        raise MapError(f"Edges are “cut” or “kept”, not {edges!r}")
    if shortest is not None and longest is not None and shortest >= longest:
        raise MapError("The short cut-off λs must lie below the long one λc")
    z = np.asarray(profiles, np.float64)
    primary = z
    if shortest is not None:
        primary = profile_low_pass(z, spacing, shortest, used=used, way=way)
        if used is not None:
            primary = np.where(used, primary, z)
    waviness = np.where(np.isnan(primary), np.nan, 0.0)
    if longest is not None:
        waviness = profile_low_pass(primary, spacing, longest, used=used, way=way)
    margin = math.ceil((longest or shortest or 0.0) / 2 / spacing - 1e-6) if edges == "cut" else 0
    if 2 * margin >= z.shape[-1]:
        raise MapError("Half a cut-off off either end leaves nothing of the profile", fix="Take a longer profile.")
    return Parted(primary, waviness, primary - waviness, slice(margin, z.shape[-1] - margin))


def _quicker_way(points: int, cutoff: float) -> Way:
    long = padded_length(points, cutoff) > MOST_PADDING * points
    return "direct" if cutoff < DIRECT_BELOW or long else "waves"
