"""Help: what every reading is, its formula and clause and when it misleads; and the user guide."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QUrl
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import QComboBox, QTabWidget, QTextBrowser

from app.docks.dock import DockHead
from app.docks.sketch import Sketch
from app.widgets.parts import SMALL, Column, label
from core.measures import CATALOGUE, FAMILIES

GUIDE = Path(__file__).parents[1] / "guide"

PARTS = {
    "meaning": "What it says",
    "formula": "Formula",
    "misleads": "When it misleads",
    "clause": "Where it is defined",
}
"""Fields of a catalogue entry and their headings."""


class HelpPanel(QTabWidget):
    """The readings and the guide, one beside the other."""

    def __init__(self) -> None:
        super().__init__()
        self.head = DockHead("Help")
        self.setDocumentMode(True)
        self.readings = ReadingHelp()
        self.guide = Guide()
        self.addTab(self.readings, "Readings")
        self.addTab(self.guide, "Guide")

    def explain(self, symbol: str) -> None:
        """Show this reading."""
        self.readings.explain(symbol)
        self.setCurrentWidget(self.readings)

    def open_guide(self) -> None:
        """Show the guide."""
        self.setCurrentWidget(self.guide)


class ReadingHelp(Column):
    """One reading at a time, chosen in a list."""

    def __init__(self) -> None:
        super().__init__(margins=(12, 10, 12, 12), spacing=5)
        self.choice = QComboBox()
        self.choice.setAccessibleName("Reading to explain")
        self.choice.setMinimumContentsLength(12)
        self.choice.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        for family in FAMILIES.values():
            for quantity in family:
                self.choice.addItem(f"{quantity.symbol}  {quantity.name}", quantity.symbol)
            self.choice.insertSeparator(self.choice.count())
        self.choice.currentIndexChanged.connect(self._show)
        self.column.addWidget(self.choice)
        self.sketch = Sketch()
        self.column.addWidget(self.sketch)
        self._parts = {}
        for part, title in PARTS.items():
            self.column.addSpacing(4)
            self.column.addWidget(label(title, points=SMALL, muted=True))
            self._parts[part] = label(wrap=True)
            self.column.addWidget(self._parts[part])
        self.column.addStretch(1)
        self._show()

    def explain(self, symbol: str) -> None:
        """Show this reading."""
        place = self.choice.findData(symbol)
        if place >= 0:
            self.choice.setCurrentIndex(place)

    def text(self) -> str:
        """All that is shown."""
        return "\n".join(part.text() for part in self._parts.values())

    def _show(self) -> None:
        symbol = self.choice.currentData()
        if symbol is not None:
            self.sketch.show_reading(symbol)
            for part, said in self._parts.items():
                said.setText(str(getattr(CATALOGUE[symbol], part)) or "–")


class Guide(QTextBrowser):
    """The pages of the user guide; read from the disk when they are first seen."""

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName("User guide")
        self.setOpenLinks(True)
        self.document().setDocumentMargin(12)

    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        if self.source().isEmpty():
            self.setSource(QUrl.fromLocalFile(str(GUIDE / "index.md")))
