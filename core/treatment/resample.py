"""Resampling: coarser pixels, each the mean of the points it covers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Self

import numpy as np

from core.blocks import Edges, block_sums
from core.errors import QuantityError, TreatmentError
from core.heightmap import BoolArray, Entry, FloatArray, HeightMap, frozen
from core.treatment.extent import exact_length
from core.treatment.frame import Frame, Lattice
from core.treatment.step import Step
from core.units import format_length, parse_length

COMMON = "common"
LEAST = 0.5  # share of a pixel that must be covered by points that count
SMALLEST = 2


@dataclass(frozen=True, kw_only=True)
class Resample(Step):
    """Bring a map to coarser pixels.

    To make roughness comparable, a common *band* does better: averaging over pixels alone takes 1 to 2 % off texture
    of five pixels' wavelength, and says nothing about the long end.

    Parameters
    ----------
    to : str, default "common"
        Side of the new pixels, such as ``"20 nm"``; ``"common"`` is the coarsest pixel of the scans on the bench.

    Raises
    ------
    TreatmentError
        If the value is no length.

    Notes
    -----
    The map is divided into as many equal pixels as come nearest to the wanted side, so that nothing is cut off; the new
    pitch is its size by their number. A pixel is the mean of the points it covers, those on a border by their share;
    missing and masked points are left out, and a pixel of which they are more than half is missing or masked itself.
    Finer pixels than the scan has are refused: there is nothing to fill them with. Figures in the history:
    ``pitch_y_m``, ``pitch_x_m``.

    Examples
    --------
    >>> scan = HeightMap([[0.0, 2.0, 0.0, 0.0], [4.0, 6.0, 8.0, 8.0]], pitch=(1e-8, 1e-8))
    >>> four = HeightMap(np.vstack([scan.z, scan.z]), pitch=(1e-8, 1e-8))
    >>> Resample(to="20 nm").apply(four).z.tolist()
    [[3.0, 4.0], [3.0, 4.0]]
    """

    do: ClassVar[str] = "resample"

    to: str = COMMON

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.to != COMMON:
            self._side()

    def resolve(self, scans: Sequence[Lattice]) -> Self:
        """The step with ``"common"`` replaced by the coarsest pixel of these scans."""
        if self.to != COMMON or not scans:
            return self
        return replace(self, to=exact_length(max(max(scan.pitch) for scan in scans)))

    def apply(self, scan: HeightMap) -> HeightMap:
        """The map with coarser pixels; one whose pixels have that size already is left as it is."""
        step = self.resolve([scan])
        frame = step.frame(scan)
        figures = {"pitch_y_m": frame.pitch[0], "pitch_x_m": frame.pitch[1]}
        told = f"all detail below {' × '.join(format_length(side) for side in frame.pitch)}"
        if frame.shape == scan.shape:
            return scan.logged(Entry(step.parameters(), "nothing", figures))
        down, across = (Edges(points, count, 0, count) for points, count in zip(scan.shape, frame.shape, strict=True))
        heights, mask = _averaged(scan, down, across)
        return scan.logged(Entry(step.parameters(), told, figures), z=heights, mask=mask, pitch=frame.pitch)

    def describe(self) -> str:
        """Such as ``"resampled to 20 nm"``."""
        return f"resampled to {'the coarsest pixel' if self.to == COMMON else self.to}"

    def frame(self, lattice: Lattice) -> Frame:
        """The map's shape and pitch with the new pixels."""
        side = self.resolve([lattice])._side()
        counts = []
        for points, pitch in zip(lattice.shape, lattice.pitch, strict=True):
            if side < pitch * (1 - 1e-9):
                raise TreatmentError(
                    f"Pixels of {format_length(side)} are finer than those of this map, {format_length(pitch)}",
                    fix="Choose a coarser pixel, or common.",
                )
            counts.append(max(1, round(points * pitch / side)))
        if min(counts) < SMALLEST:
            raise TreatmentError(
                f"Pixels of {format_length(side)} leave {counts[0]} × {counts[1]} points of this map",
                fix="Choose smaller pixels.",
            )
        sizes = lattice.size
        return Frame((counts[0], counts[1]), (sizes[0] / counts[0], sizes[1] / counts[1]))

    def _side(self) -> float:
        try:
            side = parse_length(self.to)
        except QuantityError as error:
            raise TreatmentError(f"“to”: {error.what}", fix="Write a length such as 20 nm, or common.") from error
        if not side > 0:
            raise TreatmentError(f"Pixels cannot be {self.to} wide", fix="Write a length such as 20 nm, or common.")
        return side


def _averaged(scan: HeightMap, down: Edges, across: Edges) -> tuple[FloatArray, BoolArray | None]:
    """Means over the new pixels, and where more than half of what was measured there is masked."""
    present = np.isfinite(scan.z)
    area = np.outer(down.widths, across.widths)
    measured = area if present.all() else block_sums(present.astype(float), down, across)
    used = measured if scan.mask is None else block_sums(scan.used.astype(float), down, across)
    # A pixel whose points are all masked shows them and is masked; any other is the mean of the points that count.
    counted = used >= LEAST * measured
    sums = block_sums(np.where(present, scan.z, 0.0), down, across)
    of_used = sums if scan.mask is None else block_sums(np.where(scan.used, scan.z, 0.0), down, across)
    with np.errstate(invalid="ignore", divide="ignore"):
        heights = np.where(counted, of_used / used, sums / measured)
    heights[measured < LEAST * area] = np.nan
    mask = None if scan.mask is None else ~counted & np.isfinite(heights)
    return frozen(heights), mask
