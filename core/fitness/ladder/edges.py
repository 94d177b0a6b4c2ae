"""The edges between terraces: whether they are steps, and where they run."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.fitness.ladder.ground import Ground
from core.fitness.ladder.joint import Joint
from core.heightmap import BoolArray, FloatArray


@dataclass(frozen=True, slots=True)
class Edges:
    """What the level changes look like.

    Attributes
    ----------
    jump : float
        Median rise across clean edges, in steps; NaN without any.
    clean : float
        Share of the level changes with one level on either side for a few points.
    length : float
        Length of clean edge over half the side of the map.
    within_rows : int
        Clean edges met along rows: without them, steps cannot be told from jumps between lines.
    single : float
        Share of the clean edges that are one step high.
    """

    jump: float
    clean: float
    length: float
    within_rows: int
    single: float


def edges_of(ground: Ground, joint: Joint) -> Edges:
    """The edges of a fitted ladder, met along rows and along columns.

    A rise is taken between points d on either side, 2d − 1 apart, d two more than half the median window: a step rises
    there by its height, a mere slope by less.
    """
    reach = joint.window // 2 + 2
    heights = ground.median(joint.window) - joint.surface
    rises, sizes, met = [], [], []
    total = 0
    for axis in (0, 1):
        levels, z = np.moveaxis(joint.levels, axis, 1), np.moveaxis(heights, axis, 1)
        found, size, count = _along(levels, z, np.moveaxis(ground.used, axis, 1), reach)
        rises.append(found / joint.step)
        sizes.append(size)
        met.append(found.size)
        total += count
    rise, size = np.concatenate(rises), np.concatenate(sizes)
    if rise.size == 0:
        return Edges(math.nan, 0.0, 0.0, 0, 0.0)
    side = min(ground.shape)
    return Edges(
        jump=float(np.median(rise / size)),
        clean=rise.size / total,
        length=max(met) / (side / 2),
        within_rows=met[1],
        single=float(np.mean(size == 1)),
    )


def _along(levels: FloatArray, z: FloatArray, used: BoolArray, reach: int) -> tuple[FloatArray, FloatArray, int]:
    """Rise in the sense of the level change and its size in levels, of the clean changes along rows; number of all."""
    n = levels.shape[1]
    before, after = levels[:, reach - 1 : n - reach], levels[:, reach : n - reach + 1]
    change = after - before
    changed = change != 0
    total = int(np.count_nonzero(np.diff(levels, axis=1)))
    clean = changed.copy()
    for k in range(reach):
        left, right = slice(reach - 1 - k, n - reach - k), slice(reach + k, n - reach + 1 + k)
        clean &= (levels[:, left] == before) & used[:, left]
        clean &= (levels[:, right] == after) & used[:, right]
    outer = z[:, 2 * reach - 1 :] - z[:, : n - 2 * reach + 1]
    size = np.abs(change[clean])
    return outer[clean] * np.sign(change[clean]), size, max(total, 1)
