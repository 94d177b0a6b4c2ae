"""Help on every reading: what it is, its formula and clause, and when it misleads."""

from __future__ import annotations

from PySide6.QtWidgets import QComboBox

from app.docks.dock import DockHead
from app.widgets.parts import SMALL, Column, label
from core.measures import CATALOGUE

PARTS = {
    "meaning": "What it says",
    "formula": "Formula",
    "misleads": "When it misleads",
    "clause": "Where it is defined",
}
"""Fields of a catalogue entry and their headings."""


class HelpPanel(Column):
    """One reading at a time, chosen in a list."""

    def __init__(self) -> None:
        super().__init__(margins=(12, 4, 12, 12), spacing=5)
        self.head = DockHead("What the readings mean")
        self.choice = QComboBox()
        self.choice.setAccessibleName("Reading to explain")
        self.choice.setMinimumContentsLength(12)
        self.choice.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        for symbol, quantity in CATALOGUE.items():
            self.choice.addItem(f"{symbol}  {quantity.name}", symbol)
        self.choice.currentIndexChanged.connect(self._show)
        self.column.addWidget(self.choice)
        self._parts = {}
        for part, title in PARTS.items():
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
            for part, said in self._parts.items():
                said.setText(str(getattr(CATALOGUE[symbol], part)) or "–")
