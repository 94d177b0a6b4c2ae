r"""The probe and the surface: what a tip of finite radius makes of a surface, and how much can be taken back.

A parabola :math:`s^2/2R` stands for the tip's end: it is separable, so that dilation is exact and quick. On texture it
equals a ball; on the flanks of spheres it does not (rms 1.8 nm, simulated for this program), and there the ball, or a
closed form, must be used.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from core.errors import QuantityError
from core.heightmap import BoolArray, FloatArray, HeightMap
from core.relief.eye import noise_of

Tip = Literal["parabola", "ball"]


def dilated(z: FloatArray, pitch: tuple[float, float], radius: float, tip: Tip = "parabola") -> FloatArray:
    r"""The image of a surface: the highest place that the tip can reach down to at each point.

    Parameters
    ----------
    z : ndarray, shape (ny, nx)
        Heights of the surface, metres. NaN touches nothing and stays NaN.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    radius : float
        Of the tip's end, metres.
    tip : {"parabola", "ball"}, default "parabola"
        Its form.

    Returns
    -------
    ndarray, shape (ny, nx)
        :math:`\max_s [z(x+s) - d(s)]`, d the depth of the tip's flank: :math:`s^2/2R`, or :math:`R-\sqrt{R^2-s^2}`.

    Raises
    ------
    QuantityError
        If the radius is not positive.

    Notes
    -----
    Radii add: a paraboloid of apex radius r under a parabola of radius R is imaged with r + R (closed form).
    J. S. Villarrubia, J. Res. Natl. Inst. Stand. Technol. 102 (1997) 425-454, doi:10.6028/jres.102.030 (from memory).

    Examples
    --------
    >>> x = np.arange(-20, 21) * 1e-9
    >>> peak = dilated(np.where(x == 0, 5e-9, 0.0)[None, :], (1e-9, 1e-9), 10e-9)
    >>> bool(np.allclose(peak[0], np.maximum(5e-9 - x**2 / 20e-9, 0), rtol=0, atol=1e-20))
    True
    """
    if not 0 < radius < math.inf:
        raise QuantityError(f"A probe radius is a positive length, not {radius}", fix="Write such as 8 nm.")
    gone = np.isnan(z)
    out = np.where(gone, -np.inf, z)
    out = _by_axes(out, pitch, radius) if tip == "parabola" else _by_ball(out, pitch, radius)
    out[gone] = np.nan
    return out


def eroded(z: FloatArray, pitch: tuple[float, float], radius: float, tip: Tip = "parabola") -> FloatArray:
    r"""The highest surface that an image allows: :math:`\min_s [z(x+s) + d(s)]`. The true one lies on it or below.

    Parameters are those of `dilated`; the surface is the true one wherever the tip touched it.
    """
    return -dilated(-z, pitch, radius, tip)


def certainty(z: FloatArray, pitch: tuple[float, float], radius: float, tolerance: float = 0.0) -> BoolArray:
    """Where the eroded image certainly is the surface: some place of the tip touches it there and nowhere else.

    Parameters
    ----------
    z : ndarray, shape (ny, nx)
        The image, metres.
    pitch, radius
        As in `dilated`; the tip is a parabola.
    tolerance : float, default 0
        Contact is what lies within this of touching, metres; rounding is allowed for on top.

    Returns
    -------
    ndarray of bool, shape (ny, nx)
        Elsewhere the image shows the tip's flank, and the surface below stays unknown.
    """
    surface = eroded(z, pitch, radius)
    image = dilated(surface, pitch, radius)
    slack = tolerance + 1e-12 * _span(z)
    reach = [_reach(surface, radius, step, n) for step, n in zip(pitch, z.shape, strict=True)]
    touches = np.zeros(z.shape, np.int32)
    which = np.zeros(z.shape, np.int64)
    place = np.arange(z.size).reshape(z.shape)
    for dy in range(-reach[0], reach[0] + 1):
        for dx in range(-reach[1], reach[1] + 1):
            depth = ((dy * pitch[0]) ** 2 + (dx * pitch[1]) ** 2) / (2 * radius)
            here, there = _overlap(z.shape, dy, dx)
            with np.errstate(invalid="ignore"):
                contact = surface[there] - depth >= image[here] - slack
            touches[here] += contact
            which[here] = np.where(contact, place[there], which[here])
    known = np.zeros(z.size, bool)
    known[which[touches == 1]] = True
    return known.reshape(z.shape)


def apparent_width(probe_radius: float, particle_radius: float) -> float:
    r"""Width of the base of a sphere's image, :math:`4\sqrt{Rr}`: a sphere on a plane under a ball.

    >>> round(apparent_width(10e-9, 10e-9) * 1e9, 6), round(apparent_width(30e-9, 10e-9) * 1e9, 1)
    (40.0, 69.3)
    """
    return 4 * math.sqrt(probe_radius * particle_radius)


@dataclass(frozen=True, slots=True)
class Tried:
    """What a map says about one probe radius.

    Attributes
    ----------
    radius : float
        Tried, metres.
    unexplained : float
        Share of points that stand above anything such a probe could have drawn by more than four times the noise and
        the sampling, (dy² + dx²)/4R: were the probe as blunt, there would be next to none.
    hidden : float
        Mean of the map less the eroded map, metres: how far, on average, the surface may lie deeper.
    """

    radius: float
    unexplained: float
    hidden: float


def sweep(scan: HeightMap, radii: tuple[float, ...], *, noise: float | None = None) -> tuple[Tried, ...]:
    """The map against several probe radii. A radius that leaves more unexplained than noise does is too large.

    Parameters
    ----------
    scan : HeightMap
        A levelled map.
    radii : tuple of float
        Metres.
    noise : float, optional
        Standard deviation of a point, metres; from differences along the rows by default.
    """
    n = noise_of(scan.z, 4) if noise is None else noise
    return tuple(_tried(scan, radius, n) for radius in radii)


def _tried(scan: HeightMap, radius: float, noise: float) -> Tried:
    surface = eroded(scan.z, scan.pitch, radius)
    above = (scan.z - dilated(surface, scan.pitch, radius))[scan.used]
    # Between pixels a parabola is drawn by its neighbours, up to this much too low.
    sampling = sum(step**2 for step in scan.pitch) / (4 * radius)
    beyond = above > 4 * noise + sampling + 1e-12 * _span(scan.z)
    return Tried(radius, float(np.mean(beyond)), hidden(scan.z, surface))


def hidden(z: FloatArray, surface: FloatArray) -> float:
    """Mean of a map less its erosion, metres: how much too high a particle may be thought to rest, at most."""
    return float(np.nanmean(z - surface))


def sharpest_radius(scan: HeightMap, share: float = 1e-4) -> float:
    r"""Radius of curvature of the sharpest summits: a bound from above on the radius of the probe, metres.

    Parameters
    ----------
    scan : HeightMap
        A levelled map.
    share : float, default 1e-4
        The curvature that this share of the points exceeds, so that single noisy points decide nothing.

    Returns
    -------
    float
        1 over the mean curvature of least-squares paraboloids on 3 × 3 points; infinity on a flat map. Noise N bends
        such a paraboloid by about N/p² in itself: where summits are no sharper than that, this is no news of the probe.
    """
    z = scan.z if scan.complete else np.where(scan.used, scan.z, np.nan)
    dy, dx = scan.pitch
    rows = z[:, :-2] + z[:, 2:] - 2 * z[:, 1:-1]
    lines = z[:-2] + z[2:] - 2 * z[1:-1]
    bent = (rows[:-2] + rows[1:-1] + rows[2:]) / 3 / dx**2 + (lines[:, :-2] + lines[:, 1:-1] + lines[:, 2:]) / 3 / dy**2
    curvature = -bent[np.isfinite(bent)] / 2
    if curvature.size == 0:
        return math.inf
    sharp = float(np.quantile(curvature, 1 - share))
    return 1 / sharp if sharp > 0 else math.inf


def _by_axes(z: FloatArray, pitch: tuple[float, float], radius: float) -> FloatArray:
    for axis, step in enumerate(pitch):
        lines = z if axis == 0 else z.T
        out = lines.copy()
        for s in range(1, _reach(z, radius, step, len(lines)) + 1):
            depth = (s * step) ** 2 / (2 * radius)
            np.maximum(out[s:], lines[:-s] - depth, out=out[s:])
            np.maximum(out[:-s], lines[s:] - depth, out=out[:-s])
        z = out if axis == 0 else np.ascontiguousarray(out.T)
    return z


def _by_ball(z: FloatArray, pitch: tuple[float, float], radius: float) -> FloatArray:
    out = z.copy()
    ny, nx = (min(math.floor(radius / step + 1e-9), n - 1) for step, n in zip(pitch, z.shape, strict=True))
    deepest = _span(z)
    for dy in range(-ny, ny + 1):
        for dx in range(-nx, nx + 1):
            square = radius**2 - (dy * pitch[0]) ** 2 - (dx * pitch[1]) ** 2
            if square < -1e-9 * radius**2:
                continue
            depth = radius - math.sqrt(max(square, 0.0))
            if depth <= deepest:
                here, there = _overlap(z.shape, dy, dx)
                np.maximum(out[here], z[there] - depth, out=out[here])
    return out


def _overlap(shape: tuple[int, ...], dy: int, dx: int) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """The points that have a neighbour (dy, dx) away, and these neighbours."""
    here = (slice(max(0, -dy), shape[0] - max(0, dy)), slice(max(0, -dx), shape[1] - max(0, dx)))
    there = (slice(max(0, dy), shape[0] - max(0, -dy)), slice(max(0, dx), shape[1] - max(0, -dx)))
    return here, there


def _reach(z: FloatArray, radius: float, step: float, points: int) -> int:
    """Points beyond which the tip's flank lies deeper than the whole relief."""
    return min(math.ceil(math.sqrt(2 * radius * _span(z)) / step), points - 1)


def _span(z: FloatArray) -> float:
    finite = z[np.isfinite(z)]
    return float(np.ptp(finite)) if finite.size else 0.0
