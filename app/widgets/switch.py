"""An on/off switch: a check box that is drawn as a sliding knob."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QEnterEvent, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QAbstractButton, QSizePolicy, QWidget

from app.theme import colour


class Switch(QAbstractButton):
    """Behaves as a check box: `toggled` fires, Space turns it, screen readers call it by `name`.

    Parameters
    ----------
    name : str
        What it switches.
    """

    def __init__(self, name: str, parent: QWidget | None = None, *, width: int = 30) -> None:
        super().__init__(parent)
        self._width = width
        self.setCheckable(True)
        self.setAccessibleName(name)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)

    def show_checked(self, on: bool) -> None:
        """Show a state that came from the document, without telling it back."""
        before = self.blockSignals(True)
        try:
            self.setChecked(on)
        finally:
            self.blockSignals(before)
        self.update()

    def sizeHint(self) -> QSize:
        return QSize(self._width + 6, round(self._width * 0.55) + 6)

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def enterEvent(self, event: QEnterEvent) -> None:
        self.update()
        super().enterEvent(event)

    def leaveEvent(self, event: QEvent) -> None:
        self.update()
        super().leaveEvent(event)

    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        track = QRectF(self.rect()).adjusted(3, 3, -3, -3)
        radius = track.height() / 2
        ink = colour("accent") if self.isChecked() else colour("muted")
        painter.setOpacity(1.0 if self.isEnabled() else 0.4)
        if self.hasFocus():
            painter.setPen(QPen(colour("accent"), 1.2))
            painter.drawRoundedRect(track.adjusted(-2, -2, 2, 2), radius + 2, radius + 2)
        painter.setPen(QPen(ink, 1.4))
        painter.setBrush(ink if self.isChecked() else colour("card"))
        painter.drawRoundedRect(track.adjusted(0.7, 0.7, -0.7, -0.7), radius, radius)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour("on-accent") if self.isChecked() else ink)
        x = track.right() - radius if self.isChecked() else track.left() + radius
        painter.drawEllipse(QPointF(x, track.center().y()), radius - 3.2, radius - 3.2)
        painter.end()
