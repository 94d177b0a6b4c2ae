"""Where everything on a composed figure stands. Pure geometry in talk points from the upper left corner.

A talk point is the page scaled so that type is 14 talk points high: the same rules then hold for slide, journal and
poster. Rows stand one above the other. Maps of many scans break into several lines, each with all map rows.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from core.figure.layout import BAR, HEAD_LINE, LINE, TITLE_LINE, Box
from core.oblique import DEPTH, FILLED, HEADROOM, PLINTH, SHEAR

MAPS = ("shared", "own", "oblique")
BAR_ROOM = 76.0  # right of the maps: the colour bar with its numbers
ENTRY = 22.0  # from one line of the ranking to the next
GAP, LINE_GAP, ROW_GAP = 12.0, 14.0, 10.0
METER = 12.0  # room of the fairness strip under a map
SMALLEST, LARGEST = 44.0, 260.0  # width of a map: below it shows nothing; above it a journal's page is wasted
PANE = (120.0, 230.0)  # least and largest height of the plots
LEFT = 62.0  # of the numbers beside a plot
AXIS_ROOM = 46.0  # of numbers and label under a plot
RANKING_ROOM, LEGEND_ROOM = 430.0, 190.0  # width that a column of them wants
AXIS = 40.0  # numbers and label of the ranking's axis


@dataclass(frozen=True, slots=True)
class Need:
    """What has to find room.

    Attributes
    ----------
    rows : tuple of str
        From top to bottom.
    count : int
        Scans that are shown.
    aspect : float
        Height / width of the boxes of the maps.
    text_room : float
        Width that values and ranges must at least have.
    name_width : float
        Of the longest name with its badge.
    panes : int
        Plots in the row of curves.
    entries : int
        Lines of the ranking.
    meter, titled : bool
        Whether there are fairness strips; whether there is a title.
    caption_lines : int
        Lines of warnings and caption.
    """

    rows: tuple[str, ...]
    count: int
    aspect: float
    text_room: float
    name_width: float
    panes: int
    entries: int
    meter: bool
    titled: bool
    caption_lines: int

    @property
    def maps(self) -> tuple[str, ...]:
        """The rows of maps."""
        return tuple(row for row in self.rows if row in MAPS)

    def tall(self, row: str) -> float:
        """Height / width of a picture of this row."""
        if row != "oblique":
            return self.aspect
        rise = FILLED * (1 + HEADROOM)
        return (DEPTH * self.aspect + rise + PLINTH) / (1 + SHEAR * self.aspect)

    def under(self, row: str) -> float:
        """Room under a map of this row: fairness strip, range."""
        return (METER if self.meter and row != "oblique" else 0.0) + (LINE + 4 if row == "own" else 0.0)


@dataclass(frozen=True, slots=True)
class Placement:
    """The places of all.

    Attributes
    ----------
    height : float
        Of the page.
    title : (float, float)
        Upper left corner.
    heads : mapping of str to (float, float)
        Upper left corner of the heading of each row.
    texts : tuple of Box
        Name and value of each scan.
    maps : mapping of (str, int) to Box
        Pictures, by row and number of the scan.
    name_lines : int
        Lines of a name.
    bar : Box or None
        The colour bar of the shared scale.
    panes, legend, ranking : tuple of Box
        The plots; the columns of the legend; those of the ranking.
    caption : (float, float)
        Upper left corner.
    """

    height: float
    title: tuple[float, float]
    heads: dict[str, tuple[float, float]]
    texts: tuple[Box, ...]
    maps: dict[tuple[str, int], Box]
    name_lines: int
    bar: Box | None
    panes: tuple[Box, ...]
    legend: tuple[Box, ...]
    ranking: tuple[Box, ...]
    caption: tuple[float, float]

    @property
    def map_width(self) -> float:
        """Width of a map; none is wider than nothing."""
        return next((box.w for box in self.maps.values()), math.inf)


def place(need: Need, width: float, height: float, margin: float, *, fixed: bool) -> Placement | None:
    """The placement with the largest maps; None if nothing fits.

    Parameters
    ----------
    need : Need
        What has to find room.
    width, height : float
        Of the page; its greatest height where it is not fixed.
    margin : float
        Around everything.
    fixed : bool
        Whether the page keeps its height.
    """
    if not need.maps:
        return _placed(need, width, height, margin, fixed, 0, 0.0)
    columns = range(1, need.count + 1)
    found = (
        _placed(need, width, height, margin, fixed, number, w)
        for number in columns
        if (w := _map_width(need, width, height, margin, fixed, number)) is not None
    )
    return max((one for one in found if one is not None), key=lambda one: one.map_width, default=None)


def _map_width(need: Need, width: float, height: float, margin: float, fixed: bool, columns: int) -> float | None:
    """The largest width that columns and height leave for a map; None where text or map find no room."""
    pitch = _pitch(need, width, margin, columns)
    if pitch - GAP < need.text_room:
        return None
    lines = math.ceil(need.count / columns)
    if columns != math.ceil(need.count / lines):
        return None  # the same lines with fewer columns give larger maps
    free = height - _height(need, width, margin, columns, 0.0)
    wide = min(pitch - GAP, free / (lines * sum(need.tall(row) for row in need.maps)))
    wide = wide if fixed else min(wide, LARGEST)
    return wide if wide >= SMALLEST else None


def _pitch(need: Need, width: float, margin: float, columns: int) -> float:
    bar = BAR_ROOM if {"shared", "oblique"} & set(need.maps) else 0.0
    return (width - 2 * margin - bar + GAP) / columns


def _name_lines(need: Need, pitch: float) -> int:
    return 1 if need.name_width <= pitch - GAP else 2


def _legend_columns(width: float, margin: float) -> int:
    return max(1, int((width - 2 * margin) // LEGEND_ROOM))


def _ranking_columns(need: Need, width: float, margin: float) -> int:
    """So many columns as have room, and no more than eight lines need."""
    return max(1, min(int((width - 2 * margin) // RANKING_ROOM), math.ceil(need.entries / 8)))


def _height(need: Need, width: float, margin: float, columns: int, wide: float) -> float:
    """Height of everything with maps of this width and plots of their least height."""
    total = 2 * margin + 2 + (TITLE_LINE if need.titled else 0.0)
    if need.maps:
        lines = math.ceil(need.count / columns)
        text = (_name_lines(need, _pitch(need, width, margin, columns)) + 1) * LINE + 4
        pictures = sum(wide * need.tall(row) + need.under(row) for row in need.maps) + ROW_GAP * (len(need.maps) - 1)
        total += len(need.maps) * HEAD_LINE + lines * (text + pictures + LINE_GAP)
    if "curves" in need.rows:
        rows = _pane_rows(need, width, margin)
        total += HEAD_LINE + rows * (PANE[0] + AXIS_ROOM + LINE) + ROW_GAP
        total += math.ceil(need.count / _legend_columns(width, margin)) * LINE
    if "ranking" in need.rows:
        total += HEAD_LINE + math.ceil(need.entries / _ranking_columns(need, width, margin)) * ENTRY + AXIS + ROW_GAP
    return total + need.caption_lines * LINE + (8 if need.caption_lines else 0)


def _pane_rows(need: Need, width: float, margin: float) -> int:
    """Rows of plots: each plot wants some room for its numbers."""
    side_by_side = max(1, min(need.panes, int((width - 2 * margin) // 230)))
    return math.ceil(need.panes / side_by_side)


def _placed(
    need: Need, width: float, height: float, margin: float, fixed: bool, columns: int, wide: float
) -> Placement | None:
    least = _height(need, width, margin, columns or 1, wide)
    if least > height + 0.01:
        return None
    pen = _Cursor(need, width, margin, columns, wide, height - least if fixed else 60.0)
    for row in need.rows:
        pen.lay(row)
    y = pen.y
    total = height if fixed else y + (8 + need.caption_lines * LINE if need.caption_lines else 0) + margin + 2
    return Placement(
        height=total,
        title=(margin, margin),
        heads=pen.heads,
        texts=tuple(pen.texts),
        maps=pen.maps,
        name_lines=pen.names,
        bar=pen.bar(),
        panes=tuple(pen.panes),
        legend=tuple(pen.legend),
        ranking=tuple(pen.ranking),
        caption=(margin, y + 8),
    )


class _Cursor:
    """Goes down the page, one row under the other; the rows of maps together, where the first of them stands."""

    def __init__(self, need: Need, width: float, margin: float, columns: int, wide: float, spare: float) -> None:
        self.need, self.width, self.margin, self.columns, self.wide, self.spare = (
            need, width, margin, columns, wide, spare,
        )  # fmt: skip
        self.y = margin + (TITLE_LINE if need.titled else 0.0)
        self.heads: dict[str, tuple[float, float]] = {}
        self.texts: list[Box] = []
        self.maps: dict[tuple[str, int], Box] = {}
        self.panes: list[Box] = []
        self.legend: list[Box] = []
        self.ranking: list[Box] = []
        self.names = 1

    def lay(self, row: str) -> None:
        """Put a row where the cursor is."""
        if row == "curves":
            self._curves()
        elif row == "ranking":
            self._ranking()
        elif not self.maps:
            self._maps()

    def bar(self) -> Box | None:
        """The colour bar, beside the last map of the first line that has the shared colours."""
        row = next((row for row in self.need.maps if row in ("shared", "oblique")), None)
        if row is None:
            return None
        last = self.maps[row, min(self.columns, self.need.count) - 1]
        x = self.margin + self.columns * self._pitch + 4
        top = last.y + LINE + 10
        return Box(x, top, BAR, max(40.0, min(last.h - LINE - 20, 220.0)))

    @property
    def _pitch(self) -> float:
        full = _pitch(self.need, self.width, self.margin, self.columns)
        # Maps that the height keeps small stand together, as long as their texts have room.
        wish = max(self.wide, min(self.need.name_width, self.need.text_room + 30), self.need.text_room) + GAP
        return min(full, wish)

    def _maps(self) -> None:
        need, pitch = self.need, self._pitch
        self.names = _name_lines(need, pitch)
        text = (self.names + 1) * LINE + 4
        for start in range(0, need.count, self.columns):
            numbers = range(start, min(start + self.columns, need.count))
            for place_, row in enumerate(need.maps):
                if start == 0:
                    self.heads[row] = (self.margin, self.y)
                    self.y += HEAD_LINE
                if place_ == 0:
                    for column, _ in enumerate(numbers):
                        self.texts.append(Box(self.margin + column * pitch, self.y, pitch - GAP, text))
                    self.y += text
                high = self.wide * need.tall(row)
                for column, number in enumerate(numbers):
                    self.maps[row, number] = Box(self.margin + column * pitch, self.y, self.wide, high)
                self.y += high + need.under(row) + (ROW_GAP if row != need.maps[-1] else LINE_GAP)

    def _curves(self) -> None:
        need = self.need
        self.heads["curves"] = (self.margin, self.y)
        self.y += HEAD_LINE
        rows = _pane_rows(need, self.width, self.margin)
        side = math.ceil(need.panes / rows)
        wide = (self.width - 2 * self.margin + 24) / side
        high = min(PANE[1], PANE[0] + self.spare / rows, max(PANE[0], 0.75 * wide))
        self.spare -= rows * (high - PANE[0])
        for number in range(need.panes):
            x = self.margin + number % side * wide
            y = self.y + LINE + number // side * (high + AXIS_ROOM + LINE)
            self.panes.append(Box(x + LEFT, y, wide - 24 - LEFT, high))
        self.y += rows * (high + AXIS_ROOM + LINE)
        columns = _legend_columns(self.width, self.margin)
        self.legend = list(self._columns(columns, need.count))
        self.y += math.ceil(need.count / columns) * LINE + ROW_GAP

    def _ranking(self) -> None:
        self.heads["ranking"] = (self.margin, self.y)
        self.y += HEAD_LINE
        columns = _ranking_columns(self.need, self.width, self.margin)
        self.ranking = list(self._columns(columns, self.need.entries, gap=28.0))
        self.y += math.ceil(self.need.entries / columns) * ENTRY + AXIS + ROW_GAP

    def _columns(self, columns: int, entries: int, gap: float = GAP) -> Iterator[Box]:
        lines = math.ceil(entries / columns)
        wide = (self.width - 2 * self.margin + gap) / columns
        for number in range(columns):
            yield Box(self.margin + number * wide, self.y, wide - gap, lines * LINE)
