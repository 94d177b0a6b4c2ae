"""Where everything on the figure stands. Pure geometry in talk points, from the top left corner of the page.

A talk point is a point (1/72 inch) on a slide of 13.33 × 7.5 inches; a page of another size is the slide scaled, so
text that is 14 points on the slide keeps its place and share on every page.

Three to six specimens: row a (one scale) stands above row b (own scales). Otherwise each specimen has its two maps side
by side, a left and b right, in as many columns as give the largest maps, its text above the maps or beside them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

SIDE, TOP, FOOT = 26.0, 20.0, 18.0  # margins of the page
TITLE, HEAD, TEXT = 24.0, 15.0, 14.0  # sizes of type
TITLE_LINE, HEAD_LINE, LINE = 36.0, 26.0, 18.0  # distances of lines
BAR_ROOM = 58.0  # right of the maps: the bar of the shared scale with its numbers
PAIR_GAP, COLUMN_GAP, STACK_GAP = 5.0, 12.0, 10.0
STACKED = range(3, 7)
ROW_GAP = 12.0
BAR = 12.0  # width of the colour bar
BESIDE = 110.0  # a name beside maps has at least this room if it wants it
SMALLEST = 24.0  # a map smaller than this shows nothing


@dataclass(frozen=True, slots=True)
class Box:
    """A rectangle: left, top, width, height."""

    x: float
    y: float
    w: float
    h: float

    def fitted(self, aspect: float) -> Box:
        """The largest box of height / width `aspect` inside this one, at its upper left corner."""
        w = min(self.w, self.h / aspect)
        return Box(self.x, self.y, w, w * aspect)


@dataclass(frozen=True, slots=True)
class Cell:
    """The places of one specimen: its text (with the line of the range where it is beside the maps) and its maps."""

    text: Box
    a: Box
    b: Box
    beside: bool = False


@dataclass(frozen=True, slots=True)
class Layout:
    """The places of all.

    Attributes
    ----------
    cells : tuple of Cell
        In the order of the specimens.
    head_a, head_b : (float, float)
        Upper left corner of the two headings.
    bar : Box
        The colour bar.
    caption : (float, float)
        Upper left corner of the caption.
    name_lines : int
        Lines that a name may take.
    stacked : bool
        Whether row a stands above row b.
    """

    cells: tuple[Cell, ...]
    head_a: tuple[float, float]
    head_b: tuple[float, float]
    bar: Box
    caption: tuple[float, float]
    name_lines: int
    stacked: bool = False


@dataclass(frozen=True, slots=True)
class Need:
    """What has to find room.

    Attributes
    ----------
    specimens : int
        How many.
    page : (float, float)
        Width and height in talk points.
    aspect : float
        Height / width of the boxes that hold the maps.
    names : tuple of float
        Width of each name with its badge.
    value_lines : int
        Lines of the value of each specimen.
    text_room : float
        Width that these lines, and the range, must at least have.
    caption_lines : int
        Lines of the caption.
    head_b_x : float
        How far to the right the second heading begins if it shares its line with the first.
    """

    specimens: int
    page: tuple[float, float]
    aspect: float
    names: tuple[float, ...]
    value_lines: int
    text_room: float
    caption_lines: int
    head_b_x: float

    @property
    def wish(self) -> float:
        """Width that names and values would fill in one line each."""
        return max(self.text_room, *self.names)

    def name_lines(self, room: float) -> int:
        """Lines that the longest name takes in this room, two at most."""
        return 1 if max(self.names) <= room else 2


def arrange(need: Need) -> Layout | None:
    """The layout with the largest maps; None if nothing fits."""
    if need.specimens in STACKED:
        stacked = _stacked(need)
        if stacked is not None:
            return stacked
    grids = (_pair_grid(need, columns, beside) for columns in range(1, need.specimens + 1) for beside in (False, True))
    return max((grid for grid in grids if grid is not None), key=lambda grid: grid.cells[0].a.w, default=None)


def _stacked(need: Need) -> Layout | None:
    """Row a: heading, text, maps; row b: heading, maps, ranges."""
    wide, top, bottom = _field(need)
    count = need.specimens
    column = (wide - (count - 1) * STACK_GAP) / count
    names = need.name_lines(column)
    text = (names + need.value_lines) * LINE
    w = min(column, (bottom - top - 2 * HEAD_LINE - text - 4 - 10 - LINE - 4) / 2 / need.aspect)
    pitch = column + STACK_GAP
    room = pitch - 4  # text may use part of the gap
    if w < SMALLEST or room < need.text_room:
        return None
    h = w * need.aspect
    y_a = top + HEAD_LINE + text + 4
    y_head_b = y_a + h + 10
    y_b = y_head_b + HEAD_LINE
    xs = [SIDE + i * pitch for i in range(count)]
    cells = tuple(Cell(Box(x, top + HEAD_LINE, room, text), Box(x, y_a, w, h), Box(x, y_b, w, h)) for x in xs)
    bar = Box(xs[-1] + max(w, min(column, need.wish)) + STACK_GAP, y_a, BAR, h)
    return Layout(cells, (SIDE, top), (SIDE, y_head_b), bar, (SIDE, y_b + h + 4 + LINE + 8), names, stacked=True)


def _pair_grid(need: Need, columns: int, beside: bool) -> Layout | None:
    """Maps a and b of a specimen side by side, in `columns` columns; its text above and below, or to their right."""
    wide, top, bottom = _field(need)
    top += HEAD_LINE
    rows = math.ceil(need.specimens / columns)
    cell = (wide - (columns - 1) * COLUMN_GAP) / columns
    tall = (bottom - top - (rows - 1) * ROW_GAP) / rows
    grid = _beside(need, cell, tall) if beside else _above(need, cell, tall)
    if grid is None or grid.w < SMALLEST:
        return None
    w, h = grid.w, grid.w * need.aspect
    maps = 2 * w + PAIR_GAP
    cells = []
    for number in range(need.specimens):
        x = SIDE + number % columns * (grid.across + COLUMN_GAP)
        y = top + number // columns * (grid.down + ROW_GAP)
        y_maps = y + (0 if beside else grid.text + 4)
        text = Box(x + maps + 8, y, grid.across - maps - 8, grid.text) if beside else Box(x, y, grid.across, grid.text)
        cells.append(Cell(text, Box(x, y_maps, w, h), Box(x + w + PAIR_GAP, y_maps, w, h), beside))
    first, last = cells[0], cells[-1]
    end = max(last.text.y + last.text.h, last.a.y + h) if beside else last.a.y + h + 4 + LINE
    reach = min(columns, need.specimens) * (grid.across + COLUMN_GAP) - COLUMN_GAP
    bar_top = max(first.a.y, top + LINE + 8)
    bar = Box(SIDE + reach + 12, bar_top, BAR, min(last.a.y + h - bar_top, 220.0))
    heads = (SIDE, top - HEAD_LINE), (SIDE + need.head_b_x, top - HEAD_LINE)
    return Layout(tuple(cells), *heads, bar, (SIDE, end + 8), grid.names)


@dataclass(frozen=True, slots=True)
class _Grid:
    """Width of a map, size of a cell, height of its text, lines of a name."""

    w: float
    across: float
    down: float
    text: float
    names: int


def _above(need: Need, cell: float, tall: float) -> _Grid | None:
    """Name and value above the maps, the range below."""
    if cell < need.text_room:
        return None
    names = need.name_lines(cell)
    text = (names + need.value_lines) * LINE
    w = min((cell - PAIR_GAP) / 2, (tall - text - 4 - LINE - 4) / need.aspect)
    across = max(2 * w + PAIR_GAP, min(cell, need.wish))
    return _Grid(w, across, text + 4 + w * need.aspect + 4 + LINE, text, names)


def _beside(need: Need, cell: float, tall: float) -> _Grid | None:
    """Name, value and range to the right of the maps; a long name in two lines if the maps are high enough."""
    names = min(2, int(tall // LINE) - need.value_lines - 1)
    room = max(need.text_room, min(BESIDE, need.wish))
    if names < 1:
        return None
    w = min((cell - room - 8 - PAIR_GAP) / 2, tall / need.aspect)
    maps = 2 * w + PAIR_GAP + 8
    across = min(cell, maps + need.wish)
    names = min(names, need.name_lines(across - maps))
    text = (names + need.value_lines + 1) * LINE
    return _Grid(w, across, max(w * need.aspect, text), text, names)


def _field(need: Need) -> tuple[float, float, float]:
    """Width, top and bottom of what is left for headings, texts and maps."""
    page_w, page_h = need.page
    return (
        page_w - 2 * SIDE - BAR_ROOM,
        TOP + TITLE_LINE,
        page_h - FOOT - need.caption_lines * LINE - 8,
    )


def box_aspect(aspects: Sequence[float]) -> float:
    """Height / width of the boxes: the geometric mean over the maps, so that long scans do not waste the page.

    >>> box_aspect([1.0, 1.0]), box_aspect([0.01])
    (1.0, 0.4)
    """
    mean = math.exp(sum(math.log(aspect) for aspect in aspects) / len(aspects))
    return min(2.5, max(0.4, mean))
