"""Gaussian low-passes of maps that differ in levelling only: what depends on the mask alone is formed once."""

from __future__ import annotations

import numpy as np

from core.filters.gaussian import AreaGaussian, Edges, Smoothed, counted_rows, kept, low_pass, supported
from core.filters.line import blocks
from core.heightmap import BoolArray, FloatArray, HeightMap
from core.selection import typical_height


class Passes:
    """Low-passes that remember the share of each footprint which counts, for the latest mask and every cut-off.

    The answers are those of `core.filters.gaussian.low_pass` to the last digit: of the two sums of a normalised
    convolution the one over the weights is kept.
    """

    def __init__(self) -> None:
        self._lattices: dict[tuple[tuple[int, int], float], AreaGaussian] = {}
        self._shares: dict[float, tuple[BoolArray, FloatArray]] = {}

    def low(self, scan: HeightMap, cutoff: float, *, edges: Edges) -> Smoothed:
        """The smooth surface under a map, as `low_pass` gives it."""
        if scan.complete:
            return low_pass(scan, cutoff, edges=edges)
        key = (scan.shape, cutoff)
        if key not in self._lattices:
            self._lattices[key] = AreaGaussian(scan.shape, scan.pitch, cutoff)
        lattice = self._lattices[key]
        level = typical_height(scan)
        weighed, weights = counted_rows(scan, level)
        used = scan.used
        before = self._shares.get(cutoff)
        if before is None or not np.array_equal(before[0], used):
            before = self._shares[cutoff] = (used, lattice.mean(weights))
        share = before[1]
        mean = lattice.mean(weighed)
        for rows in blocks(len(mean)):
            with np.errstate(divide="ignore", invalid="ignore"):
                mean[rows] /= share[rows]
        return supported(scan, mean, share, level, kept(scan.shape, scan.pitch, cutoff, edges))
