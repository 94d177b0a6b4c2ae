r"""Where a sphere comes to rest: let down straight until it first touches the ground."""

from __future__ import annotations

import math

import numpy as np

from core.heightmap import FloatArray

FINE = 2.0
"""Pixels around the lowest point of a sphere within which it meets heights between pixels as well: on pixels alone, one
of 20 nm let down between four pixels of 4 nm sinks in by 0.4 nm (closed form)."""

GRID = 9
"""Points across the finer grid."""

BATCH = 2_000_000


def settled(ground: FloatArray, places: FloatArray, radii: FloatArray, pitch: tuple[float, float]) -> FloatArray:
    r"""Height of the centres of spheres at rest.

    Parameters
    ----------
    ground : ndarray, shape (ny, nx)
        Surface that they rest on, metres; NaN carries nothing.
    places : ndarray, shape (n, 2)
        Of their centres, metres from the outer corner of the first point, inside the map.
    radii : ndarray, shape (n,)
        Metres.
    pitch : (float, float)
        Metres.

    Returns
    -------
    ndarray, shape (n,)
        :math:`\max_{\rho<r}[z(\rho) - (r - \sqrt{r^2-\rho^2})] + r`, metres; minus infinity over nothing but NaN.

    Examples
    --------
    >>> z = settled(np.zeros((40, 40)), np.array([[8e-8, 8e-8]]), np.array([1e-8]), (4e-9, 4e-9))
    >>> float(z.round(10)[0])
    1e-08
    """
    known = np.where(np.isnan(ground), -np.inf, ground)
    out = _finely(known, places, radii, np.minimum(radii, FINE * max(pitch)), pitch)
    order = np.flatnonzero(radii > FINE * max(pitch))
    order = order[np.argsort(radii[order])]
    start = 0
    while start < len(order):
        # The largest sphere of a batch decides the window; sorted, all of a batch are about as large.
        stop = int(np.searchsorted(radii[order], 1.3 * radii[order[start]], side="right"))
        half = [math.ceil(radii[order[stop - 1]] / step) for step in pitch]
        stop = min(stop, start + max(1, BATCH // ((2 * half[0] + 1) * (2 * half[1] + 1))))
        some = order[start:stop]
        out[some] = np.maximum(out[some], _on_pixels(known, places[some], radii[some], pitch, half))
        start = stop
    return out + radii


def _on_pixels(
    z: FloatArray, places: FloatArray, radii: FloatArray, pitch: tuple[float, float], half: list[int]
) -> FloatArray:
    y = np.floor(places[:, :1] / pitch[0]).astype(int) + np.arange(-half[0], half[0] + 1)
    x = np.floor(places[:, 1:] / pitch[1]).astype(int) + np.arange(-half[1], half[1] + 1)
    square = ((y + 0.5) * pitch[0] - places[:, :1])[:, :, None] ** 2 + (
        ((x + 0.5) * pitch[1] - places[:, 1:])[:, None, :] ** 2
    )
    inside = (y >= 0)[:, :, None] & (y < z.shape[0])[:, :, None] & (x >= 0)[:, None, :] & (x < z.shape[1])[:, None, :]
    r = radii[:, None, None]
    gap = r - np.sqrt(np.maximum(r * r - square, 0.0))
    heights = z[np.clip(y, 0, z.shape[0] - 1)[:, :, None], np.clip(x, 0, z.shape[1] - 1)[:, None, :]]
    return np.asarray(np.where(inside & (square < r * r), heights - gap, -np.inf).max(axis=(1, 2)))


def _finely(
    z: FloatArray, places: FloatArray, radii: FloatArray, reach: FloatArray, pitch: tuple[float, float]
) -> FloatArray:
    """Bilinear heights on a grid over the disc of this reach."""
    t = np.linspace(-1, 1, GRID)
    v, u = (axis.reshape(-1) for axis in np.meshgrid(t, t, indexing="ij"))
    disc = v * v + u * u <= 1
    v, u = v[disc], u[disc]
    y = np.clip((places[:, :1] + reach[:, None] * v) / pitch[0] - 0.5, 0, z.shape[0] - 1)
    x = np.clip((places[:, 1:] + reach[:, None] * u) / pitch[1] - 0.5, 0, z.shape[1] - 1)
    y0, x0 = np.minimum(y.astype(int), max(z.shape[0] - 2, 0)), np.minimum(x.astype(int), max(z.shape[1] - 2, 0))
    y1, x1 = np.minimum(y0 + 1, z.shape[0] - 1), np.minimum(x0 + 1, z.shape[1] - 1)
    fy, fx = y - y0, x - x0
    with np.errstate(invalid="ignore"):  # 0 × infinity beside a missing point: that corner carries nothing
        heights = (
            (1 - fy) * (1 - fx) * z[y0, x0]
            + (1 - fy) * fx * z[y0, x1]
            + fy * (1 - fx) * z[y1, x0]
            + fy * fx * z[y1, x1]
        )
    heights = np.where(np.isnan(heights), -np.inf, heights)
    square = (reach[:, None] / radii[:, None]) ** 2 * (v * v + u * u)
    return np.asarray((heights - radii[:, None] * (1 - np.sqrt(np.maximum(1 - square, 0.0)))).max(axis=1))
