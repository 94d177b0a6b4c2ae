"""Differences among scan lines: the instrument shifts between lines, the specimen does not."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from core.heightmap import BoolArray, Entry, FloatArray, HeightMap, frozen
from core.polynomials.basis import blocks, orthonormal, pair_products
from core.selection import typical_height
from core.treatment import check
from core.treatment.step import Step

DEGREES = range(1, 4)
DEGENERATE = 1e-10
"""Smallest accepted ratio of eigenvalues of a row's normal matrix."""


@dataclass(frozen=True, kw_only=True)
class Rows(Step):
    """Take off what differs from scan line to scan line; the mean height of the map stays.

    Parameters
    ----------
    remove : {"offset", "polynomial"}, default "offset"
        One height for each row, or one polynomial along each row.
    by : {"median", "median-of-differences"}, default "median"
        How the offset of a row is found: its median, or the medians of the differences between neighbouring rows,
        summed up. The latter is blind to bumps and terraces that both rows share, and lets errors add up.
    degree : int, optional
        Degree of the polynomial, 1 to 3. Not for an offset.

    Raises
    ------
    TreatmentError
        If a value is not one of these.

    Notes
    -----
    Only points that are measured and unmasked decide; masked points are shifted along. A row with too few of them
    (two for an offset, degree + 2 for a polynomial) stays as it is, and a row without a neighbour to compare with
    takes over that one's offset; both are counted. Every row method also takes off true texture: a
    polynomial of degree j costs about (j + 1)·T/L of Sq², T the correlation length and L the row (arXiv:2001.00433).
    Figures in the history: ``removed_rms_m`` (RMS of what was taken off, m) and ``rows_skipped``.

    Examples
    --------
    >>> striped = HeightMap([[1e-9, 2e-9, 3e-9], [5e-9, 6e-9, 7e-9]], pitch=(1e-8, 1e-8))
    >>> Rows().apply(striped).z.round(12).tolist()
    [[3e-09, 4e-09, 5e-09], [3e-09, 4e-09, 5e-09]]
    """

    do: ClassVar[str] = "rows"

    remove: str = "offset"
    by: str | None = None
    degree: int | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        check.one_of(self.do, "remove", self.remove, ("offset", "polynomial"))
        if self.remove == "polynomial":
            check.unused(self.do, "by", self.by, 'remove = "offset"')
            check.whole(self.do, "degree", self.degree, DEGREES)
            return
        if self.by is None:
            object.__setattr__(self, "by", "median")
        check.one_of(self.do, "by", self.by, ("median", "median-of-differences"))
        check.unused(self.do, "degree", self.degree, 'remove = "polynomial"')

    def apply(self, scan: HeightMap) -> HeightMap:
        """The map with its rows made alike."""
        if self.remove == "polynomial":
            treated = _without_polynomials(scan, self.degree or 1)
        elif self.by == "median":
            treated = _without_offsets(scan, _medians(scan))
        else:
            treated = _without_offsets(scan, _summed_differences(scan))
        removed = f"{self.describe().split(' removed')[0]}, {treated.skipped} rows left as they are"
        figures = {"removed_rms_m": treated.rms, "rows_skipped": float(treated.skipped)}
        return scan.logged(Entry(self.parameters(), removed, figures), z=treated.z)

    def describe(self) -> str:
        """Such as ``"row offsets removed (median)"`` or ``"row polynomials of degree 2 removed"``."""
        if self.remove == "polynomial":
            return f"row polynomials of degree {self.degree} removed"
        return f"row offsets removed ({str(self.by).replace('-', ' ')})"


@dataclass(frozen=True, slots=True)
class _Treated:
    z: FloatArray
    rms: float
    skipped: int


@dataclass(frozen=True, slots=True)
class _Offsets:
    """One height for each row where `decided`, the `points` that count in each row, and links that failed."""

    heights: FloatArray
    decided: BoolArray
    points: NDArray[np.intp]
    broken: int = 0


def _without_offsets(scan: HeightMap, offsets: _Offsets) -> _Treated:
    decided, points = offsets.decided, offsets.points
    shifts = np.zeros(scan.shape[0])
    if decided.any():
        weights = points[decided]
        shifts[decided] = offsets.heights[decided] - np.average(offsets.heights[decided], weights=weights)
    total = int(points.sum())
    rms = math.sqrt(float(points @ shifts**2) / total) if total else 0.0
    return _Treated(frozen(scan.z - shifts[:, None]), rms, int(np.count_nonzero(~decided)) + offsets.broken)


def _medians(scan: HeightMap) -> _Offsets:
    heights = np.zeros(scan.shape[0])
    points = np.zeros(scan.shape[0], np.intp)
    for rows in blocks(scan.shape[0]):
        heights[rows], points[rows] = row_medians(_counted(scan, rows))
    return _Offsets(heights, points >= 2, points)


def _summed_differences(scan: HeightMap) -> _Offsets:
    """Medians of the differences between each row and the decided row before it, summed up from the top."""
    points = _points_by_row(scan)
    live = np.flatnonzero(points >= 2)
    steps = np.zeros(len(live))
    broken = 0
    for pairs in blocks(max(0, len(live) - 1)):
        upper, lower = _counted(scan, live[pairs]), _counted(scan, live[pairs.start + 1 : pairs.stop + 1])
        medians, shared = row_medians(lower - upper)
        steps[pairs.start + 1 : pairs.stop + 1] = np.where(shared >= 2, medians, 0.0)
        broken += int(np.count_nonzero(shared < 2))
    heights = np.zeros(scan.shape[0])
    heights[live] = np.cumsum(steps)
    return _Offsets(heights, points >= 2, points, broken)


def _counted(scan: HeightMap, rows: slice | NDArray[np.intp]) -> FloatArray:
    """These rows with NaN at every point that does not count."""
    block = scan.z[rows]
    return block if scan.mask is None else np.where(scan.mask[rows], np.nan, block)


def _points_by_row(scan: HeightMap) -> NDArray[np.intp]:
    if scan.complete:
        return np.full(scan.shape[0], scan.shape[1], np.intp)
    return np.asarray(np.count_nonzero(scan.used, axis=1), np.intp)


def row_medians(rows: FloatArray) -> tuple[FloatArray, NDArray[np.intp]]:
    """Median of the points of each row that are not NaN, and their number; 0 for a row without any.

    One sort along the rows: NaN go last, so the middle is found by counting.
    """
    ordered = np.sort(rows, axis=1)
    points = rows.shape[1] - np.asarray(np.count_nonzero(np.isnan(ordered), axis=1), np.intp)
    middle = np.stack([np.maximum(points - 1, 0) // 2, points // 2], axis=1)
    low, high = np.take_along_axis(ordered, np.minimum(middle, rows.shape[1] - 1), axis=1).T
    return np.where(points > 0, low + (high - low) / 2, 0.0), points


def _without_polynomials(scan: HeightMap, degree: int) -> _Treated:
    """Least squares along every row at once, with a refinement; the mean over the decided rows is given back."""
    columns = orthonormal(scan.shape[1], min(degree, scan.shape[1] - 1))
    out = np.empty(scan.shape)
    level = typical_height(scan)
    fits = [_fit_rows(scan, rows, columns, degree, level, out[rows]) for rows in blocks(scan.shape[0])]
    decided = np.concatenate([fit.decided for fit in fits])
    points = np.concatenate([fit.points for fit in fits])
    means = np.concatenate([fit.means for fit in fits])
    squares = np.concatenate([fit.squares for fit in fits])
    total = int(points[decided].sum())
    mean = float(points[decided] @ means[decided]) / total if total else 0.0
    out += np.where(decided, level + mean, level)[:, None]
    about = points * (squares - mean * (2 * means - mean))
    rms = math.sqrt(max(0.0, float(about[decided].sum())) / int(points.sum())) if total else 0.0
    return _Treated(frozen(out), rms, int(np.count_nonzero(~decided)))


@dataclass(frozen=True, slots=True)
class _RowFits:
    """By row: whether decided, points that count, mean and mean square of the polynomial over them."""

    decided: BoolArray
    points: NDArray[np.intp]
    means: FloatArray
    squares: FloatArray


def _fit_rows(
    scan: HeightMap, rows: slice, columns: FloatArray, degree: int, level: float, out: FloatArray
) -> _RowFits:
    """Fill `out` with the rows minus `level` and minus their polynomials."""
    k = columns.shape[1]
    np.subtract(scan.z[rows], level, out=out)
    used = None if scan.complete else scan.used[rows]
    if used is None:
        points = np.full(len(out), out.shape[1], np.intp)
        normal = np.broadcast_to(np.eye(k), (len(out), k, k))
    else:
        points = np.asarray(np.count_nonzero(used, axis=1), np.intp)
        moments = used.astype(np.float64) @ pair_products(columns)
        normal = moments.reshape(-1, k, k) / np.maximum(points, 1)[:, None, None]
    spread = np.linalg.eigvalsh(normal)
    decided = (points >= degree + 2) & (spread[:, 0] > DEGENERATE * spread[:, -1])
    solvable = np.where(decided[:, None, None], normal, np.eye(k))
    form = np.zeros((len(out), k))
    for _ in range(2):  # the fit, then its refinement
        counted = out if used is None else np.where(used, out, 0.0)
        projected = (counted @ columns) / np.maximum(points, 1)[:, None]
        step = np.linalg.solve(solvable, projected[:, :, None])[:, :, 0]
        step[~decided] = 0.0
        out -= step @ columns.T
        form += step
    means = np.einsum("ri,ri->r", normal[:, 0], form)
    squares = np.einsum("ri,rij,rj->r", form, normal, form)
    return _RowFits(decided, points, means, squares)
