"""The three points of a plane, as a treatment says them: shares of width and height, so that they suit every scan."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Self

import numpy as np

from core.errors import TreatmentError
from core.heightmap import FloatArray, HeightMap
from core.treatment.extent import Extent
from core.units import percent

_SHARES = re.compile(r"\s*(\d+(?:\.\d*)?)\s*%\s+(\d+(?:\.\d*)?)\s*%\s*")
FLATTEST = 0.01  # area of the triangle, as a share of the map, below which the points lie on one line
EXAMPLE = "10% 10%, 90% 10%, 50% 90%"


@dataclass(frozen=True, slots=True)
class Corners:
    """Three points.

    Attributes
    ----------
    places : tuple of (float, float)
        Shares ``(across, down)``, 0 to 1.
    """

    places: tuple[tuple[float, float], ...]

    @classmethod
    def parse(cls, text: object) -> Self:
        """The points that a treatment states.

        Raises
        ------
        TreatmentError
            If there are not three of them, one lies outside, or all lie on one line.

        Examples
        --------
        >>> Corners.parse("10% 10%, 90% 10%, 50% 90%").places[2]
        (0.5, 0.9)
        """
        fix = f'Write points = "{EXAMPLE}": across and down, from the upper left corner.'
        if not isinstance(text, str):
            raise TreatmentError("Levelling by three points needs “points”", fix=fix)
        found = [_SHARES.fullmatch(part) for part in text.split(",")]
        places = tuple((float(match[1]) / 100, float(match[2]) / 100) for match in found if match)
        if len(places) != 3 or len(found) != 3 or any(not 0 <= share <= 1 for place in places for share in place):
            raise TreatmentError(f"“{text}” are not three points on the map", fix=fix)
        (ax, ay), (bx, by), (cx, cy) = places
        if abs((bx - ax) * (cy - ay) - (cx - ax) * (by - ay)) / 2 < FLATTEST:
            raise TreatmentError("The three points lie on one line", fix=fix)
        return cls(places)

    def plane(self, scan: HeightMap, about: Extent) -> tuple[FloatArray, tuple[float, float]]:
        """The plane through the medians about the three points, metres, and its slopes down and across.

        Raises
        ------
        TreatmentError
            If nothing that counts lies about one of the points.
        """
        at, heights = [], []
        for across, down in self.places:
            row, column = down * (scan.shape[0] - 1), across * (scan.shape[1] - 1)
            rows = _span(row, about.pixels(scan.pitch[0]), scan.shape[0])
            columns = _span(column, about.pixels(scan.pitch[1]), scan.shape[1])
            near = scan.z[rows, columns][scan.used[rows, columns]]
            if near.size == 0:
                raise TreatmentError(
                    f"Nothing is measured about the point {percent(across)} {percent(down)}",
                    fix="Choose another point.",
                )
            at.append([1.0, row, column])
            heights.append(float(np.median(near)))
        offset, down_step, across_step = np.linalg.solve(np.array(at), np.array(heights))
        rows_, columns_ = np.ogrid[: scan.shape[0], : scan.shape[1]]
        plane = offset + down_step * rows_ + across_step * columns_
        return plane, (float(down_step / scan.pitch[0]), float(across_step / scan.pitch[1]))


def _span(middle: float, side: float, points: int) -> slice:
    """The points of a square's side about a place, at least one."""
    half = max(0.0, side / 2 - 0.5)
    first = max(0, round(middle - half))
    return slice(first, min(points, max(first + 1, round(middle + half) + 1)))
