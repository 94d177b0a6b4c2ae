"""Where a treated map lies on the map as recorded: what is drawn on a tile belongs to the specimen, not to the crop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from core.heightmap import HeightMap
from core.sections import Point
from core.treatment import Treatment
from core.treatment.frame import Frame


@dataclass(frozen=True, slots=True)
class Placement:
    """From places on the treated map to places on the recorded one and back, both in metres from the own centre.

    Attributes
    ----------
    x, y : float
        Centre of the treated map, metres of the treated map right of and below the centre of the recorded one.
    wide, high : float
        Metres of the treated map for each recorded metre: other than 1 where a calibration corrected the pitch.
    """

    x: float = 0.0
    y: float = 0.0
    wide: float = 1.0
    high: float = 1.0

    @classmethod
    def of(cls, raw: HeightMap, treated: HeightMap, treatment: Treatment) -> Self:
        """The placement after a treatment.

        Parameters
        ----------
        raw, treated : HeightMap
            The same scan before and after.
        treatment : Treatment
            As it was applied, all that depends on the bench settled.

        Examples
        --------
        >>> import numpy as np
        >>> raw = HeightMap(np.eye(100), (1e-8, 1e-8))
        >>> crop = Treatment.from_list([{"do": "crop", "left": "40 px"}])
        >>> round(Placement.of(raw, crop.apply(raw), crop).to_raw((0.0, 0.0))[0] * 1e9, 6)
        200.0
        """
        frame, place = Frame(raw.shape, raw.pitch), cls()
        for step, entry in zip(treatment.active, treated.history[len(raw.history) :], strict=False):
            before, frame = frame, step.frame(frame)
            x, y, wide, high = place.x, place.y, place.wide, place.high
            if step.do == "crop":
                x += entry.figures["left_m"] + frame.size[1] / 2 - before.size[1] / 2
                y += entry.figures["top_m"] + frame.size[0] / 2 - before.size[0] / 2
            elif step.do == "calibrate":
                down, across = (now / then for now, then in zip(frame.pitch, before.pitch, strict=True))
                x, y, wide, high = x * across, y * down, wide * across, high * down
            place = cls(x, y, wide, high)
        return place

    def to_raw(self, point: Point) -> Point:
        """The place on the recorded map."""
        return (point[0] + self.x) / self.wide, (point[1] + self.y) / self.high

    def to_treated(self, point: Point) -> Point:
        """The place on the treated map."""
        return point[0] * self.wide - self.x, point[1] * self.high - self.y
