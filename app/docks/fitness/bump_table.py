"""The bumps of one scan as a table; a click or Return on a line asks to see the bump."""

from __future__ import annotations

from enum import IntEnum
from typing import Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, QSortFilterProxyModel, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableView

from app.theme import text_font
from app.widgets.parts import SMALL
from core.fitness.bumps import Mark
from core.units import format_number

SORT = Qt.ItemDataRole.UserRole
LINES = 8  # that are seen without scrolling

Index = QModelIndex | QPersistentModelIndex
ROOT = QModelIndex()


class Columns(IntEnum):
    """What is told of a bump."""

    HEIGHT = 0
    DIAMETER = 1
    LONGER = 2
    X = 3
    Y = 4
    COUNTED = 5


HEADS = ("h, nm", "Ø, nm", "l : b", "x, µm", "y, µm", "counts")
HELP = (
    "Height over the ring around it; of a hollow its depth",
    "Diameter of the disc as large as the area above half the height",
    "Longer by shorter axis",
    "From the left edge",
    "From the upper edge",
    "Not in the guard frame at the edges, nor beside missing points",
)


class BumpModel(QAbstractTableModel):
    """The marks as Qt sees them."""

    def __init__(self) -> None:
        super().__init__()
        self.marks: tuple[Mark, ...] = ()

    def show_marks(self, marks: tuple[Mark, ...]) -> None:
        """Show these."""
        self.beginResetModel()
        self.marks = marks
        self.endResetModel()

    def rowCount(self, parent: Index = ROOT) -> int:
        return 0 if parent.isValid() else len(self.marks)

    def columnCount(self, parent: Index = ROOT) -> int:
        return 0 if parent.isValid() else len(Columns)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        if not index.isValid():
            return None
        value = _value(self.marks[index.row()], Columns(index.column()))
        if role == SORT:
            return value
        if role == Qt.ItemDataRole.DisplayRole:
            return ("yes" if value else "no") if index.column() == Columns.COUNTED else format_number(value)
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        return None

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        if orientation == Qt.Orientation.Vertical:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return HEADS[section]
        return HELP[section] if role == Qt.ItemDataRole.ToolTipRole else None


class BumpTable(QTableView):
    """Sorted by height, the highest first, until a heading is clicked.

    Signals
    -------
    chosen(int)
        Number of the mark that shall be seen.
    """

    chosen = Signal(int)

    def __init__(self) -> None:
        super().__init__()
        self.bumps = BumpModel()
        self.bumps.setParent(self)
        self._sorted = QSortFilterProxyModel(self)
        self._sorted.setSourceModel(self.bumps)
        self._sorted.setSortRole(SORT)
        self.setModel(self._sorted)
        self.setFont(text_font(SMALL))
        self.setAccessibleName("Bumps of the chosen scan")
        self.setSortingEnabled(True)
        self.sortByColumn(Columns.HEIGHT, Qt.SortOrder.DescendingOrder)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setShowGrid(False)
        self.setWordWrap(False)
        self.setTabKeyNavigation(False)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(22)
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        self.horizontalHeader().setHighlightSections(False)
        self.clicked.connect(self._choose)

    def show_marks(self, marks: tuple[Mark, ...]) -> None:
        """Show these, as high as needed for a few of them."""
        self.bumps.show_marks(marks)
        lines = min(max(len(marks), 1), LINES)
        self.setFixedHeight(lines * 22 + self.horizontalHeader().sizeHint().height() + 4)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._choose(self.currentIndex())
        else:
            super().keyPressEvent(event)

    def _choose(self, index: QModelIndex) -> None:
        if index.isValid():
            self.chosen.emit(self._sorted.mapToSource(index).row())


def _value(mark: Mark, column: Columns) -> float | bool:
    return {
        Columns.HEIGHT: mark.height * 1e9,
        Columns.DIAMETER: mark.diameter * 1e9,
        Columns.LONGER: mark.elongation,
        Columns.X: mark.x * 1e6,
        Columns.Y: mark.y * 1e6,
        Columns.COUNTED: mark.counted,
    }[column]
