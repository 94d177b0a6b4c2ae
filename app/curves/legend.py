"""Whose curve is whose, and what each curve reads where the mouse is."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.theme import colour
from app.tiles.ink import fill, metrics, put
from core.units import format_number

ROW = 20
NAME, VALUE = 130.0, 70.0


class Legend(QWidget):
    """One row for each curve: colour, name, value under the cross-hair."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Legend of the curves")
        self._rows: tuple[tuple[str, str], ...] = ()
        self._values: tuple[float | None, ...] = ()

    def set_rows(self, rows: Sequence[tuple[str, str]]) -> None:
        """Names and colours, ``#RRGGBB``."""
        self._rows = tuple(rows)
        self._values = ()
        self.setFixedHeight(max(ROW, ROW * len(rows)))
        self.setAccessibleDescription(", ".join(name for name, _ in rows))
        self.updateGeometry()
        self.update()

    def set_values(self, values: Sequence[float | None]) -> None:
        """What the curves read; empty for nothing."""
        self._values = tuple(values)
        self.update()

    @property
    def values(self) -> tuple[float | None, ...]:
        """What the rows say."""
        return self._values

    def sizeHint(self) -> QSize:
        """Wide enough for most names."""
        return QSize(int(24 + NAME + VALUE), max(ROW, ROW * len(self._rows)))

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Draw the rows."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        right = self.width() - 6.0
        for row, (name, ink) in enumerate(self._rows):
            top = float(row * ROW)
            fill(painter, QRectF(2, top + ROW / 2 - 2, 14, 4), QColor(ink), 1.5)
            room = right - 24 - (VALUE if self._values else 0)
            put(painter, QRectF(24, top, room, ROW), name, colour("text"), 9.0)
            if row < len(self._values):
                value = self._values[row]
                text = "–" if value is None else format_number(value).replace("-", "−")
                place = QRectF(right - VALUE, top, VALUE, ROW)
                put(painter, place, text, colour("muted"), 9.0, align=Qt.AlignmentFlag.AlignRight)
        painter.end()


def legend_width(names: Sequence[str]) -> int:
    """Width that shows these names whole, within reason, and a value."""
    longest = max((metrics(9.0).horizontalAdvance(name) for name in names), default=0.0)
    return int(36 + min(max(longest, 80.0), 220.0) + VALUE)
