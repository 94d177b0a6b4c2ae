"""One map on stage: what of it is needed again and again, and how many of the spheres dropped on it are found."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.fitness.probe import eroded, hidden
from core.fitness.trial import drop
from core.fitness.trial.settle import settled
from core.fitness.trial.spheres import imaged
from core.heightmap import BoolArray, FloatArray, HeightMap
from core.progress import Cancel
from core.relief import Eye, find
from core.relief.eye import noise_of, see
from core.relief.find import Found

SMOOTHING = 0.7
"""Pixels: the eroded map is smoothed this lightly before spheres settle on it, so that none rests on a noisy point."""

MOST_PASSES = 30

NEAR = 0.5
"""A sphere is found where a bump's top lies within this share of the half width of its base."""


@dataclass(frozen=True, slots=True, eq=False)
class Stage:
    """A map ready for spheres.

    Attributes
    ----------
    scan : HeightMap
        The measured map.
    blank : Found
        Its own bumps.
    ground : ndarray, shape (ny, nx)
        What spheres rest on, metres: the map eroded by the probe and lightly smoothed, or the map where no probe radius
        is stated.
    lifted : float
        Mean of the map less its erosion, metres: bound of the error where spheres rest on the map.
    probe_radius : float
        Metres.
    noise : float
        Standard deviation of a point, metres.
    """

    scan: HeightMap
    blank: Found
    ground: FloatArray
    lifted: float
    probe_radius: float
    noise: float


def staged(scan: HeightMap, eye: Eye, k: float, probe_radius: float, *, stated: bool) -> Stage:
    """The stage of one map; the radius counts for settling only where it is stated.

    Raises
    ------
    MapError
        If the map is too small or too empty.
    """
    seen = see(scan, eye)
    z = scan.z if scan.mask is None else np.where(scan.used, scan.z, np.nan)
    surface = eroded(z, scan.pitch, probe_radius)
    ground = _smoothed(surface) if stated else z
    return Stage(scan, find(seen, k=k), ground, hidden(z, surface), probe_radius, noise_of(z, 4))


def _smoothed(z: FloatArray) -> FloatArray:
    """Normalised Gaussian of 0.7 pixels; missing points stay missing."""
    from scipy import ndimage

    known = np.isfinite(z)
    if known.all():
        return np.asarray(ndimage.gaussian_filter(z, SMOOTHING, mode="nearest"))
    weight = ndimage.gaussian_filter(known.astype(np.float64), SMOOTHING, mode="nearest")
    sums = ndimage.gaussian_filter(np.where(known, z, 0.0), SMOOTHING, mode="nearest")
    return np.where(known, sums / np.maximum(weight, 1e-9), np.nan)


@dataclass(frozen=True, slots=True, eq=False)
class Dropped:
    """Spheres of one mean diameter on one map: how many, and the errors of the heights of those found, metres."""

    diameter: float
    count: int
    errors: FloatArray

    @property
    def found(self) -> int:
        """Number found."""
        return len(self.errors)


def dropped(
    stage: Stage,
    diameter: float,
    *,
    spread: float,
    threshold: float,
    wanted: int,
    rng: np.random.Generator,
    cancel: Cancel,
) -> Dropped:
    """Drop at least `wanted` spheres, in passes, and look for them.

    Parameters
    ----------
    stage : Stage
        The map.
    diameter, spread : float
        Mean, metres, and standard deviation in means.
    threshold : float
        Metres; frozen from the blank, while ground and rings are made anew on every map with spheres, as they would be
        on a real scan (a frozen ground promised 96 % where 91 % were found: simulated for this program).
    wanted : int
        Spheres.
    rng : numpy.random.Generator
        Places, sizes, noise.
    cancel : Cancel
        Looked at between passes.
    """
    scan, eye = stage.scan, stage.blank.seen.eye
    base = max(half_base(diameter * (1 + 2 * spread), stage.probe_radius), eye.half_width)
    spacing = drop.spacing_of(base, scan.pitch)
    guard = max(eye.guard(scan.pitch), spacing / 2)
    count, errors = 0, []
    for _ in range(MOST_PASSES):
        cancel.check()
        places = drop.places(scan.size, spacing, guard, rng)
        sizes = drop.diameters(diameter, spread, len(places), rng)
        centres = settled(stage.ground, places, sizes / 2, scan.pitch)
        stand = np.isfinite(centres) & _measured(scan, places)
        places, sizes, centres = places[stand], sizes[stand], centres[stand]
        if len(places) == 0:
            break
        image = imaged(
            scan.z,
            places,
            centres,
            sizes / 2,
            probe_radius=stage.probe_radius,
            pitch=scan.pitch,
            noise=stage.noise,
            rng=rng,
        )
        found = find(scan.with_(z=image), eye, k=None, height=threshold)
        errors.append(_errors(found, places, sizes, stage.probe_radius))
        count += len(places)
        if count >= wanted:
            break
    return Dropped(diameter, count, np.concatenate(errors) if errors else np.empty(0))


def half_base(diameter: float, probe_radius: float) -> float:
    """Half the base width of a sphere's image, 2√(Rr), metres."""
    return math.sqrt(2 * probe_radius * diameter)


def _measured(scan: HeightMap, places: FloatArray) -> BoolArray:
    """Whether the map was measured where a sphere stands."""
    if scan.complete:
        return np.ones(len(places), bool)
    y, x = (np.clip((places[:, i] / scan.pitch[i]).astype(int), 0, scan.shape[i] - 1) for i in (0, 1))
    return np.asarray(scan.used[y, x])


def _errors(found: Found, places: FloatArray, sizes: FloatArray, probe_radius: float) -> FloatArray:
    """Height less diameter of the spheres that have a bump where they stand."""
    from scipy.spatial import cKDTree

    if len(found.bodies) == 0:
        return np.empty(0)
    pitch = found.seen.pitch
    tops = (found.bodies.places + 0.5) * pitch
    distance, nearest = cKDTree(tops).query(places)
    near = np.maximum(NEAR * np.sqrt(2 * probe_radius * sizes), 1.5 * max(pitch))
    hit = np.flatnonzero(distance <= near)
    return np.asarray(found.bodies.heights[np.asarray(nearest)[hit]] - sizes[hit])


def pooled(parts: Sequence[Dropped]) -> Dropped:
    """Spheres of one diameter on several maps."""
    return Dropped(
        parts[0].diameter, sum(part.count for part in parts), np.concatenate([part.errors for part in parts])
    )
