"""Small tables of words and numbers on cards, figures to the right."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QLabel, QSizePolicy, QWidget

from app.widgets.parts import SMALL, label

Cell = str | QWidget


def figures(heads: Sequence[str], rows: Sequence[Sequence[Cell]], *, points: float = SMALL) -> QWidget:
    """A table; the first column takes the room that is left, numbers stand to the right."""
    made = QWidget()
    grid = QGridLayout(made)
    grid.setContentsMargins(0, 0, 0, 0)
    grid.setHorizontalSpacing(9)
    grid.setVerticalSpacing(3)
    grid.setColumnStretch(0, 1)
    for column, head in enumerate(heads):
        grid.addWidget(label(head, points=points, muted=True), 0, column, _side(column))
    for line, row in enumerate(rows, start=1):
        for column, cell in enumerate(row):
            widget = label(cell, points=points) if isinstance(cell, str) else cell
            if column == 0 and isinstance(widget, QLabel):
                widget.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
                widget.setToolTip(widget.text())
                grid.addWidget(widget, line, column)
            else:
                grid.addWidget(widget, line, column, _side(column))
    return made


def _side(column: int) -> Qt.AlignmentFlag:
    across = Qt.AlignmentFlag.AlignLeft if column == 0 else Qt.AlignmentFlag.AlignRight
    return across | Qt.AlignmentFlag.AlignVCenter
