"""The bench as a grid of tiles: as large as the room allows, all with one view, one cross-hair and one section."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise

from PySide6.QtCore import QTimer, Signal
from PySide6.QtGui import QResizeEvent, QShowEvent
from PySide6.QtWidgets import QFrame, QScrollArea, QWidget

from app.document.jobs import Jobs
from app.tiles.arrange import Arrangement, arrange
from app.tiles.look import common_cast
from app.tiles.marks import Marks
from app.tiles.state import Area, Line, Range, TileState
from app.tiles.tile import CHROME, Tile
from app.tiles.view import points_seen
from app.tiles.viewsync import ViewSync
from core.sections import height_at

ROOM = 1.6  # times the framed part that a tile shows when it is looked at
NO_MARKS = Marks()
SETTLE = 40  # ms without a change of view or limits before levels and clipped shares are worked out


class TileGrid(QScrollArea):
    """All tiles. It scrolls when they would become too small.

    Signals
    -------
    pointed : (x, y) in metres from the centre of each map, or None
        Where the cross-hair is.
    section_drawn : (x0, y0, x1, y1) in metres
        A section was drawn in one of the tiles.
    chosen, remove_asked : str
        Key of a tile that was clicked, or that shall go.
    spot_asked : str, int
        Key of a tile, and −1 or +1: the previous or next spot of its specimen.
    doubt_asked : str, str
        Key of a tile and the text of the chip that was clicked; empty where it stands for several.
    gathered : str
        Key of a tile that was clicked with Ctrl.
    """

    pointed = Signal(object)
    section_drawn = Signal(object)
    chosen = Signal(str)
    remove_asked = Signal(str)
    spot_asked = Signal(str, int)
    doubt_asked = Signal(str, str)
    gathered = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setWidgetResizable(False)
        self.setAccessibleName("Bench")
        self._inside = QWidget()
        self._inside.setProperty("plain", True)
        self.setWidget(self._inside)
        self._tiles: dict[str, Tile] = {}
        self._limits: Range = (0.0, 100e-9)
        self._shared = True
        self._busy = False
        self._section: Line | None = None
        self._framed: tuple[str, Area] | None = None
        self._marked: Mapping[str, Marks] = {}
        self._alone = ""
        self._sync = ViewSync(self)
        self._sync.changed.connect(self._view_changed)
        self._sync.look_changed.connect(self._view_changed)
        self._sync.crosshair_changed.connect(self._crosshair_changed)
        self._jobs = Jobs(2, self)
        self.destroyed.connect(self._jobs.shut)
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.timeout.connect(self._catch_up)
        self.verticalScrollBar().valueChanged.connect(self._wake)

    # --- what is shown ---

    @property
    def sync(self) -> ViewSync:
        """The common view."""
        return self._sync

    @property
    def keys(self) -> list[str]:
        """Keys of the tiles in the order shown."""
        return list(self._tiles)

    @property
    def settled(self) -> bool:
        """Whether every tile is as sharp as it gets and nothing is being worked out."""
        return not self._settle.isActive() and self._jobs.idle and not any(t.waits for t in self._tiles.values())

    def tile(self, key: str) -> Tile:
        """The tile of this key.

        Raises
        ------
        KeyError
            If there is none.
        """
        return self._tiles[key]

    def set_tiles(self, states: Sequence[TileState]) -> None:
        """Show these, in this order. A tile whose key stays is kept."""
        kept: dict[str, Tile] = {}
        for state in states:
            tile = self._tiles.pop(state.key, None)
            if tile is None:
                tile = self._new_tile(state)
            else:
                tile.set_state(state)
            kept[state.key] = tile
        for tile in self._tiles.values():
            tile.release()
            tile.hide()
            tile.deleteLater()
        self._tiles = kept
        self._order_focus()
        self._measure()
        self._lay_out()
        self.set_section(self._section)
        self._frame()
        self._mark()
        self._settle.start(0)

    @property
    def alone(self) -> str:
        """Key of the tile that fills all the room; empty when all are shown."""
        return self._alone

    def toggle_alone(self, key: str) -> None:
        """This tile in all the room, or all tiles again."""
        self._alone = key if key in self._tiles and not self._alone else ""
        self._lay_out()
        if key in self._tiles:
            self._tiles[key].setFocus()

    def set_limits(self, low: float, high: float) -> None:
        """Colour all tiles for this range, metres."""
        self._limits = (low, high)
        self._recolour()

    def set_shared(self, shared: bool) -> None:
        """Whether all tiles have one range; otherwise each has its own and says so."""
        self._shared = shared
        self._recolour()

    def set_busy(self, busy: bool) -> None:
        """Whether the readings are being worked out anew; they are pale meanwhile."""
        self._busy = busy
        for tile in self._tiles.values():
            tile.set_busy(busy)

    def set_section(self, line: Line | None) -> None:
        """Draw this section in every tile."""
        self._section = line
        for tile in self._tiles.values():
            tile.picture.set_section(line, tile.section_ink())

    def set_frame(self, scan: str = "", area: Area | None = None) -> None:
        """Frame a part of this scan on its tile; no frame without an area."""
        self._framed = None if area is None else (scan, area)
        self._frame()

    def set_marks(self, marks: Mapping[str, Marks]) -> None:
        """Draw these on the maps, by name of the scan; nothing on the others."""
        self._marked = marks
        self._mark()

    def look_at(self, key: str, area: Area | None) -> None:
        """Scroll to a tile and bring a part of its map close; None shows the whole."""
        tile = self._tiles[key]
        self.ensureWidgetVisible(tile)
        self._sync.fit()
        picture = tile.picture
        if area is None or not picture.width() or not picture.height():
            return
        x, y, wide, high = area
        wanted = ROOM * max(wide / picture.width(), high / picture.height())
        if 0 < wanted < picture.view().scale:
            self._sync.zoom(picture.view().scale / wanted)
            view = picture.view()
            self._sync.pan((view.x - x) / view.scale, (view.y - y) / view.scale)

    def readings_at(self, x: float, y: float) -> dict[str, float | None]:
        """Height of every treated map at a position, metres; None outside, where missing, and without a map.

        Parameters
        ----------
        x, y : float
            Metres from the centre of each map, x to the right, y down.
        """
        scans = {key: tile.state.scan for key, tile in self._tiles.items()}
        return {key: None if scan is None else height_at(scan, x, y) for key, scan in scans.items()}

    # --- inside ---

    def _frame(self) -> None:
        for tile in self._tiles.values():
            scan, framed = tile.state.scan, self._framed
            here = framed is not None and scan is not None and scan.name == framed[0]
            tile.frame.set_area(framed[1] if here and framed is not None else None)

    def _mark(self) -> None:
        for tile in self._tiles.values():
            scan = tile.state.scan
            tile.marks.set_marks(NO_MARKS if scan is None else self._marked.get(scan.name, NO_MARKS))

    def _new_tile(self, state: TileState) -> Tile:
        tile = Tile(state, self._sync, self._jobs, self._inside)
        tile.set_limits(self._limits, shared=self._shared)
        tile.set_busy(self._busy)
        tile.chosen.connect(self.chosen)
        tile.enlarged.connect(self.toggle_alone)
        tile.remove_asked.connect(self.remove_asked)
        tile.spot_asked.connect(self.spot_asked)
        tile.doubt_asked.connect(self.doubt_asked)
        tile.gathered.connect(self.gathered)
        tile.picture.sectioned.connect(self._sectioned)
        tile.recoloured.connect(self._wake)
        tile.show()
        return tile

    def _order_focus(self) -> None:
        for before, after in pairwise(self._tiles.values()):
            QWidget.setTabOrder(before, after)

    def _measure(self) -> None:
        scans = [tile.state.scan for tile in self._tiles.values() if tile.state.scan is not None]
        if scans:
            self._sync.set_extent(
                max(scan.size[1] for scan in scans),
                max(scan.size[0] for scan in scans),
                min(min(scan.pitch) for scan in scans),
            )

    def _aspect(self) -> float:
        scans = [tile.state.scan for tile in self._tiles.values() if tile.state.scan is not None]
        if not scans:
            return 1.0
        return max(scan.size[1] for scan in scans) / max(scan.size[0] for scan in scans)

    def _lay_out(self) -> None:
        room = self.maximumViewportSize()
        chrome = CHROME.width(), CHROME.height()
        bar = self.verticalScrollBar().sizeHint().width()
        if self._alone not in self._tiles:
            self._alone = ""
        shown = [tile for key, tile in self._tiles.items() if self._alone in ("", key)]
        for tile in self._tiles.values():
            tile.setVisible(tile in shown)
        plan: Arrangement = arrange(len(shown), room.width(), room.height(), chrome, self._aspect(), bar)
        scrolls = plan.total_height > room.height()
        self._inside.resize(room.width() - (bar if scrolls else 0), max(plan.total_height, room.height()))
        for index, tile in enumerate(shown):
            tile.setGeometry(*plan.place(index))
        self._sync.set_viewport(plan.width - chrome[0], plan.height - chrome[1])
        self._cast()
        self._wake()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """New room, new arrangement."""
        super().resizeEvent(event)
        self._lay_out()

    def showEvent(self, event: QShowEvent) -> None:
        """What was not worked out while hidden is now."""
        super().showEvent(event)
        self._settle.start(0)

    def _recolour(self) -> None:
        for tile in self._tiles.values():
            tile.set_limits(self._limits, shared=self._shared)
        self._cast()
        self._wake()

    def _cast(self) -> None:
        """Agree on what all reliefs share."""
        if self._sync.look.mode == "flat":
            return
        sizes, ranges = [], []
        for tile in self._tiles.values():
            scan = tile.state.scan
            window = None if scan is None else points_seen(scan, tile.picture.view())
            if scan is not None and window is not None:
                sizes.append(((window[1] - window[0]) * scan.pitch[0], (window[3] - window[2]) * scan.pitch[1]))
                ranges.append(tile.limits)
        cast = common_cast(
            sizes, ranges, self._limits, self._sync.viewport, self._sync.look, one_scale=self._sync.one_scale
        )
        if cast != self._sync.cast:
            self._sync.cast = cast
            for tile in self._tiles.values():
                tile.picture.update()

    def _view_changed(self) -> None:
        self._cast()
        for tile in self._tiles.values():
            tile.picture.update()
            tile.frame.update()
        self._wake()

    def _crosshair_changed(self) -> None:
        for tile in self._tiles.values():
            tile.picture.update()
        self.pointed.emit(self._sync.crosshair)

    def _sectioned(self, line: Line, finished: bool) -> None:
        self.set_section(line)
        if finished:
            self.section_drawn.emit(line)

    def _wake(self) -> None:
        """Catch up once nothing has changed for a moment; reliefs follow a drag at that pace."""
        if self._sync.look.mode == "oblique" and self._settle.isActive():
            return
        self._settle.start(SETTLE)

    def _catch_up(self) -> None:
        """Let the tiles that can be seen catch up; the others do when they are scrolled to."""
        for tile in self._tiles.values():
            if not tile.visibleRegion().isEmpty():
                tile.catch_up()
