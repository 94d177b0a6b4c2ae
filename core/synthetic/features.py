"""Features with known places and heights: crystal steps, grains, specks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.errors import MapError
from core.heightmap import FloatArray
from core.synthetic.lattice import Pitch, Shape, coordinates, not_negative, positive, turned
from core.synthetic.texture import gaussian_texture, normalised

Range = float | tuple[float, float]
"""One value for all, or the ends of a uniform distribution."""


@dataclass(frozen=True, slots=True)
class Speck:
    """One planted speck.

    Attributes
    ----------
    y, x : float
        Its centre, metres from the outer corner of the first point (top left).
    diameter : float
        Width of its base, metres.
    height : float
        Its top over the surface, metres.
    """

    y: float
    x: float
    diameter: float
    height: float


def terraces(
    shape: Shape,
    pitch: Pitch,
    *,
    step: float,
    width: float,
    angle: float,
    waviness: float = 0.0,
    rng: np.random.Generator,
) -> FloatArray:
    """A vicinal crystal face: a staircase of equal single steps.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    step : float
        Height of one step, metres; a lattice constant.
    width : float
        Mean distance between steps, metres.
    angle : float
        Direction of the climb, degrees anticlockwise as shown from the fast axis; the edges run at right angles to it.
    waviness : float, default 0
        RMS sideways wandering of the edges, metres. Kept below a quarter of `width`, the edges do not cross.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    ndarray, shape `shape`
        Whole multiples of `step`, metres. The mean slope, ``step / width``, is left in.

    Raises
    ------
    MapError
        If a length is out of its range.

    Notes
    -----
    z = step · floor(s / width), s the distance along the climb; the miscut is atan(step / width). Without its mean
    slope the staircase is a sawtooth with Sq = step / √12 over many whole terraces.

    Examples
    --------
    >>> import numpy as np
    >>> z = terraces((4, 8), (1e-8, 1e-8), step=3e-10, width=4e-8, angle=0, rng=np.random.default_rng(1))
    >>> np.round(np.diff(z[0]) / 3e-10).astype(int).tolist()
    [0, 0, 0, 1, 0, 0, 0]
    """
    rise, run = positive(step, "The step"), positive(width, "The terrace width")
    wander = not_negative(waviness, "The waviness")
    if wander > 0.25 * run:
        raise MapError("Edges that wander by more than a quarter of the terrace width cross each other")
    along, _ = turned(shape, pitch, angle)
    if wander > 0:
        # One smooth displacement for all edges, so that neighbours run alike, as step repulsion makes them.
        along = along + gaussian_texture(shape, pitch, sq=wander, length=3 * run, rng=rng)
    return np.floor(along / run) * rise


def single_step(
    shape: Shape,
    pitch: Pitch,
    *,
    height: float,
    angle: float,
    offset: float = 0.0,
    waviness: float = 0.0,
    length: float | None = None,
    rng: np.random.Generator,
) -> FloatArray:
    """One cleavage step that crosses the map.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    height : float
        Height of the step, metres.
    angle : float
        Direction of its edge, degrees anticlockwise as shown from the fast axis.
    offset : float, default 0
        Distance of the edge from the middle of the map, metres, to the left of its direction.
    waviness : float, default 0
        RMS sideways wandering of the edge, metres.
    length : float, optional
        Distance along the edge over which it wanders, metres; a quarter of the map's width if not given.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    ndarray, shape `shape`
        Zero on one side, `height` on the left of the edge, metres.

    Raises
    ------
    MapError
        If a length is out of its range.

    Notes
    -----
    With a share f of the points up, Sq about the mean is height · √(f (1 − f)).

    Examples
    --------
    >>> import numpy as np
    >>> z = single_step((4, 4), (1e-8, 1e-8), height=3e-10, angle=0, rng=np.random.default_rng(1))
    >>> z[:, 0].tolist()
    [3e-10, 3e-10, 0.0, 0.0]
    """
    rise = positive(height, "The step")
    wander = not_negative(waviness, "The waviness")
    _, across = turned(shape, pitch, angle)
    if wander > 0:
        scale = positive(shape[1] * pitch[1] / 4 if length is None else length, "The length of the wandering")
        across = across + gaussian_texture(shape, pitch, sq=wander, length=scale, rng=rng)
    return np.where(across > offset, rise, 0.0)


def grains(
    shape: Shape,
    pitch: Pitch,
    *,
    sq: float,
    diameter: float,
    rng: np.random.Generator,
    unevenness: float = 0.7,
) -> FloatArray:
    """Rounded grains side by side, as in a metal film.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    sq : float
        RMS of the map after its mean plane is taken off, metres; exact for this map (see `normalised`).
    diameter : float
        Mean diameter: one grain for each π/4 · diameter² of area, metres.
    rng : numpy.random.Generator
        Source of randomness.
    unevenness : float, default 0.7
        RMS difference in height between grains, in depths of the grooves between them.

    Returns
    -------
    ndarray, shape `shape`
        Heights, metres.

    Raises
    ------
    MapError
        If a length is out of its range.

    Notes
    -----
    Seeds stand on a triangular lattice and are shifted at random by 0.4 of its spacing. With d₁ and d₂ the distances
    to the nearest and the second nearest seed, a grain is 1 − exp(−((d₂ − d₁) / (0.5 diameter))²) high: a dome with a
    groove along every boundary. The heights of neighbours blend across the groove, as a blunt probe shows them.

    Examples
    --------
    >>> import numpy as np
    >>> z = grains((64, 64), (1e-8, 1e-8), sq=4e-10, diameter=8e-8, rng=np.random.default_rng(1))
    >>> z.shape
    (64, 64)
    """
    from scipy.spatial import cKDTree

    size = positive(diameter, "The grain diameter")
    y, x = coordinates(shape, pitch)
    seeds = _shifted_lattice(abs(float(y[0, 0])) + 3 * size, abs(float(x[0, 0])) + 3 * size, size, rng)
    points = np.stack(np.broadcast_arrays(y, x), axis=-1).reshape(-1, 2)
    distance, seed = (np.asarray(found) for found in cKDTree(seeds).query(points, k=3))
    beyond = distance - distance[:, :1]
    dome = 1 - np.exp(-((beyond[:, 1] / (0.5 * size)) ** 2))
    own = not_negative(unevenness, "The unevenness") * rng.standard_normal(len(seeds))
    weight = np.exp(-beyond / (0.15 * size))
    level = np.sum(weight * own[seed], axis=1) / np.sum(weight, axis=1)
    return normalised((dome + level).reshape(shape), sq=sq)


def _shifted_lattice(half_y: float, half_x: float, diameter: float, rng: np.random.Generator) -> FloatArray:
    """Seeds of grains over a field and its margin: one for each π/4 · diameter², in rows that are half a seed apart."""
    spacing = diameter * math.sqrt(math.pi / 4 * 2 / math.sqrt(3))
    rows = np.arange(-half_y, half_y, spacing * math.sqrt(3) / 2)
    columns = np.arange(-half_x, half_x, spacing)
    lattice = np.stack(np.meshgrid(rows, columns, indexing="ij"), axis=-1)
    lattice[1::2, :, 1] += spacing / 2
    shifted: FloatArray = lattice + 0.4 * spacing * rng.standard_normal(lattice.shape)
    return shifted.reshape(-1, 2)


def specks(
    shape: Shape,
    pitch: Pitch,
    *,
    diameter: Range,
    height: Range,
    rng: np.random.Generator,
    count: int | None = None,
    density: float | None = None,
) -> tuple[FloatArray, tuple[Speck, ...]]:
    """Specks of dirt, or particles, whole and apart from each other.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    diameter, height : float or (float, float)
        Width of the base and height of the top, metres: one value, or the ends of a uniform distribution.
    rng : numpy.random.Generator
        Source of randomness.
    count : int, optional
        Number of specks.
    density : float, optional
        Specks per square metre; the number is then drawn from a Poisson law. Give `count` or `density`.

    Returns
    -------
    heights : ndarray, shape `shape`
        Metres, zero between the specks.
    truth : tuple of Speck
        Where they are and how high.

    Raises
    ------
    MapError
        If both or neither of `count` and `density` are given, a length is out of its range, or the specks do not fit.

    Notes
    -----
    A paraboloid z = h (1 − 4 r²/d²) of volume π h d²/8; the image of a paraboloid under a parabolic probe is one again.
    Points sample it, so the highest point lies below the top by up to h (dx² + dy²)/d².

    Examples
    --------
    >>> import numpy as np
    >>> z, truth = specks((64, 64), (1e-8, 1e-8), count=3, diameter=6e-8, height=1e-8, rng=np.random.default_rng(1))
    >>> len(truth), bool(z.max() <= 1e-8)
    (3, True)
    """
    y, x = coordinates(shape, pitch)
    y, x = y + shape[0] * pitch[0] / 2, x + shape[1] * pitch[1] / 2
    number = _how_many(count, density, area=shape[0] * pitch[0] * shape[1] * pitch[1], rng=rng)
    wide, tall = (_drawn(span, number, rng) for span in (diameter, height))
    centres = _apart(number, (shape[0] * pitch[0], shape[1] * pitch[1]), wide, max(pitch), rng)
    surface = np.zeros(shape)
    for (row, column), d, h in zip(centres, wide, tall, strict=True):
        np.maximum(surface, h * (1 - 4 * ((y - row) ** 2 + (x - column) ** 2) / d**2), out=surface)
    truth = tuple(
        Speck(float(row), float(column), float(d), float(h))
        for (row, column), d, h in zip(centres, wide, tall, strict=True)
    )
    return surface, truth


def _how_many(count: int | None, density: float | None, *, area: float, rng: np.random.Generator) -> int:
    if count is not None and density is None:
        return int(not_negative(count, "The number of specks"))
    if density is not None and count is None:
        return int(rng.poisson(not_negative(density, "The density of specks") * area))
    raise MapError("The number of specks is given by a count or by a density", fix="Give one of the two.")


def _drawn(span: Range, number: int, rng: np.random.Generator) -> FloatArray:
    low, high = span if isinstance(span, tuple) else (span, span)
    if positive(low, "The size of a speck") > positive(high, "The size of a speck"):
        raise MapError("The smaller size of a speck comes first")
    return rng.uniform(low, high, number)


def _apart(
    number: int, size: tuple[float, float], diameters: FloatArray, gap: float, rng: np.random.Generator
) -> list[tuple[float, float]]:
    """Centres of specks that lie wholly inside and leave at least three points between each other."""
    centres: list[tuple[float, float]] = []
    for index in range(number):
        radius = diameters[index] / 2
        if 2 * radius >= min(size):
            raise MapError("A speck is wider than the map")
        for _ in range(1000):
            spot = rng.uniform((radius, radius), (size[0] - radius, size[1] - radius))
            near = (
                math.dist(spot, other) < radius + diameters[other_index] / 2 + 3 * gap
                for other_index, other in enumerate(centres)
            )
            if not any(near):
                centres.append((float(spot[0]), float(spot[1])))
                break
        else:
            raise MapError(f"{number} specks of this size do not fit apart from each other on the map")
    return centres
