"""The map inside a tile: draws the levels it has, asks for those it needs, and turns mouse moves into views."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QMouseEvent, QPainter, QPainterPath, QPaintEvent, QPen, QWheelEvent
from PySide6.QtWidgets import QApplication, QWidget

from app.document.jobs import Jobs
from app.theme import colour
from app.tiles.blocks import Blocks
from app.tiles.ink import LIGHT, PLATE, fill, halo_line, metrics, put
from app.tiles.levels import Levels
from app.tiles.look import times
from app.tiles.scalebar import draw_scale_bar
from app.tiles.state import Line, Range
from app.tiles.tag import draw_tag
from app.tiles.view import View
from app.tiles.viewsync import ViewSync
from core.display import Level
from core.heightmap import HeightMap
from core.units import format_length

CORNER = 4.0
SPECK = 16  # screen pixels; a map that small is hard to find
CROSS, CROSS_HALO = QColor(255, 255, 255, 215), QColor(0, 0, 0, 50)
STEP = 1.25  # magnification for one notch of the wheel


class Picture(QWidget):
    """A map, drawn through the common view.

    Two levels are held: the whole map for the fitted view, and a finer window of it when the view is closer. Whatever
    is there is drawn at once; a sharper level is worked out in the background and replaces it.
    """

    clicked = Signal()
    enlarged = Signal()
    sectioned = Signal(object, bool)  # the line, and whether the mouse was let go
    sharpened = Signal()

    def __init__(self, sync: ViewSync, jobs: Jobs, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setMouseTracking(True)
        self.setCursor(Qt.CursorShape.CrossCursor)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._sync = sync
        self._levels = Levels(jobs, self._sharper)
        self._blocks = Blocks(jobs, self._sharper)
        self._limits: Range = (0.0, 1e-9)
        self._tag = ""
        self._section: Line | None = None
        self._ink = QColor("#FFFFFF")
        self._pressed: QPointF | None = None
        self._last: QPointF | None = None
        self._drawing = False

    # --- what is shown ---

    @property
    def scan(self) -> HeightMap | None:
        """The map."""
        return self._levels.scan

    def set_scan(self, scan: HeightMap | None) -> None:
        """Show this map; the picture of the former one stays until the new one is reduced."""
        if scan is not self.scan:
            self._levels.set_scan(scan)
            self._blocks.set_scan(scan)
            self.update()

    def set_limits(self, limits: Range) -> None:
        """Colour for these limits, metres."""
        if limits != self._limits:
            self._limits = limits
            self.update()

    def set_tag(self, tag: str) -> None:
        """A loud remark on the picture; empty for none."""
        if tag != self._tag:
            self._tag = tag
            self.update()

    def set_section(self, line: Line | None, ink: QColor) -> None:
        """Draw this line, its ends in a colour."""
        if line != self._section or ink != self._ink:
            self._section, self._ink = line, ink
            self.update()

    def view(self) -> View:
        """The common view as this picture sees it."""
        (x, y), share = self._sync.centre, self._share()
        scale = self._sync.scale * share
        return View(x * share, y * share, scale, self.width(), self.height(), self.devicePixelRatioF())

    @property
    def shown(self) -> Level | None:
        """The sharpest level that is drawn."""
        return self._levels.shown

    # --- levels ---

    def request(self) -> None:
        """Ask for what the present view needs, unless it is there or asked for."""
        look, cast = self._sync.look, self._sync.cast
        if look.mode == "oblique":
            self._blocks.request(self.view(), self._limits, cast)
        else:
            self._levels.request(self.view(), cast.exaggeration if look.mode == "relief" else None)

    def drop(self) -> None:
        """Forget what was asked for."""
        self._levels.drop()
        self._blocks.drop()

    @property
    def waits(self) -> bool:
        """Whether something to draw is being worked out."""
        return self._levels.waits or self._blocks.waits

    @property
    def oblique(self) -> bool:
        """Whether it shows a block, on which no place of the map can be pointed at."""
        return self._sync.look.mode == "oblique"

    def _sharper(self) -> None:
        self.update()
        self.sharpened.emit()

    def _share(self) -> float:
        return self._sync.share(self.scan.size) if self.scan is not None else 1.0

    # --- drawing ---

    def paintEvent(self, event: QPaintEvent) -> None:
        """Map, cross-hair, section, scale bar, tag."""
        painter = QPainter(self)
        painter.fillRect(event.rect(), colour("window"))
        view = self.view()
        self.draw_map(painter, view)
        if not self.oblique:
            self._draw_crosshair(painter, view)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if not self.oblique:
            self._draw_section(painter, view)
        self._draw_scale_bar(painter, view)
        self._draw_exaggeration(painter)
        self._draw_hint(painter, view)
        if self._tag:
            draw_tag(painter, self.width(), self._tag)
        self._round_corners(painter)
        painter.end()

    def draw_map(self, painter: QPainter, view: View) -> None:
        """The heights alone."""
        if self.oblique:
            self._blocks.draw(painter, view)
        else:
            self._levels.draw(painter, view, self._limits, lit=self._sync.look.mode == "relief")

    def _draw_scale_bar(self, painter: QPainter, view: View) -> None:
        """True along the near edge of a block; without a common scale a block has none that could be told."""
        pixels = self._sync.cast.pixels
        if not self.oblique and not self._levels.empty:
            draw_scale_bar(painter, self.width(), self.height(), view.scale, view.ratio)
        elif self.oblique and self.scan is not None and pixels is not None:
            draw_scale_bar(painter, self.width(), self.height(), 1 / pixels, view.ratio)

    def _draw_exaggeration(self, painter: QPainter) -> None:
        """By how much heights are drawn larger than lengths."""
        if self._sync.look.mode == "flat" or self.scan is None or self.width() < 60:
            return
        text = times(self._sync.cast.exaggeration)
        text = f"heights {text}" if self.width() >= 150 else text
        wide = metrics(8.5, strong=True).horizontalAdvance(text) + 14
        plate = QRectF(self.width() - wide - 7, self.height() - 27, wide, 20)
        fill(painter, plate, PLATE, 4)
        put(painter, plate, text, LIGHT, 8.5, strong=True, align=Qt.AlignmentFlag.AlignHCenter)

    def _draw_hint(self, painter: QPainter, view: View) -> None:
        """Say why there is next to nothing to see: all scans have one scale, and this one is far smaller."""
        if self.scan is None:
            return
        side = max(self.scan.size)
        if side / view.scale < SPECK:
            place = QRectF(8, self.height() / 2 + SPECK, self.width() - 16, 18)
            text = f"{format_length(side)} wide: zoom in"
            put(painter, place, text, colour("muted"), 8.5, align=Qt.AlignmentFlag.AlignHCenter)

    def _round_corners(self, painter: QPainter) -> None:
        """The card shows at the corners."""
        path = QPainterPath()
        path.addRect(QRectF(self.rect()).adjusted(-1, -1, 1, 1))  # borders may fall between device pixels
        path.addRoundedRect(QRectF(self.rect()), CORNER, CORNER)  # odd-even filling: what lies between the two
        painter.fillPath(path, colour("card"))

    def _draw_crosshair(self, painter: QPainter, view: View) -> None:
        if self._sync.crosshair is None:
            return
        x, y = view.to_screen(*self._sync.crosshair)
        column, row = round(x - 0.5), round(y - 0.5)
        for aside, ink in ((1, CROSS_HALO), (0, CROSS)):
            painter.fillRect(column - aside, 0, 2 * aside + 1, self.height(), ink)
            painter.fillRect(0, row - aside, self.width(), 2 * aside + 1, ink)

    def _draw_section(self, painter: QPainter, view: View) -> None:
        if self._section is None:
            return
        x0, y0, x1, y1 = self._section
        start, end = QPointF(*view.to_screen(x0, y0)), QPointF(*view.to_screen(x1, y1))
        halo_line(painter, start, end, 1.6)
        painter.setPen(QPen(LIGHT, 1.4))
        painter.setBrush(self._ink)
        painter.drawEllipse(start, 4, 4)
        painter.setBrush(LIGHT)
        painter.drawEllipse(end, 3, 3)

    # --- mouse ---

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Begin to move the view, or with Shift to draw a section."""
        if event.button() != Qt.MouseButton.LeftButton:
            super().mousePressEvent(event)
            return
        self._pressed = self._last = event.position()
        self._drawing = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier) and not self.oblique
        parent = self.parentWidget()
        if parent is not None:
            parent.setFocus(Qt.FocusReason.MouseFocusReason)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Cross-hair, move, or section."""
        here = event.position()
        if self._pressed is None and self.oblique:
            return
        if self._pressed is None:
            self._sync.point(self.view().to_map(here.x(), here.y()))
        elif self._drawing:
            self.sectioned.emit(self._line_to(here), False)
        elif self._far(here) or self.cursor().shape() == Qt.CursorShape.ClosedHandCursor:
            self.setCursor(Qt.CursorShape.ClosedHandCursor)
            last = self._last or here
            self._sync.pan(here.x() - last.x(), here.y() - last.y())
            self._last = here

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """End of a move or section, or a click."""
        if event.button() != Qt.MouseButton.LeftButton or self._pressed is None:
            super().mouseReleaseEvent(event)
            return
        moved = self._far(event.position())
        dragged = self.cursor().shape() == Qt.CursorShape.ClosedHandCursor
        if self._drawing and moved:
            self.sectioned.emit(self._line_to(event.position()), True)
        elif not (moved or dragged or self._drawing):
            self.clicked.emit()
        self._pressed = self._last = None
        self._drawing = False
        self.setCursor(Qt.CursorShape.CrossCursor)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        """This tile alone, or all again."""
        if event.button() == Qt.MouseButton.LeftButton:
            self.enlarged.emit()

    def wheelEvent(self, event: QWheelEvent) -> None:
        """Zoom about the cursor."""
        notches = event.angleDelta().y() / 120
        if notches:
            here, share = event.position(), self._share()
            x, y = self.view().to_map(here.x(), here.y())
            self._sync.zoom(STEP**notches, None if self.oblique else (x / share, y / share))
        event.accept()

    def leaveEvent(self, _event: object) -> None:
        """The cross-hair goes with the mouse."""
        self._sync.point(None)

    def _far(self, here: QPointF) -> bool:
        start = self._pressed or here
        return (here - start).manhattanLength() >= QApplication.startDragDistance()

    def _line_to(self, here: QPointF) -> Line:
        view, start = self.view(), self._pressed or here
        return *view.to_map(start.x(), start.y()), *view.to_map(here.x(), here.y())
