"""One tile: a card with the picture of one scan, its colour bar, what it reads and what speaks against it."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import QEvent, QPointF, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFocusEvent, QHelpEvent, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QRegion
from PySide6.QtWidgets import QApplication, QToolTip, QWidget

from app.document.jobs import Jobs, Ticket
from app.theme import colour
from app.tiles import footer, header
from app.tiles.colourbar import draw_ends, draw_strip, end_places, strip_place
from app.tiles.footer import draw_footer
from app.tiles.frame import Frame
from app.tiles.header import Header
from app.tiles.keys import ACTIONS, ARROWS, HELP
from app.tiles.marks import MarksLayer
from app.tiles.picture import Picture
from app.tiles.placeholder import draw_refused, draw_waiting
from app.tiles.spoken import description, name, peaks
from app.tiles.state import Range, TileState
from app.tiles.tag import SHORT, tag_text
from app.tiles.viewsync import Position, ViewSync
from core.heightmap import HeightMap
from core.scale import clipped, own_limits

PAD = 10
BAR = 46  # column of the colour bar
EDGE = 3  # within which the border is drawn
ABOVE = PAD + int(header.HEIGHT) + 6
BELOW = 6 + int(footer.HEIGHT) + PAD - 3
CHROME = QSize(2 * PAD + BAR, ABOVE + BELOW)
"""What a tile needs beside its picture, in both directions."""


class Tile(QWidget):
    """A card for one `TileState`.

    Keyboard: arrows move the cross-hair by one point of the map (Shift: ten), Ctrl with arrows moves the view, + and −
    zoom, 0 fits, Page Up and Page Down walk through the spots, Delete asks for removal, Return chooses.
    """

    chosen = Signal(str)
    enlarged = Signal(str)
    remove_asked = Signal(str)
    spot_asked = Signal(str, int)
    doubt_asked = Signal(str, str)  # key, and what the chip says; empty for all of them
    gathered = Signal(str)  # clicked with Ctrl
    recoloured = Signal()  # its own range was found, which changes what is clipped

    def __init__(self, state: TileState, sync: ViewSync, jobs: Jobs, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self._sync, self._jobs = sync, jobs
        self._state = TileState("", "")
        self._limits: Range = (0.0, 100e-9)
        self._shared = True
        self._busy = False
        self._own: Range | None = None
        self._clipped: tuple[float, float] | None = None
        self._counting: Ticket | None = None
        self._counted: tuple[HeightMap, Range | None] | None = None
        self.picture = Picture(sync, jobs, self)
        self.marks = MarksLayer(self.picture)
        self.frame = Frame(self.picture)
        self.picture.clicked.connect(self._choose)
        self.picture.enlarged.connect(lambda: self.enlarged.emit(self.key))
        self.picture.sharpened.connect(self._tell)
        self._header = Header(self._state, QRectF())
        self.set_state(state)

    # --- what is shown ---

    @property
    def key(self) -> str:
        """The name of the tile."""
        return self._state.key

    @property
    def state(self) -> TileState:
        """What it shows."""
        return self._state

    @property
    def limits(self) -> Range:
        """Ends of the height range of its colours, metres."""
        return self._limits if self._shared or self._own is None else self._own

    @property
    def clipped(self) -> tuple[float, float] | None:
        """Shares of points below and above the range; None while they are counted."""
        return self._clipped

    def set_state(self, state: TileState) -> None:
        """Show this from now on."""
        if state.shows_same_as(self._state):
            return
        self._state = state
        self.picture.set_scan(state.scan)
        self.picture.setVisible(state.scan is not None and state.status in ("ready", "stale"))
        if state.own_range is not None:
            self._own = state.own_range
        elif self._counted is None or self._counted[0] is not state.scan:
            self._own = None
        self._lay_out()
        self._recolour()
        self._tell()
        self.update()

    def set_limits(self, limits: Range, *, shared: bool) -> None:
        """Colour for this range, metres; not shared, the tile has its own range and says so."""
        if (limits, shared) != (self._limits, self._shared):
            if shared != self._shared:
                self.update(QRegion(self.rect()) - QRegion(self.rect().adjusted(EDGE, EDGE, -EDGE, -EDGE)))
            self._limits, self._shared = limits, shared
            self._recolour()

    def set_busy(self, busy: bool) -> None:
        """Whether the readings are being worked out anew."""
        if busy != self._busy:
            self._busy = busy
            self.update(self._footer_place().toAlignedRect())

    def release(self) -> None:
        """Let go of the map and of everything that was asked for."""
        self.picture.set_scan(None)
        if self._counting is not None:
            self._counting.drop()
        self._counting = self._counted = None
        self._state = TileState(self._state.key, self._state.title)

    @property
    def waits(self) -> bool:
        """Whether something for it is being worked out."""
        return self._counting is not None or self.picture.waits

    # --- limits and what they clip ---

    def _recolour(self) -> None:
        self.picture.set_limits(self.limits)
        self.picture.set_tag("" if self._shared else tag_text(self.limits) if self._own else SHORT)
        for place in end_places(self._bar_place()):
            self.update(place.toAlignedRect())

    def catch_up(self) -> None:
        """Do what can wait until limits and view have come to rest: sharper levels, the clipped share, the words."""
        self.picture.request()
        self._count()
        self._tell()

    def _count(self) -> None:
        """Count the clipped points for the present limits in the background; also finds an own range not told."""
        scan = self._state.scan
        wanted = None if scan is None else (scan, None if not self._shared and self._own is None else self.limits)
        if wanted == self._counted:
            return
        if self._counting is not None:
            self._counting.drop()
            self._counting = None
        self._counted, self._clipped = wanted, None
        self.update(self._footer_place().toAlignedRect())
        if wanted is not None:
            self._counting = self._jobs.start(partial(_counted, *wanted), done=self._take_count, failed=self._lost)

    def _take_count(self, counted: tuple[Range, tuple[float, float]]) -> None:
        limits, self._clipped = counted
        self._counting = None
        if not self._shared and self._own is None and self._counted is not None:
            self._own = limits
            self._counted = self._counted[0], limits
            self._recolour()
            self.recoloured.emit()
        self.update(self._footer_place().toAlignedRect())
        self._tell()

    def _lost(self, error: Exception) -> None:
        self._counting = None
        raise error

    def _tell(self) -> None:
        """Say it all to those who do not see the picture."""
        self.setAccessibleName(name(self._state))
        self.setAccessibleDescription(
            description(self._state, self.limits, self._clipped, self.picture.shown, shared=self._shared)
        )

    # --- places ---

    def resizeEvent(self, _event: object) -> None:
        """Everything has a new place."""
        self._lay_out()

    def _lay_out(self) -> None:
        place = QRectF(PAD, PAD - 2, self.width() - 2 * PAD, header.HEIGHT)
        self._header = Header(self._state, place)
        self.picture.setGeometry(self._picture_place().toRect())

    def _picture_place(self) -> QRectF:
        return QRectF(PAD, ABOVE, max(0, self.width() - CHROME.width()), max(0, self.height() - CHROME.height()))

    def _bar_place(self) -> QRectF:
        picture = self._picture_place()
        return QRectF(picture.right() + 8, picture.top(), BAR - 8, picture.height())

    def _footer_place(self) -> QRectF:
        return QRectF(PAD, self.height() - BELOW + 5, self.width() - 2 * PAD, footer.HEIGHT)

    # --- drawing ---

    def paintEvent(self, event: QPaintEvent) -> None:
        """Card, header, bar, footer: only what has to be drawn again."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        dirty = event.region()
        self._draw_card(painter, event.rect())
        if dirty.intersects(QRect(EDGE, EDGE, self.width() - 2 * EDGE, ABOVE - EDGE - 2)):
            self._header.draw(painter, hot=self.underMouse() or self.hasFocus())
        if self.picture.isHidden():
            self._draw_placeholder(painter)
        else:
            bar = self._bar_place()
            if dirty.intersects(strip_place(bar).toAlignedRect()):
                draw_strip(painter, bar)
            if any(dirty.intersects(place.toAlignedRect()) for place in end_places(bar)):
                draw_ends(painter, bar, self.limits)
        if dirty.intersects(self._footer_place().toAlignedRect()):
            stale = self._busy or self._state.status == "stale"
            draw_footer(painter, self._footer_place(), self._state, self._clipped, busy=stale)
        painter.end()

    def _draw_card(self, painter: QPainter, dirty: QRect) -> None:
        if self.rect().adjusted(EDGE, EDGE, -EDGE, -EDGE).contains(dirty):
            painter.fillRect(dirty, colour("card"))
            return
        loud = not self._shared and self._state.scan is not None
        role = "accent" if self.hasFocus() else "amber" if loud else "border"
        width = 2.0 if self.hasFocus() else 1.0
        painter.setPen(QPen(colour(role), width))
        painter.setBrush(colour("card"))
        edge = width / 2
        painter.drawRoundedRect(QRectF(self.rect()).adjusted(edge, edge, -edge, -edge), 8, 8)

    def _draw_placeholder(self, painter: QPainter) -> None:
        place = QRectF(PAD, ABOVE, self.width() - 2 * PAD, self.height() - ABOVE - PAD)
        if self._state.status == "refused":
            draw_refused(painter, place, self._state)
        else:
            draw_waiting(painter, place, self._state.message or "reading …")

    # --- keyboard ---

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """See the class."""
        key, modifiers = Qt.Key(event.key()), event.modifiers()
        if key in ARROWS:
            self._arrow(ARROWS[key], modifiers)
        elif key in ACTIONS and self._act(ACTIONS[key]):
            pass
        else:
            super().keyPressEvent(event)

    def _arrow(self, way: tuple[int, int], modifiers: Qt.KeyboardModifier) -> None:
        if modifiers & Qt.KeyboardModifier.ControlModifier:
            self._sync.pan(-40 * way[0], -40 * way[1])
            return
        if self._state.scan is None or self.picture.oblique:
            return
        steps = 10 if modifiers & Qt.KeyboardModifier.ShiftModifier else 1
        (dy, dx), (high, wide) = self._state.scan.pitch, self._state.scan.size
        x, y = self._sync.crosshair or self._sync.centre
        x = min(max(x + way[0] * steps * dx, -wide / 2), wide / 2)
        y = min(max(y + way[1] * steps * dy, -high / 2), high / 2)
        self._sync.point((x, y))
        self._follow(x, y)

    def _follow(self, x: float, y: float) -> None:
        """Move the view so far that a position can be seen."""
        view = self.picture.view()
        px, py = view.to_screen(x, y)
        beyond_x = min(px, 0.0) + max(px - view.width, 0.0)
        beyond_y = min(py, 0.0) + max(py - view.height, 0.0)
        if abs(beyond_x) > 1 or abs(beyond_y) > 1:
            self._sync.pan(-beyond_x, -beyond_y)

    def _act(self, action: str) -> bool:
        """Carry out a key's action; False when it means nothing here."""
        if action == "closer":
            self._sync.zoom(1.25, self._anchor())
        elif action == "farther":
            self._sync.zoom(0.8, self._anchor())
        elif action == "fit":
            self._sync.fit()
        elif action == "choose":
            self._choose()
        elif action == "remove":
            self.remove_asked.emit(self.key)
        elif action == "hide":
            if self._sync.crosshair is None:
                return False
            self._sync.point(None)
        elif len(self._state.spots) > 1:
            self.spot_asked.emit(self.key, -1 if action == "previous" else 1)
        else:
            return False
        return True

    def _anchor(self) -> Position | None:
        at, scan = self._sync.crosshair, self._state.scan
        share = self._sync.share(scan.size) if scan is not None else 1.0
        return None if at is None else (at[0] / share, at[1] / share)

    def _choose(self) -> None:
        self.chosen.emit(self.key)
        if QApplication.keyboardModifiers() & Qt.KeyboardModifier.ControlModifier:
            self.gathered.emit(self.key)

    # --- mouse outside the picture, focus, help ---

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """Buttons of the header."""
        button, chip = self._header.button_at(event.position()), self._header.chip_at(event.position())
        if event.button() != Qt.MouseButton.LeftButton:
            super().mousePressEvent(event)
        elif chip is not None:
            self._choose()
            self.doubt_asked.emit(self.key, chip if any(chip == text for text, _ in self._state.chips) else "")
        elif button is None:
            self._choose()
        else:
            self._act(button)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """The end of what the press began."""
        event.accept()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """A hand over buttons."""
        here = event.position()
        over = self._header.button_at(here) is not None or self._header.chip_at(here) is not None
        self.setCursor(Qt.CursorShape.PointingHandCursor if over else Qt.CursorShape.ArrowCursor)

    def enterEvent(self, _event: object) -> None:
        """The cross that removes the tile appears."""
        self.update(0, 0, self.width(), ABOVE)

    def leaveEvent(self, _event: object) -> None:
        """And goes."""
        self.update(0, 0, self.width(), ABOVE)

    def focusInEvent(self, event: QFocusEvent) -> None:
        """The border tells where the keyboard is."""
        self.update()
        super().focusInEvent(event)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        """And that it is elsewhere."""
        self.update()
        super().focusOutEvent(event)

    def event(self, event: QEvent) -> bool:
        """Help on header, footer and buttons."""
        if event.type() == QEvent.Type.ToolTip and isinstance(event, QHelpEvent):
            text = self._help(QPointF(event.pos()))
            if text:
                QToolTip.showText(event.globalPos(), text, self)
            else:
                QToolTip.hideText()
                event.ignore()
            return True
        return super().event(event)

    def _help(self, here: QPointF) -> str:
        button = self._header.button_at(here)
        if button is not None:
            return HELP[button]
        if here.y() < ABOVE:
            return description(self._state, self.limits, self._clipped, None, shared=self._shared, with_title=True)
        if here.y() > self._footer_place().top():
            return peaks(self._state.scan, self.picture.shown)
        return ""

    def section_ink(self) -> QColor:
        """The colour of its specimen."""
        return QColor(self._state.colour)


def _counted(scan: HeightMap, limits: Range | None, _ticket: Ticket) -> tuple[Range, tuple[float, float]]:
    limits = limits or own_limits(scan)
    return limits, clipped(scan, *limits)
