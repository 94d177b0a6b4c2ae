"""Where spheres are dropped: on a jittered lattice, so far apart that none stands in another's ring."""

from __future__ import annotations

import math

import numpy as np

from core.heightmap import FloatArray

JITTER = 0.25
PIXELS_APART = 4


def places(size: tuple[float, float], spacing: float, guard: float, rng: np.random.Generator) -> FloatArray:
    """One pass of places.

    Parameters
    ----------
    size : (float, float)
        Height and width of the map, metres.
    spacing : float
        Distance of the lattice, metres.
    guard : float
        Width of the frame that stays free, metres.
    rng : numpy.random.Generator
        Moves the lattice as a whole and each place by up to ± 25 % of the spacing.

    Returns
    -------
    ndarray, shape (n, 2)
        Metres from the outer corner of the first point; empty where the frame leaves nothing.
    """
    axes = []
    for side in size:
        inner = side - 2 * guard
        if inner <= 0:
            return np.empty((0, 2))
        count = max(1, math.floor(inner / spacing))
        spare = inner - count * spacing
        axes.append(guard + (np.arange(count) + 0.5) * spacing + (spare * rng.random() if spare > 0 else spare / 2))
    lattice = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 2)
    moved = lattice + spacing * JITTER * rng.uniform(-1, 1, lattice.shape)
    return np.clip(moved, guard, np.array(size) - guard)


def diameters(mean: float, spread: float, count: int, rng: np.random.Generator) -> FloatArray:
    """Diameters with a normal spread, none below a fifth of the mean."""
    return np.asarray(np.maximum(mean * (1 + spread * rng.standard_normal(count)), 0.2 * mean))


def spacing_of(base: float, pitch: tuple[float, float]) -> float:
    """Distance of the lattice for spheres with this half width of their image's base, metres."""
    pixel = max(pitch)
    inner = 1.15 * base + pixel
    outer = inner + max(2.5 * pixel, 0.35 * inner)
    return 2 * outer + PIXELS_APART * pixel
