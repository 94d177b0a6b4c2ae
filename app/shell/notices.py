"""Sentences for the user, in a strip above the tiles: what went wrong and what can be done, never in a pop-up."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from app.theme import colour
from app.widgets.parts import button, emptied, flat_button, label, widgets_in

KEPT = 3  # strips that are shown at a time; older ones make way
PASSING = 6000  # ms after which a mere note goes by itself


class Notice(QWidget):
    """One sentence with its buttons."""

    def __init__(self, level: str, text: str, choices: Sequence[tuple[str, Callable[[], object]]]) -> None:
        super().__init__()
        self.level, self.text = level, text
        self.choices: list[QPushButton] = []
        self.setAccessibleName(text)
        row = QHBoxLayout(self)
        row.setContentsMargins(14, 6, 8, 6)
        row.setSpacing(8)
        row.addWidget(label(text, wrap=True), 1)
        for said, act in choices:
            made = button(said)
            made.clicked.connect(lambda _=False, act=act: (act(), self.close()))
            row.addWidget(made)
            self.choices.append(made)
        away = flat_button("✕", "Dismiss")
        away.clicked.connect(self.close)
        row.addWidget(away, 0, Qt.AlignmentFlag.AlignTop)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        if level == "note" and not choices:
            timer = QTimer(self)
            timer.setSingleShot(True)
            timer.timeout.connect(self.close)
            timer.start(PASSING)

    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        wash = {"red": "red-wash", "amber": "amber-wash"}.get(self.level, "card")
        edge = {"red": "red", "amber": "amber"}.get(self.level, "accent")
        painter.fillRect(self.rect(), colour(wash))
        painter.fillRect(0, 0, 4, self.height(), QColor(colour(edge)))
        painter.fillRect(0, self.height() - 1, self.width(), 1, colour("border"))
        painter.end()


class Notices(QWidget):
    """The strips that are shown now, newest last."""

    def __init__(self) -> None:
        super().__init__()
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(0)

    def tell(self, level: str, text: str, choices: Sequence[tuple[str, Callable[[], object]]] = ()) -> None:
        """Show a sentence; the same one is not shown twice."""
        for shown in self.shown:
            if shown.text == text:
                shown.close()
        while len(self.shown) >= KEPT:
            self.shown[0].close()
        notice = Notice(level, text, choices)
        self._column.addWidget(notice)
        notice.show()

    def clear(self) -> None:
        """Take all of them away."""
        emptied(self._column)

    @property
    def shown(self) -> list[Notice]:
        """The strips on show, oldest first."""
        found = widgets_in(self._column)
        return [notice for notice in found if isinstance(notice, Notice) and not notice.isHidden()]
