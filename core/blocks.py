"""Sums and extremes over the blocks of points that the pixels of a reduced picture stand for, of any size."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from core.heightmap import FloatArray


class Edges:
    """Where pixels begin and end along one axis.

    Parameters
    ----------
    points, count : int
        Points of the map, and pixels over all of them.
    first, end : int
        The pixels that are wanted.
    """

    def __init__(self, points: int, count: int, first: int, end: int) -> None:
        edges = np.arange(first, end + 1, dtype=np.int64) * points
        self.whole = edges // count  # the point that a border falls in, which belongs to the pixel that begins there
        self.share = (edges % count) / count  # how much of that point lies before the border
        start = int(self.whole[0])
        reach = int(self.whole[-1]) + (1 if self.share[-1] > 0 else 0)
        self.span = slice(start, reach)
        self.whole = self.whole - start

    @property
    def count(self) -> int:
        """Number of pixels."""
        return len(self.whole) - 1

    def blocks(self) -> Iterator[tuple[int, int, int, float, float]]:
        """Number, first and end point of each pixel, and the shares of the points on its two borders."""
        whole, share = self.whole.tolist(), self.share.tolist()
        for i in range(self.count):
            yield i, whole[i], whole[i + 1], share[i], share[i + 1]

    def pixel_of(self, point: NDArray[np.int64]) -> NDArray[np.int64]:
        """The pixel that each point belongs to."""
        return np.minimum(np.searchsorted(self.whole, point, side="right") - 1, self.count - 1)

    @property
    def widths(self) -> FloatArray:
        """Points in each pixel, with shares."""
        return np.diff(self.whole + self.share)


def block_sums(values: FloatArray, down: Edges, across: Edges) -> FloatArray:
    """Sum over each pixel; a point on a border counts on both sides by its share.

    Rows are summed first: whole lines at a time, which the processor does at full speed.
    """
    return _sums(np.ascontiguousarray(_sums(values, down).T), across).T


def block_extremes(values: FloatArray, best: np.ufunc, none: float, down: Edges, across: Edges) -> FloatArray:
    """Largest (`np.maximum`) or smallest (`np.minimum`) point of each pixel; `none` where it owns no point."""
    return _best(np.ascontiguousarray(_best(values, best, none, down).T), best, none, across).T


def _sums(values: FloatArray, edges: Edges) -> FloatArray:
    out = np.zeros((edges.count, values.shape[1]))
    for i, first, end, before, after in edges.blocks():
        if end > first:
            np.add.reduce(values[first:end], axis=0, out=out[i])
        if before:
            out[i] -= before * values[first]
        if after:
            out[i] += after * values[end]
    return out


def _best(values: FloatArray, best: np.ufunc, none: float, edges: Edges) -> FloatArray:
    out = np.full((edges.count, values.shape[1]), none)
    for i, first, end, _, after in edges.blocks():
        # The last pixel of a window also sees the point that its border cuts: the neighbour outside would show it.
        end += 1 if after and i == edges.count - 1 else 0
        if end > first:
            best.reduce(values[first:end], axis=0, out=out[i])
    return out
