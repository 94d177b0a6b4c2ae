"""The bottom line: what every tile shows under the cursor, what runs, and whether the readings are up to date."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QHBoxLayout, QProgressBar, QSizePolicy, QStatusBar, QWidget

from app.theme import colour, text_font
from app.widgets.parts import NORMAL, flat_button, label
from core.progress import Progress
from core.sheet.words import signed
from core.units import METRES, display_unit, format_length

DOT, GAP = 9, 14


@dataclass(frozen=True)
class Height:
    """What one tile shows under the cursor: its colour, its title, the height in metres or None where there is none."""

    colour: str
    title: str
    metres: float | None


class CursorReadings(QWidget):
    """Position and heights, in one row of coloured dots; what does not fit is cut at the end with …"""

    def __init__(self) -> None:
        super().__init__()
        self.setFont(text_font(NORMAL))
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self._place, self._unit = "", "nm"
        self._heights: tuple[Height, ...] = ()

    def show_heights(self, at: tuple[float, float] | None, heights: Sequence[Height]) -> None:
        """Show what lies under a point (x, y), metres from the middle; nothing for None."""
        known = [abs(height.metres) for height in heights if height.metres is not None]
        self._unit = display_unit(max(known, default=1e-9))
        if self._unit == "pm":
            self._unit = "nm"
        self._place = "" if at is None else f"x {signed(format_length(at[0]))}  y {signed(format_length(at[1]))}"
        self._heights = () if at is None else tuple(heights)
        self.setToolTip("\n".join(f"{h.title}: {self.written(h)} {self._unit}" for h in self._heights))
        self.setAccessibleName(self.text())
        self.update()

    def written(self, height: Height) -> str:
        """The height in the common unit, or a dash where nothing was measured."""
        return "–" if height.metres is None else signed(f"{height.metres / METRES[self._unit]:.2f}")

    def text(self) -> str:
        """The whole row in words."""
        if not self._place:
            return ""
        heights = ", ".join(f"{height.title} {self.written(height)}" for height in self._heights)
        return f"{self._place}  {heights} {self._unit}"

    def sizeHint(self) -> QSize:
        return QSize(200, self.fontMetrics().height() + 4)

    def paintEvent(self, _: QPaintEvent) -> None:
        if not self._place:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        metrics, middle = self.fontMetrics(), self.height() / 2
        x = self._write(painter, 0, self._place, "muted") + GAP
        room = self.width() - metrics.horizontalAdvance(" nm …")
        for height in self._heights:
            said = self.written(height)
            if x + DOT + 6 + metrics.horizontalAdvance(said) > room:
                x = self._write(painter, x, "…", "muted") + GAP
                break
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(height.colour))
            painter.drawEllipse(round(x), round(middle - DOT / 2), DOT, DOT)
            x = self._write(painter, x + DOT + 6, said, "text") + GAP
        self._write(painter, x, self._unit, "muted")
        painter.end()

    def _write(self, painter: QPainter, x: float, text: str, role: str) -> float:
        painter.setPen(colour(role))
        width = self.fontMetrics().horizontalAdvance(text)
        painter.drawText(round(x), 0, width + 2, self.height(), Qt.AlignmentFlag.AlignVCenter, text)
        return x + width


class StatusLine(QStatusBar):
    """The status bar.

    Signals
    -------
    cancel_asked()
        The user wants what runs to stop.
    """

    cancel_asked = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setSizeGripEnabled(False)
        self.cursor_readings = CursorReadings()
        self.said = label(muted=True)
        self.bar = QProgressBar()
        self.bar.setTextVisible(False)
        self.bar.setFixedSize(140, 6)
        self.bar.setAccessibleName("Progress")
        self.cancel = flat_button("Cancel", "Stop what is running (Esc)")
        self.cancel.clicked.connect(self.cancel_asked)
        row = QWidget()
        inside = QHBoxLayout(row)
        inside.setContentsMargins(14, 0, 10, 0)
        inside.setSpacing(10)
        inside.addWidget(self.cursor_readings, 1)
        for widget in (self.said, self.bar, self.cancel):
            inside.addWidget(widget)
        self.addWidget(row, 1)
        self.setFixedHeight(34)
        self.show_state("", busy=False)

    def show_state(self, text: str, *, busy: bool) -> None:
        """What is going on, in words."""
        self.said.setText(text)
        self.bar.setVisible(busy)
        self.cancel.setVisible(busy)
        if not busy:
            self.bar.setRange(0, 0)

    def show_progress(self, progress: Progress) -> None:
        """How far it has come."""
        self.bar.setRange(0, max(1, progress.total))
        self.bar.setValue(progress.done)
        self.said.setText(f"{progress.what} · {progress.done} of {progress.total}")
