"""Filling: small holes are closed smoothly, in the open, and what was made up is masked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from core.heightmap import BoolArray, Entry, FloatArray, HeightMap, frozen
from core.treatment.extent import Extent
from core.treatment.step import Step


@dataclass(frozen=True, kw_only=True)
class Fill(Step):
    """Close holes by the smoothest surface through their rims. Heights that were made up are masked.

    No step and no reading needs this: all of them leave missing points out by weights. It is for those who want a map
    without holes to look at or to hand on.

    Parameters
    ----------
    largest : str, default "5 px"
        Holes that are longer than this in either direction stay holes.

    Raises
    ------
    TreatmentError
        If the value is neither pixels nor a length.

    Notes
    -----
    Inside a hole the discrete Laplace equation holds, Σ wₙ(zₙ − z) = 0 over the four neighbours with w = 1/d² and d
    their distance: no filled height lies outside those of its rim. Figures in the history: ``filled_points``,
    ``filled_fraction``, ``holes_left``.

    Examples
    --------
    >>> holed = HeightMap([[0.0, 1e-9, 2e-9], [0.0, np.nan, 2e-9], [0.0, 1e-9, 2e-9]], pitch=(1e-8, 1e-8))
    >>> filled = Fill().apply(holed)
    >>> round(float(filled.z[1, 1]) * 1e9, 12), filled.missing, int(filled.mask.sum())
    (1.0, 0, 1)
    """

    do: ClassVar[str] = "fill"

    largest: str = "5 px"

    def __post_init__(self) -> None:
        super().__post_init__()
        Extent.parse(self.largest, "largest")

    def apply(self, scan: HeightMap) -> HeightMap:
        """The map with its small holes closed, and masked where they were."""
        missing = ~np.isfinite(scan.z)
        chosen, left = self._small(missing, scan.pitch)
        heights = _closed(scan.z, chosen, scan.pitch) if chosen.any() else scan.z
        count = int(chosen.sum())
        figures = {
            "filled_points": float(count),
            "filled_fraction": count / scan.z.size,
            "holes_left": float(left),
        }
        mask = chosen if scan.mask is None else scan.mask | chosen
        told = f"{count} points filled and masked" + (f", {left} larger holes left" if left else "")
        return scan.logged(Entry(self.parameters(), told, figures), z=heights, mask=mask if count else scan.mask)

    def describe(self) -> str:
        """Such as ``"holes up to 5 px filled and masked"``."""
        return f"holes up to {self.largest} filled and masked"

    def _small(self, missing: BoolArray, pitch: tuple[float, float]) -> tuple[BoolArray, int]:
        """The points of holes that are small enough, and how many larger ones there are."""
        from scipy.ndimage import find_objects, label

        holes, count = label(missing)
        most = [Extent.parse(self.largest, "largest").pixels(step) * (1 + 1e-9) for step in pitch]
        fits = np.zeros(count + 1, dtype=bool)
        if missing.all():
            return np.zeros_like(missing), 1  # a hole without a rim
        for number, span in enumerate(find_objects(holes), start=1):
            sides = [part.stop - part.start for part in span]
            fits[number] = all(side <= limit for side, limit in zip(sides, most, strict=True))
        return fits[holes], int(count - fits.sum())


def _closed(z: FloatArray, holes: BoolArray, pitch: tuple[float, float]) -> FloatArray:
    """The solution of Laplace's equation in the holes, given by their rims. One sparse system for all of them."""
    from scipy.sparse import coo_array
    from scipy.sparse.linalg import spsolve

    number = np.full(z.shape, -1)
    number[holes] = np.arange(int(holes.sum()))
    rows, columns = np.nonzero(holes)
    here = number[holes]
    diagonal, right = np.zeros(here.size), np.zeros(here.size)
    entries: list[tuple[FloatArray, np.ndarray, np.ndarray]] = []
    for down, across, weight in (
        (-1, 0, pitch[0] ** -2), (1, 0, pitch[0] ** -2), (0, -1, pitch[1] ** -2), (0, 1, pitch[1] ** -2),
    ):  # fmt: skip
        i, j = rows + down, columns + across
        inside = (i >= 0) & (i < z.shape[0]) & (j >= 0) & (j < z.shape[1])
        i, j, own = i[inside], j[inside], here[inside]
        other = number[i, j]
        weight /= pitch[0] ** -2 + pitch[1] ** -2  # of order one, whatever the pitch
        np.add.at(diagonal, own, weight)
        rim = other < 0
        np.add.at(right, own[rim], weight * z[i[rim], j[rim]])
        entries.append((np.full(int((~rim).sum()), -weight), own[~rim], other[~rim]))
    values, down_index, across_index = (np.concatenate(part) for part in zip(*entries, strict=True))
    system = coo_array((values, (down_index, across_index)), shape=(here.size, here.size)).tocsc()
    system.setdiag(diagonal)
    filled = z.copy()
    filled[holes] = spsolve(system, right)
    return frozen(filled)
