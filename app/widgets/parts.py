"""Labels, cards and buttons in the style of the window."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import (
    QFrame,
    QLabel,
    QLayout,
    QMenu,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app.theme import colour, text_font

SMALL, NORMAL, LARGE = 8.5, 9.5, 11.0  # points


def label(text: str = "", *, points: float = NORMAL, strong: bool = False, muted: bool = False,
          level: str = "", wrap: bool = False) -> QLabel:  # fmt: skip
    """A line or paragraph of plain text; what files and users wrote is never read as markup."""
    made = QLabel(text)
    made.setTextFormat(Qt.TextFormat.PlainText)
    made.setFont(text_font(points, strong=strong))
    made.setProperty("muted", muted)
    made.setProperty("level", level)
    made.setWordWrap(wrap)
    if wrap:
        made.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
    return made


class ElidedLabel(QWidget):
    """One line of text that is cut with … where it does not fit, whole in its tool tip."""

    def __init__(self, text: str = "", *, points: float = NORMAL, strong: bool = False, role: str = "text") -> None:
        super().__init__()
        self._text, self._role = text, role
        self.setFont(text_font(points, strong=strong))
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)
        self.setText(text)

    def text(self) -> str:
        """The whole text."""
        return self._text

    def setText(self, text: str) -> None:
        self._text = text
        self.setAccessibleName(text)
        self.updateGeometry()
        self._tell()
        self.update()

    def sizeHint(self) -> QSize:
        metrics = self.fontMetrics()
        return QSize(metrics.horizontalAdvance(self._text) + 2, metrics.height() + 2)

    def minimumSizeHint(self) -> QSize:
        return QSize(24, self.sizeHint().height())

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._tell()

    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setPen(colour(self._role))
        shown = self.fontMetrics().elidedText(self._text, Qt.TextElideMode.ElideRight, self.width())
        painter.drawText(self.rect(), Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, shown)
        painter.end()

    def _tell(self) -> None:
        self.setToolTip(self._text if self.sizeHint().width() > self.width() else "")


class Card(QFrame):
    """A rounded panel with a column of things in it."""

    def __init__(self, *, margin: int = 11, spacing: int = 4) -> None:
        super().__init__()
        self.setProperty("card", True)
        self.column = QVBoxLayout(self)
        self.column.setContentsMargins(margin, margin - 1, margin, margin - 1)
        self.column.setSpacing(spacing)


def button(text: str, *, accent: bool = False, name: str = "") -> QPushButton:
    """A push button."""
    made = QPushButton(text)
    made.setFont(text_font(NORMAL, strong=accent))
    made.setProperty("accent", accent)
    made.setAccessibleName(name or text)
    made.setAutoDefault(False)
    return made


def menu_button(text: str, menu: QMenu, *, accent: bool = False, flat: bool = False, name: str = "") -> QToolButton:
    """A button that opens a menu; the small triangle is part of its text."""
    made = QToolButton()
    made.setText(f"{text} ▾" if text else "▾")
    made.setFont(text_font(NORMAL, strong=accent))
    made.setProperty("flat" if flat else "accent" if accent else "button", True)
    made.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
    made.setMenu(menu)
    made.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
    made.setAccessibleName(name or text)
    return made


def flat_button(text: str, name: str) -> QToolButton:
    """A small button without a frame; `name` is its tool tip and what screen readers say."""
    made = QToolButton()
    made.setText(text)
    made.setFont(text_font(NORMAL))
    made.setProperty("flat", True)
    made.setToolTip(name)
    made.setAccessibleName(name)
    made.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
    return made


class Column(QScrollArea):
    """A column that scrolls downwards only and never sideways: its content is as wide as it is."""

    def __init__(self, *, margins: tuple[int, int, int, int] = (12, 10, 12, 12), spacing: int = 8) -> None:
        super().__init__()
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._inside = QWidget()
        self._inside.setProperty("plain", True)
        self.column = QVBoxLayout(self._inside)
        self.column.setContentsMargins(*margins)
        self.column.setSpacing(spacing)
        self.setWidget(self._inside)
        self._inside.installEventFilter(self)

    def minimumSizeHint(self) -> QSize:
        """As wide as its content must be: it scrolls downwards only."""
        bar = self.verticalScrollBar().sizeHint().width()
        return QSize(self._inside.minimumSizeHint().width() + bar, 80)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.LayoutRequest:
            self.updateGeometry()  # a scroll area does not pass this on by itself
        return super().eventFilter(watched, event)


def widgets_in(layout: QLayout) -> list[QWidget]:
    """The widgets of a layout in their order."""
    items = (layout.itemAt(place) for place in range(layout.count()))
    return [widget for item in items if item is not None and (widget := item.widget()) is not None]


def emptied(layout: QLayout) -> None:
    """Take everything out of a layout and let it go."""
    while (item := layout.takeAt(0)) is not None:
        widget = item.widget()
        if widget is not None:
            widget.hide()
            widget.setParent(None)
            widget.deleteLater()
        elif (inner := item.layout()) is not None:
            emptied(inner)
