"""The empty bench: three steps from files to a verdict, and two ways to begin."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from app.theme import colour
from app.widgets.parts import SMALL, Card, button, label
from core.colours import height_table, specimen_colour

STEPS = (
    ("Drop scans", "Files or whole folders, anywhere on this window. Three spots or more of each specimen; every "
     "file gets a tile at once, its map or the reason why not."),
    ("One scale for all", "All scans are levelled alike and share one height range in nanometres, so that the "
     "pictures may be compared. Heights that leave the range are marked."),
    ("Standing and sheet", "Specimens ranked with intervals, ties and doubts. Then sheet and figure, with "
     "everything needed to repeat them."),
)  # fmt: skip

WIDE, HIGH = 200, 96  # a sketch, before it is fitted

SAFETY = "Handling substrates, solvents and blades: follow your local rules and the advice of trained staff."


class EmptyState(QWidget):
    """What is shown while there is nothing to compare.

    Signals
    -------
    add_asked(), samples_asked()
        The two buttons.
    """

    add_asked = Signal()
    samples_asked = Signal()

    def __init__(self) -> None:
        super().__init__()
        outer = QVBoxLayout(self)
        outer.setContentsMargins(20, 24, 20, 20)
        outer.setSpacing(10)
        outer.addStretch(2)
        head = label(
            "Which of your surfaces is the flattest, and is it flat enough?", points=17, strong=True, wrap=True
        )
        head.setAlignment(Qt.AlignmentFlag.AlignCenter)
        outer.addWidget(head)
        outer.addSpacing(14)
        outer.addLayout(self._cards())
        outer.addSpacing(14)
        outer.addLayout(self._buttons())
        outer.addStretch(3)
        safety = label(SAFETY, points=SMALL, muted=True, wrap=True)
        safety.setAlignment(Qt.AlignmentFlag.AlignCenter)
        outer.addWidget(safety)

    def _cards(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(14)
        row.addStretch(1)
        for number, (title, text) in enumerate(STEPS):
            card = Card(margin=16, spacing=8)
            card.setMaximumWidth(290)
            card.setMinimumWidth(116)
            card.column.addWidget(Sketch(number))
            card.column.addWidget(label(f"{number + 1}  {title}", points=11, strong=True, wrap=True))
            card.column.addWidget(label(text, muted=True, wrap=True))
            card.column.addStretch(1)
            row.addWidget(card, 4)
        row.addStretch(1)
        return row

    def _buttons(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(10)
        self.add = button("Add scans…", accent=True)
        self.add.clicked.connect(self.add_asked)
        self.samples = button("Open the sample bench")
        self.samples.setToolTip("Six invented carrier surfaces, three spots each")
        self.samples.clicked.connect(self.samples_asked)
        row.addStretch(1)
        row.addWidget(self.add)
        row.addWidget(self.samples)
        row.addStretch(1)
        return row


class Sketch(QWidget):
    """A small drawing for one of the three steps, in the colours of the data."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self._draw = (self._drop, self._scale, self._standing)[number]
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:
        return QSize(WIDE, HIGH)

    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        fit = min(1.0, self.width() / WIDE)
        painter.translate((self.width() - fit * WIDE) / 2, (1 - fit) * HIGH / 2)
        painter.scale(fit, fit)
        self._draw(painter)
        painter.end()

    def _drop(self, painter: QPainter) -> None:
        painter.setPen(QPen(colour("accent"), 1.5, Qt.PenStyle.DashLine))
        painter.drawRoundedRect(QRectF(10, 6, 180, 84), 8, 8)
        for place, (x, y) in enumerate(((46, 24), (80, 32), (114, 24))):
            page = QRectF(x, y, 38, 46)
            painter.setPen(QPen(colour("border"), 1))
            painter.setBrush(colour("card"))
            painter.drawRoundedRect(page, 3, 3)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(_height(70 + 60 * place))
            painter.drawRect(page.adjusted(6, 6, -6, -14))
            painter.setBrush(colour("border"))
            painter.drawRect(QRectF(x + 6, y + 36, 18, 3))
            painter.setBrush(Qt.BrushStyle.NoBrush)

    def _scale(self, painter: QPainter) -> None:
        painter.setPen(Qt.PenStyle.NoPen)
        for place, level in enumerate((18, 60, 130)):
            for row in range(6):
                for column in range(6):
                    painter.setBrush(_height(level + 9 * ((row * 5 + column * 3 + place) % 6)))
                    painter.drawRect(QRectF(12 + 52 * place + column * 7, 26 + row * 7, 7.3, 7.3))
        for level in range(64):
            painter.setBrush(_height(255 - 4 * level))
            painter.drawRect(QRectF(174, 14 + level, 9, 1.4))

    def _standing(self, painter: QPainter) -> None:
        for place, (x, width) in enumerate(((62, 14), (86, 22), (142, 12))):
            y, ink = 18 + 30 * place, QColor(specimen_colour(place))
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(ink)
            painter.drawRoundedRect(QRectF(16, y - 8, 16, 16), 4, 4)
            painter.setPen(QPen(ink, 2))
            painter.drawLine(QPointF(x - width, y), QPointF(x + width, y))
            painter.setPen(Qt.PenStyle.NoPen)
            painter.drawEllipse(QPointF(x, y), 4.5, 4.5)
            painter.setPen(QPen(colour("border"), 1))
            painter.drawLine(QPointF(16, y + 15), QPointF(184, y + 15))


def _height(level: int) -> QColor:
    red, green, blue = (int(part) for part in height_table()[min(level, 255)])
    return QColor(red, green, blue)
