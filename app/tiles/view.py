"""Where a picture looks: screen pixels to metres and back, and which pixels of which reduction it needs."""

from __future__ import annotations

import math
from dataclasses import dataclass

from core.display import Window
from core.heightmap import HeightMap

MARGIN = 0.5  # of the picture's side, worked out beyond each border so that moving shows no gap
WHOLE = 2.0  # times the picture's pixels: a map that needs no more is worked out whole


@dataclass(frozen=True, slots=True)
class View:
    """One picture's share of the common view.

    Attributes
    ----------
    x, y : float
        What lies in the middle, metres from the map's centre.
    scale : float
        Metres per device-independent pixel.
    width, height : float
        Of the picture, device-independent pixels.
    ratio : float
        Device pixels per device-independent pixel.
    """

    x: float
    y: float
    scale: float
    width: float
    height: float
    ratio: float = 1.0

    def to_screen(self, x: float, y: float) -> tuple[float, float]:
        """Where a position is in the picture, device-independent pixels."""
        return (x - self.x) / self.scale + self.width / 2, (y - self.y) / self.scale + self.height / 2

    def to_map(self, px: float, py: float) -> tuple[float, float]:
        """The position under a pixel, metres."""
        return self.x + (px - self.width / 2) * self.scale, self.y + (py - self.height / 2) * self.scale


@dataclass(frozen=True, slots=True)
class Wanted:
    """A level that a picture needs: the grid of the whole map, and the window of it."""

    rows: int
    columns: int
    window: Window

    @property
    def whole(self) -> bool:
        """Whether the whole map is wanted."""
        return self.window == (0, self.rows, 0, self.columns)

    def covers(self, other: Wanted) -> bool:
        """Whether this one shows all that the other shows, just as sharp."""
        a, b = self.window, other.window
        same = (self.rows, self.columns) == (other.rows, other.columns)
        return same and a[0] <= b[0] and a[1] >= b[1] and a[2] <= b[2] and a[3] >= b[3]


def whole_map(scan: HeightMap, view: View) -> Wanted:
    """The whole map in no more pixels than twice those of the picture."""
    rows, columns = _grid(scan, view)
    much = rows * columns / max(1.0, view.width * view.height * view.ratio**2 * WHOLE)
    if much > 1:
        rows, columns = max(1, int(rows / math.sqrt(much))), max(1, int(columns / math.sqrt(much)))
    return Wanted(rows, columns, (0, rows, 0, columns))


def seen(scan: HeightMap, view: View, margin: float = 0.0) -> Wanted | None:
    """The pixels that lie in the picture; None when the map lies outside.

    One pixel of the level is one device pixel, or one point of the map where points are larger than that.
    """
    rows, columns = _grid(scan, view)
    top, bottom = _range(view.y, view.height * view.scale, scan.size[0], rows, margin)
    left, right = _range(view.x, view.width * view.scale, scan.size[1], columns, margin)
    if top >= bottom or left >= right:
        return None
    return Wanted(rows, columns, (top, bottom, left, right))


def points_seen(scan: HeightMap, view: View) -> Window | None:
    """The points that lie in the picture: first and end row, first and end column; None when there are none."""
    top, bottom = _range(view.y, view.height * view.scale, scan.size[0], scan.shape[0], 0.0)
    left, right = _range(view.x, view.width * view.scale, scan.size[1], scan.shape[1], 0.0)
    return (top, bottom, left, right) if top < bottom and left < right else None


def _grid(scan: HeightMap, view: View) -> tuple[int, int]:
    pixel = view.scale / view.ratio
    rows, columns = (max(1, min(n, round(side / pixel))) for n, side in zip(scan.shape, scan.size, strict=True))
    return rows, columns


def _range(middle: float, length: float, side: float, count: int, margin: float) -> tuple[int, int]:
    reach = length * (0.5 + margin)
    first = math.floor((middle - reach + side / 2) / side * count)
    end = math.ceil((middle + reach + side / 2) / side * count)
    return max(0, first), min(count, end)
