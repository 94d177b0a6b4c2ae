"""The panel on trust: doubts, comparability, noise, uncertainty, choices, each behind a tab."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QTabWidget

from app.docks.dock import DockHead
from app.docks.trust.budget import BudgetPane
from app.docks.trust.choices import ChoicesPane
from app.docks.trust.comparable import ComparablePane
from app.docks.trust.doubts import DoubtsPane
from app.docks.trust.noise import NoisePane
from app.document.document import Document


class TrustPanel(QTabWidget):
    """All that speaks for or against believing the standing.

    Signals
    -------
    doubt_shown(Seen or None)
        This doubt shall be looked at on its tile; none any more.
    """

    doubt_shown = Signal(object)

    def __init__(self, document: Document) -> None:
        super().__init__()
        self.head = DockHead("Trust")
        self.setDocumentMode(True)
        self.setUsesScrollButtons(True)
        self.doubts = DoubtsPane(document)
        self.comparable = ComparablePane(document)
        self.noise = NoisePane(document)
        self.budget = BudgetPane(document)
        self.choices = ChoicesPane(document)
        for pane, title in (
            (self.doubts, "Doubts"),
            (self.comparable, "Comparable"),
            (self.noise, "Noise"),
            (self.budget, "Budget"),
            (self.choices, "Choices"),
        ):
            self.addTab(pane, title)
        self.doubts.shown.connect(self.doubt_shown)

    def open(self, name: str) -> None:
        """Bring a pane to the front: ``"doubts"``, ``"comparable"``, ``"noise"``, ``"budget"`` or ``"choices"``."""
        self.setCurrentWidget(getattr(self, name))

    def shut(self) -> None:
        """Stop what runs."""
        self.comparable.shut()
