"""Where the interval of a reading comes from, line by line."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QGridLayout, QHBoxLayout, QVBoxLayout, QWidget

from app.docks.trust.pane import Pane
from app.document.document import Document
from app.widgets.parts import SMALL, Card, label
from core.results import Comparison
from core.sheet.budget_table import absolute_text, rows
from core.sheet.words import interval_text
from core.trust.budget import Budget

HINT = "Where an interval comes from: spots, area, noise, levelling, calibration, one line each."


class BudgetPane(Pane):
    """The budget of one reading of one specimen."""

    def __init__(self, document: Document) -> None:
        super().__init__(document, HINT)
        self.specimen = _choice("Specimen of the budget")
        self.symbol = _choice("Reading of the budget")
        self._choices = QWidget()
        row = QHBoxLayout(self._choices)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.specimen, 1)
        row.addWidget(self.symbol)
        self.column.insertWidget(0, self._choices)
        self._choices.hide()
        for choice in (self.specimen, self.symbol):
            choice.activated.connect(lambda _: self.renew())

    def choose(self, specimen: str) -> None:
        """Show the budget of this specimen."""
        place = self.specimen.findText(specimen)
        if place >= 0 and place != self.specimen.currentIndex():
            self.specimen.setCurrentIndex(place)
            self.renew()

    def fill(self, comparison: Comparison) -> bool:
        with_budget = [p.specimen for p in comparison.standing if comparison.specimens_by_name[p.specimen].budgets]
        self._choices.setVisible(bool(with_budget))
        if not with_budget:
            return False
        _offer(self.specimen, with_budget, "")
        result = comparison.specimens_by_name[self.specimen.currentText()]
        _offer(self.symbol, list(result.budgets), comparison.rank_by)
        budget = result.budgets[self.symbol.currentText()]
        card = Card(spacing=6)
        reading = result.readings[budget.symbol]
        card.column.addWidget(label(f"{budget.symbol} {interval_text(reading)}", strong=True, wrap=True))
        said = budget.note or "The interval that is held against other specimens (95 %)."
        card.column.addWidget(label(said, points=SMALL, muted=True, wrap=True))
        card.column.addLayout(_table(budget))
        self.cards.addWidget(card)
        absolute = absolute_text(budget)
        if absolute:
            whole = Card(spacing=4)
            whole.column.addWidget(label(absolute, wrap=True))
            told = "It belongs to the number as such, never to differences, ties or probabilities."
            whole.column.addWidget(label(told, points=SMALL, muted=True, wrap=True))
            self.cards.addWidget(whole)
        return True


def _table(budget: Budget) -> QVBoxLayout:
    lines = QVBoxLayout()
    lines.setSpacing(7)
    for row in rows(budget):
        grid = QGridLayout()
        grid.setHorizontalSpacing(8)
        grid.setVerticalSpacing(1)
        grid.setColumnStretch(0, 1)
        grid.addWidget(label(row.source), 0, 0)
        freedom = f"   ν {row.freedom}" if row.freedom not in ("–", "∞") else ""
        grid.addWidget(label(f"{row.contribution}{freedom}"), 0, 1, Qt.AlignmentFlag.AlignRight)
        grid.addWidget(label(f"{row.role}; {row.how}", points=SMALL, muted=True, wrap=True), 1, 0, 1, 2)
        lines.addLayout(grid)
    return lines


def _choice(name: str) -> QComboBox:
    made = QComboBox()
    made.setAccessibleName(name)
    made.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
    made.setMinimumContentsLength(6)
    return made


def _offer(choice: QComboBox, texts: list[str], first: str) -> None:
    """Offer these; what was chosen stays chosen, else `first` or the first of them is."""
    if [choice.itemText(i) for i in range(choice.count())] == texts:
        return
    kept = choice.currentText()
    choice.blockSignals(True)
    choice.clear()
    choice.addItems(texts)
    choice.setCurrentIndex(max(0, texts.index(kept) if kept in texts else texts.index(first) if first in texts else 0))
    choice.blockSignals(False)
