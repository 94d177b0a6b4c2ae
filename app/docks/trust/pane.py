"""What the panes of the trust panel have in common: they are filled when they are seen, and only then."""

from __future__ import annotations

from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import QVBoxLayout

from app.document.document import Document
from app.widgets.parts import Card, Column, emptied, label
from core.results import Comparison


class Pane(Column):
    """A column of cards about the latest comparison.

    Parameters
    ----------
    document : Document
        Whose comparison it shows.
    hint : str
        What it will show, in a sentence, while there is nothing.
    """

    def __init__(self, document: Document, hint: str) -> None:
        super().__init__(margins=(12, 10, 12, 12))
        self._document = document
        self._fresh = False
        self._hint = label(hint, muted=True, wrap=True)
        self.cards = QVBoxLayout()
        self.cards.setSpacing(8)
        self.column.addWidget(self._hint)
        self.column.addLayout(self.cards)
        self.column.addStretch(1)
        document.compared.connect(self.renew)
        document.bench_changed.connect(self.renew)

    def fill(self, comparison: Comparison) -> bool:
        """Put cards about this comparison into `cards`; False where there is nothing to show."""
        raise NotImplementedError

    def renew(self) -> None:
        """Show the latest comparison, now or when it is seen next."""
        self._fresh = False
        if self.isVisible():
            self._fill()

    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        if not self._fresh:
            self._fill()

    def _fill(self) -> None:
        self._fresh = True
        place = self.verticalScrollBar().value()
        emptied(self.cards)
        comparison = self._document.comparison
        shown = comparison is not None and bool(comparison.scans) and self.fill(comparison)
        self._hint.setVisible(not shown)
        if place:
            self.column.activate()  # so that there is as much to scroll as before
            self._inside.adjustSize()
            self.verticalScrollBar().setValue(place)


def titled(title: str, *, level: str = "") -> Card:
    """A card with a heading."""
    card = Card(spacing=5)
    card.column.addWidget(label(title, strong=True, level=level))
    return card
