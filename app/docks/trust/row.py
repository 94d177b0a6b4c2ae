"""A line of a list that can be chosen: badge, name, and what is said of it."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QVBoxLayout

from app.widgets.badge import Badge
from app.widgets.parts import SMALL, ElidedLabel, label


class Row(QFrame):
    """One line; a click, Return or Space chooses it.

    Parameters
    ----------
    name : str
        What it is about.
    ink, rank : str
        Colour and rank of the specimen.
    said : str
        Below the name, in small print; may be empty.
    aside : str
        Right of the name, quietly.
    """

    chosen = Signal()

    def __init__(self, name: str, ink: str, rank: str, said: str = "", aside: str = "") -> None:
        super().__init__()
        self.setProperty("row", True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setAccessibleName(f"{name}. {said} {aside}".strip())
        line = QHBoxLayout(self)
        line.setContentsMargins(4, 3, 4, 3)
        line.setSpacing(7)
        line.addWidget(Badge(ink, rank), 0, Qt.AlignmentFlag.AlignTop)
        words = QVBoxLayout()
        words.setSpacing(1)
        head = QHBoxLayout()
        head.addWidget(ElidedLabel(name), 1)
        if aside:
            head.addWidget(label(aside, points=SMALL, muted=True))
        words.addLayout(head)
        if said:
            words.addWidget(label(said, points=SMALL, muted=True, wrap=True))
        line.addLayout(words, 1)

    def mark(self, on: bool) -> None:
        """Show that it is the one that was chosen."""
        if self.property("marked") != on:
            self.setProperty("marked", on)
            self.style().unpolish(self)
            self.style().polish(self)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        event.accept()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if event.button() == Qt.MouseButton.LeftButton and self.rect().contains(event.position().toPoint()):
            self.chosen.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space):
            self.chosen.emit()
        else:
            super().keyPressEvent(event)
