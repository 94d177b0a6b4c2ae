"""The hand: which tool it holds, what it has drawn so far, and what that becomes: a mask of the bench, or a look."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent

from app.document.document import Document
from app.document.jobs import Jobs, Ticket
from app.hand.tools import TOOLS, ToolName
from app.hand.traces import Traces
from app.tiles.grid import TileGrid
from app.tiles.picture import Picture
from app.tiles.tile import Tile
from core.by_hand import Between, Region, between, region
from core.heightmap import HeightMap
from core.placement import Placement
from core.sections import Point
from core.shapes import Shape

BRUSH_PIXELS = 24.0  # screen pixels that a brush is wide until its width is typed
Pair = tuple[Point, Point]


@dataclass(frozen=True)
class Look:
    """What one tile reads by hand: its colour and title, and what core found."""

    colour: str
    title: str
    between: Between | None = None
    region: Region | None = None


class Hand(QObject):
    """Turns the mouse over pictures into shapes and looks while it holds a tool; without one it does nothing.

    Signals
    -------
    changed()
        Tool, draft, places or region are others.
    looked()
        What the tiles read by hand is worked out.
    """

    changed = Signal()
    looked = Signal()

    def __init__(self, grid: TileGrid, document: Document) -> None:
        super().__init__(grid)
        self._grid, self._document = grid, document
        self.tool: ToolName = ""
        self.brush: float | None = None  # metres; None: by the screen
        self.draft: list[Point] = []
        self.begun_in = ""
        self.points: Pair | None = None
        self.region: Pair | None = None
        self.looks: list[Look] = []
        self._overlays: dict[str, Traces] = {}
        self._pressed = False
        self._jobs = Jobs(1, self)
        self._ticket: Ticket | None = None
        grid.sync.changed.connect(self._repaint)
        self.changed.connect(self._repaint)

    # What it holds ---------------------------------------------------------------------------------------------------

    def take(self, tool: ToolName) -> None:
        """Take this tool; the one in hand is laid down, as is any when it is empty."""
        self.tool = "" if tool == self.tool else tool
        self._drop_draft()
        shape = Qt.CursorShape.PointingHandCursor if self.tool == "polygon" else Qt.CursorShape.CrossCursor
        for key in self._grid.keys:
            self._grid.tile(key).picture.setCursor(shape)
        self.changed.emit()

    def clear_looks(self) -> None:
        """Take places and region away."""
        self.points = self.region = None
        self.looks = []
        self.changed.emit()
        self.looked.emit()

    def attach(self) -> None:
        """Follow the tiles of the grid: an overlay for each, those that went are forgotten."""
        alive: dict[str, Traces] = {}
        for key in self._grid.keys:
            tile = self._grid.tile(key)
            overlay = self._overlays.pop(key, None)
            if overlay is None or overlay.parent() is not tile.picture:
                overlay = Traces(key, tile.picture, self)
                tile.picture.installEventFilter(self)
                tile.installEventFilter(self)
            alive[key] = overlay
        self._overlays = alive
        self._repaint()
        self._look()

    def shut(self) -> None:
        """Stop what runs."""
        self._jobs.shut()

    @property
    def settled(self) -> bool:
        """Whether nothing is being worked out."""
        return self._ticket is None and self._jobs.idle

    # What an overlay draws -------------------------------------------------------------------------------------------

    def has_traces(self, key: str) -> bool:
        """Whether there is anything to draw over this tile."""
        shapes, _ = self.shapes_of(key)
        return bool(shapes or self.points or self.region or (self.draft and self.begun_in == key))

    def shapes_of(self, key: str) -> tuple[tuple[Shape, ...], Placement]:
        """What is masked by hand on the scan of a tile, and where its map lies on the recorded one."""
        found = self._placed(key)
        return ((), Placement()) if found is None else (found[1], found[2])

    def draft_of(self, key: str) -> Shape | None:
        """What is being drawn in this tile, in metres of its map."""
        if key != self.begun_in or not self.draft:
            return None
        points = tuple(self.draft)
        if self.tool == "brush":
            return Shape("brush", points, self.brush_width)
        if len(points) < 2:
            return None
        if self.tool == "polygon":
            return Shape("polygon", points if len(points) > 2 else (*points, points[-1]))
        return Shape("rectangle", (points[0], points[-1])) if self.tool != "points" else None

    @property
    def brush_width(self) -> float:
        """Of the brush, metres."""
        return self.brush or BRUSH_PIXELS * self._grid.sync.scale

    def _placed(self, key: str) -> tuple[str, tuple[Shape, ...], Placement] | None:
        """Name, masks and placement of the scan that a tile shows; None for a tile without one of the comparison."""
        comparison = self._document.comparison
        if key not in self._grid.keys:  # the grid is just changing its tiles
            return None
        scan = self._grid.tile(key).state.scan
        result = None if comparison is None or scan is None else comparison.scans_by_name.get(scan.name)
        if comparison is None or result is None or result.treated is not scan:
            return None
        bench = next((one for one in self._document.bench.scans if one.name == result.name), None)
        if bench is None:
            return None
        return bench.name, bench.shapes, Placement.of(result.raw, result.treated, comparison.treatment)

    # Mouse and keyboard ----------------------------------------------------------------------------------------------

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Keep the mouse from the pictures and some keys from the tiles while a tool is held."""
        kind = event.type()
        if isinstance(watched, Picture):
            if kind == QEvent.Type.Resize:
                self._repaint()
            elif self.tool and isinstance(event, QMouseEvent):
                return self._mouse(watched, event, kind)
        elif isinstance(watched, Tile) and self.tool and kind == QEvent.Type.KeyPress and isinstance(event, QKeyEvent):
            return self._key(watched, event)
        return super().eventFilter(watched, event)

    def _mouse(self, picture: Picture, event: QMouseEvent, kind: QEvent.Type) -> bool:
        here = picture.view().to_map(event.position().x(), event.position().y())
        tile = picture.parentWidget()
        key = tile.key if isinstance(tile, Tile) else ""
        if event.button() == Qt.MouseButton.LeftButton and kind == QEvent.Type.MouseButtonPress:
            if tile is not None:
                tile.setFocus(Qt.FocusReason.MouseFocusReason)
            self._pressed = True
            self._begin(key, here)
            return True
        if event.button() == Qt.MouseButton.LeftButton and kind == QEvent.Type.MouseButtonDblClick:
            self._finish()
            return True
        if kind == QEvent.Type.MouseMove and self._pressed:
            self._drag(here)
            return True
        if event.button() == Qt.MouseButton.LeftButton and kind == QEvent.Type.MouseButtonRelease:
            self._pressed = False
            if self.tool != "polygon":
                self._drag(here)
                self._finish()
            return True
        return False

    def _key(self, tile: Tile, event: QKeyEvent) -> bool:
        key, sync = event.key(), self._grid.sync
        if key == Qt.Key.Key_Escape:
            if self.draft:
                self._drop_draft()
                self.changed.emit()
            else:
                self.take("")
        elif key == Qt.Key.Key_Space:
            self._set_place(tile.key, sync.crosshair or sync.centre)
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.draft:
            self._finish()
        else:
            return False
        return True

    def _set_place(self, key: str, here: Point) -> None:
        if not self.draft or self.begun_in != key:
            self._drop_draft()
            self._begin(key, here)
            return
        self.draft.append(here)
        self.changed.emit()
        if self.tool in ("rectangle", "region", "points"):
            self._finish()

    def _begin(self, key: str, here: Point) -> None:
        if self.tool == "polygon" and self.draft and self.begun_in == key:
            self.draft.append(here)
        else:
            self.draft, self.begun_in = [here], key
        self.changed.emit()

    def _drag(self, here: Point) -> None:
        if not self.draft:
            return
        if self.tool == "brush":
            self.draft.append(here)
        elif self.tool == "polygon":
            self.draft[-1] = here
        else:
            self.draft[1:] = [here]
        if self.tool == "points" and self.draft[0] != here:
            self.points = self.draft[0], here
        elif self.tool == "region" and self.draft[0] != here:
            self.region = self.draft[0], here
        self.changed.emit()

    def _finish(self) -> None:
        """The draft becomes a mask, or a look."""
        points, key = tuple(dict.fromkeys(self.draft)), self.begun_in
        tool = self.tool
        self._drop_draft()
        if len(points) >= 2 and tool == "points":
            self.points = points[0], points[-1]
        elif len(points) >= 2 and tool == "region":
            self.region = points[0], points[-1]
        elif points and tool and TOOLS[tool].masks:
            self._mask(key, tool, points)
        self.changed.emit()
        if tool in ("points", "region"):
            self._look()

    def _mask(self, key: str, tool: ToolName, points: tuple[Point, ...]) -> None:
        found = self._placed(key)
        fewest = {"rectangle": 2, "polygon": 3}.get(tool, 1)
        if found is None or len(points) < fewest:
            return
        name, _, place = found
        there = tuple(place.to_raw(point) for point in points)
        if tool == "rectangle":
            self._document.add_shape(name, Shape("rectangle", (there[0], there[-1])))
        elif tool == "polygon":
            self._document.add_shape(name, Shape("polygon", there))
        else:
            self._document.add_shape(name, Shape("brush", there, self.brush_width / place.wide))

    def _drop_draft(self) -> None:
        self.draft, self.begun_in, self._pressed = [], "", False

    def _repaint(self) -> None:
        for overlay in self._overlays.values():
            overlay.follow()

    # What is read ----------------------------------------------------------------------------------------------------

    def _look(self) -> None:
        """Read places and region in all tiles, in the background."""
        if self._ticket is not None:
            self._ticket.drop()
            self._ticket = None
        if self.points is None and self.region is None:
            return
        states = [self._grid.tile(key).state for key in self._grid.keys]
        shown = [(state.colour, state.title, state.scan) for state in states if state.scan is not None]
        work = partial(_looks, shown, self.points, self.region)
        self._ticket = self._jobs.start(work, done=self._take_looks, failed=_fail)

    def _take_looks(self, looks: list[Look]) -> None:
        self._ticket = None
        self.looks = looks
        self.looked.emit()


def _looks(
    shown: list[tuple[str, str, HeightMap]], points: Pair | None, corners: Pair | None, ticket: Ticket
) -> list[Look]:
    looks = []
    for colour, title, scan in shown:
        ticket.cancel.check()
        looks.append(
            Look(
                colour,
                title,
                None if points is None else between(scan, *points),
                None if corners is None else region(scan, *corners),
            )
        )
    return looks


def _fail(error: Exception) -> None:
    raise error
