"""How many tiles go side by side: so many that their pictures become as large as possible."""

from __future__ import annotations

import math
from dataclasses import dataclass

GAP = 10
SMALLEST = 88  # side of a picture below which the grid scrolls instead
EASY = 150  # side of a picture in a grid that scrolls anyway


@dataclass(frozen=True, slots=True)
class Arrangement:
    """Places for a number of tiles.

    Attributes
    ----------
    columns : int
        Tiles side by side.
    width, height : int
        Of one tile, pixels.
    left : int
        Where the first column begins.
    rows : int
        Lines of tiles.
    """

    columns: int
    width: int
    height: int
    left: int
    rows: int

    @property
    def total_height(self) -> int:
        """Height of everything with its margins."""
        return GAP + self.rows * (self.height + GAP)

    def place(self, index: int) -> tuple[int, int, int, int]:
        """Left, top, width and height of a tile."""
        row, column = divmod(index, self.columns)
        return (
            self.left + column * (self.width + GAP),
            GAP + row * (self.height + GAP),
            self.width,
            self.height,
        )


def arrange(
    count: int, width: int, height: int, chrome: tuple[int, int], aspect: float = 1.0, scroll_bar: int = 12
) -> Arrangement:
    """The arrangement with the largest pictures.

    Parameters
    ----------
    count : int
        Number of tiles.
    width, height : int
        Room for them, pixels.
    chrome : (int, int)
        What a tile needs beside its picture, across and down.
    aspect : float, default 1
        Width over height of the pictures; kept between 1/2 and 2.
    scroll_bar : int, default 12
        Its width, should there have to be one.

    Examples
    --------
    >>> six = arrange(6, 800, 620, (66, 84))
    >>> six.columns, six.rows, six.width - 66, six.height - 84
    (3, 2, 187, 187)
    """
    aspect = min(max(aspect, 0.5), 2.0)
    across, down = chrome
    best = (0.0, 1)
    for columns in range(1, max(count, 1) + 1):
        rows = math.ceil(count / columns) or 1
        room_x = (width - GAP * (columns + 1)) / columns - across
        room_y = (height - GAP * (rows + 1)) / rows - down
        best = max(best, (min(room_x, room_y * aspect), columns), key=lambda found: (found[0], -found[1]))
    picture, columns = best
    if min(picture, picture / aspect) < SMALLEST:
        smallest = EASY * max(1.0, aspect)
        width -= scroll_bar
        # A comparison stands side by side: two columns as long as their pictures are not too small.
        fewest = 2 if count > 1 and (width - 3 * GAP) / 2 - across >= SMALLEST else 1
        columns = max(fewest, min(count, int((width - GAP) // (smallest + across + GAP))))
        picture = max(float(SMALLEST) / 2, (width - GAP * (columns + 1)) / columns - across)
    rows = math.ceil(count / columns) or 1
    tile_width, tile_height = int(picture) + across, int(picture / aspect) + down
    spare = width - columns * tile_width - GAP * (columns + 1)
    return Arrangement(columns, tile_width, tile_height, GAP + max(0, spare // 2), rows)
