"""The table of the standing: its columns, what makes way when it is narrow, and its keys."""

from __future__ import annotations

from PySide6.QtCore import QAbstractItemModel, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QResizeEvent
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableView

from app.docks.standing_delegate import HEIGHT, StandingDelegate
from app.docks.standing_model import Columns
from app.theme import text_font
from app.widgets.parts import SMALL

SHOWN_ROWS = 12  # more of them scroll
FIXED = {Columns.RANK: 28, Columns.PICTURE: 68, Columns.TIE: 30, Columns.CHANCE: 54}
NEEDED = {Columns.PICTURE: 340, Columns.CHANCE: 302}  # width of the table from which on a column is shown


class StandingTable(QTableView):
    """Shows a standing.

    Signals
    -------
    help_asked()
        “?” was typed.
    """

    help_asked = Signal()

    def __init__(self, model: QAbstractItemModel) -> None:
        super().__init__()
        self.setModel(model)
        self.setItemDelegate(StandingDelegate(self))
        self.setAccessibleName("Standing")
        self.setShowGrid(False)
        self.setSortingEnabled(True)
        self.sortByColumn(Columns.RANK, Qt.SortOrder.AscendingOrder)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setTabKeyNavigation(False)
        self.setAcceptDrops(False)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(HEIGHT)
        self._set_up_columns()

    def fit(self, rows: int) -> None:
        """Be as high as so many rows need."""
        self.setFixedHeight(26 + HEIGHT * min(SHOWN_ROWS, rows) + 2)

    def minimumSizeHint(self) -> QSize:
        return QSize(240, super().minimumSizeHint().height())

    def resizeEvent(self, event: QResizeEvent) -> None:
        for column, width in NEEDED.items():
            self.setColumnHidden(column, event.size().width() < width)
        super().resizeEvent(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.text() == "?":
            self.help_asked.emit()
        else:
            super().keyPressEvent(event)

    def _set_up_columns(self) -> None:
        head = self.horizontalHeader()
        head.setFont(text_font(SMALL))
        head.setHighlightSections(False)
        head.setMinimumSectionSize(26)
        for column, width in FIXED.items():
            head.setSectionResizeMode(column, QHeaderView.ResizeMode.Fixed)
            head.resizeSection(column, width)
        head.setSectionResizeMode(Columns.SPECIMEN, QHeaderView.ResizeMode.Stretch)
        head.setSectionResizeMode(Columns.VALUE, QHeaderView.ResizeMode.ResizeToContents)
