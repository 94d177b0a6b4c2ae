r"""The image of a map with spheres on it: the greater of the measured map and the image of each sphere."""

from __future__ import annotations

import math

import numpy as np

from core.heightmap import FloatArray


def imaged(
    z: FloatArray,
    places: FloatArray,
    centres: FloatArray,
    radii: FloatArray,
    *,
    probe_radius: float,
    pitch: tuple[float, float],
    noise: float,
    rng: np.random.Generator,
) -> FloatArray:
    r"""The map with spheres on it, as the probe would draw it.

    Parameters
    ----------
    z : ndarray, shape (ny, nx)
        The measured map, metres: drawn by the probe already, never dilated again. NaN stays NaN.
    places : ndarray, shape (n, 2)
        Of the spheres, metres from the outer corner of the first point.
    centres, radii : ndarray, shape (n,)
        Height of their centres and radii, metres.
    probe_radius : float
        Metres.
    pitch : (float, float)
        Metres.
    noise : float
        Standard deviation of a point, metres. Added only where a sphere is seen: the map has its own.
    rng : numpy.random.Generator
        For the noise.

    Returns
    -------
    ndarray, shape (ny, nx)

    Notes
    -----
    Sphere and probe are balls, so the dilated sphere is a ball of radius r + R:
    :math:`c + \sqrt{(r+R)^2 - \rho^2} - R` (closed form). Dilating a *sampled* sphere instead loses its apex.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> image = imaged(np.zeros((9, 9)), np.array([[18e-9, 18e-9]]), np.array([5e-9]), np.array([5e-9]),
    ...                probe_radius=10e-9, pitch=(4e-9, 4e-9), noise=0.0, rng=rng)
    >>> round(float(image.max()) * 1e9, 6)
    10.0
    """
    out = z.copy()
    touched = np.zeros(z.shape, bool)
    reach = radii + probe_radius
    with np.errstate(invalid="ignore"):
        for (py, px), c, r in zip(places.tolist(), centres.tolist(), reach.tolist(), strict=True):
            if not math.isfinite(c):
                continue
            rows = slice(max(0, math.floor((py - r) / pitch[0])), max(0, math.ceil((py + r) / pitch[0])))
            columns = slice(max(0, math.floor((px - r) / pitch[1])), max(0, math.ceil((px + r) / pitch[1])))
            part = out[rows, columns]
            y = (np.arange(rows.start, rows.start + part.shape[0]) + 0.5) * pitch[0] - py
            x = (np.arange(columns.start, columns.start + part.shape[1]) + 0.5) * pitch[1] - px
            square = r * r - (y * y)[:, None] - (x * x)[None, :]
            drawn = c - probe_radius + np.sqrt(np.maximum(square, 0.0))
            wins = (square > 0) & (drawn > part)
            part[wins] = drawn[wins]
            touched[rows, columns] |= wins
    if noise > 0:
        out[touched] += noise * rng.standard_normal(int(np.count_nonzero(touched)))
    return out
