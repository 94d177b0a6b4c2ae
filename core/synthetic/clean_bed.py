"""The test bed of the doubts: ten kinds of clean surface, drawn at random, on which no detector may raise an alarm.

Lengths are in points, whatever the size of the map, so that a larger map holds more of the same texture. Random
textures are cut from periodic fields at least twice as large, so that nothing wraps round at the edges.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from core.errors import MapError
from core.heightmap import FloatArray, HeightMap
from core.synthetic.features import specks, terraces
from core.synthetic.lattice import Shape, coordinates, positive
from core.synthetic.texture import directional_texture, gaussian_texture, normalised, self_affine, without_plane

UNIT = (1.0, 1.0)
NOISE = (0.05, 0.2)
LINE_RATES = (0.4, 2.2)
"""Ends of the uniform laws of the noise share N/S and of the line rate, Hz."""


@dataclass(frozen=True, slots=True, eq=False)
class CleanMap:
    """One clean map with what was put into it.

    Attributes
    ----------
    texture : str
        Which of `TEXTURES`.
    scan : HeightMap
        Plane-levelled; ``metadata["line_rate"]`` is its line rate, Hz.
    rough : float
        S: RMS of the map without its particles, noise included, metres.
    noise : float
        N: RMS of the white noise in it, metres.
    """

    texture: str
    scan: HeightMap
    rough: float
    noise: float

    @property
    def z(self) -> FloatArray:
        """The heights, metres."""
        return self.scan.z

    @property
    def line_rate(self) -> float:
        """Lines there and back in a second, Hz."""
        return float(self.scan.metadata["line_rate"])

    def plus(self, added: FloatArray) -> HeightMap:
        """The scan with an artefact on it; metres, of the shape of the map."""
        return self.scan.with_(z=self.scan.z + added)


def clean_map(
    texture: str,
    rng: np.random.Generator,
    *,
    shape: Shape = (256, 256),
    pitch: tuple[float, float] = (1e-8, 1e-8),
    sq: float = 4e-10,
) -> CleanMap:
    """Draw one clean map.

    Parameters
    ----------
    texture : str
        One of `TEXTURES`: ``G4``, ``G20`` Gaussian autocorrelation of 4 and 20 points; ``A3``, ``A8`` self-affine with
        Hurst exponent 0.3 and 0.8, roll-off 64 points; ``GR`` 100 to 500 tilted, grooved grains in 256²; ``La``,
        ``L=``, ``L|`` lapping lines at any angle, within 3° of the fast and of the slow axis; ``TE`` wavy terraces 25
        to 90 points wide; ``PA`` Gaussian texture of 6 to 14 points with 3 to 12 particles 10 to 30 S high.
    rng : numpy.random.Generator
        Source of randomness.
    shape : (int, int), default (256, 256)
        Rows and columns; at least 48 of each.
    pitch : (float, float), default 10 nm
        ``(dy, dx)``, metres; only carried along.
    sq : float, default 4e-10
        RMS of the texture without noise and particles, metres.

    Returns
    -------
    CleanMap
        With white noise of N/S = U(0.05, 0.2) and a line rate of U(0.4, 2.2) Hz.

    Raises
    ------
    MapError
        If the texture is unknown or the map too small for its features.

    Examples
    --------
    >>> clean = clean_map("G4", np.random.default_rng(1), shape=(64, 96))
    >>> clean.z.shape, bool(0.04 < clean.noise / clean.rough < 0.21)
    ((64, 96), True)
    """
    if texture not in TEXTURES:
        raise MapError(f"There is no clean texture {texture!r}", fix=f"There are: {', '.join(TEXTURES)}.")
    if min(shape) < 48:
        raise MapError(f"The clean textures need at least 48 × 48 points, not {shape[0]} × {shape[1]}")
    scale = positive(sq, "The RMS")
    ground = normalised(_MAKERS[texture](shape, rng), sq=1.0)
    share = rng.uniform(*NOISE)
    noise = share / math.sqrt(1 - share**2)
    ground = without_plane(ground + noise * rng.standard_normal(shape))
    rough = float(np.sqrt(np.mean(ground**2)))
    heights = without_plane(ground + _particles(shape, rough, rng)) if texture == "PA" else ground
    line_rate = rng.uniform(*LINE_RATES)
    scan = HeightMap(scale * heights, pitch, name=f"clean {texture}", metadata={"line_rate": line_rate})
    return CleanMap(texture, scan, scale * rough, scale * noise)


def _grains(shape: Shape, rng: np.random.Generator) -> FloatArray:
    """Voronoi cells, planes of their own height and tilt, with a groove some five points wide at every border."""
    from scipy.spatial import cKDTree

    size = 256 / math.sqrt(rng.uniform(100, 500))  # side of the square that one grain has on average
    y, x = coordinates(shape, UNIT)
    half = np.array([shape[0] / 2 + 2 * size, shape[1] / 2 + 2 * size])
    seeds = rng.uniform(-half, half, (max(4, round(4 * half[0] * half[1] / size**2)), 2))
    points = np.stack(np.broadcast_arrays(y, x), axis=-1).reshape(-1, 2)
    distance, seed = (np.asarray(found) for found in cKDTree(seeds).query(points, k=2))
    own = seed[:, 0]
    level, tilts = rng.standard_normal(len(seeds)), rng.standard_normal((len(seeds), 2)) / (size / 2)
    face = level[own] + np.sum(tilts[own] * (points - seeds[own]), axis=1)
    groove = np.exp(-((distance[:, 1] - distance[:, 0]) ** 2) / (2 * 4.0**2))
    return np.asarray((face - 1.5 * groove).reshape(shape))


def _lapped(shape: Shape, angle: float, rng: np.random.Generator) -> FloatArray:
    lines = directional_texture(shape, UNIT, sq=1.0, across=rng.uniform(3, 7), along=400.0, angle=angle, rng=rng)
    return lines + 0.2 * self_affine(shape, UNIT, sq=1.0, hurst=0.8, roll_off=64.0, rng=rng)


def _terraces(shape: Shape, rng: np.random.Generator) -> FloatArray:
    width = rng.uniform(25, 90)
    angle, waviness = rng.uniform(0, 360), width * rng.uniform(0.05, 0.2)
    return terraces(shape, UNIT, step=1.0, width=width, angle=angle, waviness=waviness, rng=rng)


def _particles(shape: Shape, rough: float, rng: np.random.Generator) -> FloatArray:
    heights, _ = specks(
        shape, UNIT, diameter=(6.0, 14.0), height=(10 * rough, 30 * rough), count=int(rng.integers(3, 13)), rng=rng
    )
    return heights


_MAKERS: dict[str, Callable[[Shape, np.random.Generator], FloatArray]] = {
    "G4": lambda shape, rng: gaussian_texture(shape, UNIT, sq=1.0, length=4.0, rng=rng),
    "G20": lambda shape, rng: gaussian_texture(shape, UNIT, sq=1.0, length=20.0, rng=rng),
    "A3": lambda shape, rng: self_affine(shape, UNIT, sq=1.0, hurst=0.3, roll_off=64.0, rng=rng),
    "A8": lambda shape, rng: self_affine(shape, UNIT, sq=1.0, hurst=0.8, roll_off=64.0, rng=rng),
    "GR": _grains,
    "La": lambda shape, rng: _lapped(shape, rng.uniform(0, 180), rng),
    "L=": lambda shape, rng: _lapped(shape, rng.uniform(-3, 3), rng),
    "L|": lambda shape, rng: _lapped(shape, 90 + rng.uniform(-3, 3), rng),
    "TE": _terraces,
    "PA": lambda shape, rng: gaussian_texture(shape, UNIT, sq=1.0, length=rng.uniform(6, 14), rng=rng),
}

TEXTURES = tuple(_MAKERS)
"""The ten kinds of clean surface."""
