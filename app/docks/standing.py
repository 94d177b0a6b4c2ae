"""The standing: who is lowest, how sure that is, and everything that speaks against it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import QSortFilterProxyModel, Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from app.docks.dock import DockHead
from app.docks.standing_model import ROW, SORT, Row, StandingModel
from app.docks.standing_table import StandingTable
from app.document.document import Document
from app.theme import theme
from app.told.doubts import chip_of, groups, summary
from app.told.words import (
    SAY_QUANTITIES,
    fix_in_window,
    lacks_quantities,
    listed,
    unlike_pairs,
)
from app.widgets.parts import SMALL, Card, Column, ElidedLabel, button, emptied, flat_button, label
from core.results import Comparison
from core.sheet.words import KINDS, band_text, reasons_text
from core.verdict import sentences


class StandingPanel(Column):
    """Table, sentences, doubts and refused files.

    Signals
    -------
    help_asked(str)
        The user wants to know about the reading of this symbol.
    picked(str)
        A specimen was selected in the table.
    retry_asked()
        Refused files are to be read again, with pixel size and unit.
    trust_asked(str)
        A pane of the trust panel is to be shown.
    """

    help_asked = Signal(str)
    picked = Signal(str)
    retry_asked = Signal()
    trust_asked = Signal(str)

    def __init__(self, document: Document) -> None:
        super().__init__(margins=(12, 0, 12, 12))
        self._document = document
        self.model = StandingModel()
        self.model.setParent(self)
        self._sorted = QSortFilterProxyModel(self)
        self._sorted.setSourceModel(self.model)
        self._sorted.setSortRole(SORT)
        self.head = self._make_head()
        self.table = self._make_table()
        self.column.addWidget(self.table)
        self._hint = label("The specimens are ranked here, as soon as scans are on the bench.", muted=True, wrap=True)
        self.column.addWidget(self._hint)
        self._band = label(points=SMALL, muted=True, wrap=True)
        self.column.addWidget(self._band)
        self._cards = QVBoxLayout()
        self._cards.setSpacing(8)
        self.column.addLayout(self._cards)
        self.column.addStretch(1)
        document.compared.connect(self.refresh)
        document.bench_changed.connect(self.refresh)
        theme().changed.connect(self._repaint)
        self.refresh()

    def refresh(self) -> None:
        """Show the latest comparison."""
        comparison = self._document.comparison
        self.model.show_comparison(comparison)
        self.table.fit(len(self.model.rows))
        self.table.setVisible(bool(self.model.rows))
        self.head.aside.setText("" if comparison is None else f"by {comparison.rank_by}, lowest first")
        self._band.setText("" if comparison is None or not comparison.scans else band_text(comparison.band))
        self._band.setVisible(bool(self._band.text()))
        self._hint.setVisible(not self.model.rows)
        self._fill_cards(comparison)

    def select(self, specimen: str) -> None:
        """Mark the row of this specimen."""
        for place in range(self._sorted.rowCount()):
            row = self._sorted.index(place, 0).data(ROW)
            if isinstance(row, Row) and row.place.specimen == specimen:
                self.table.selectRow(place)

    def _repaint(self) -> None:
        self.table.viewport().update()

    def _ask(self) -> None:
        self.help_asked.emit(self._document.bench.rank_by)

    def _make_head(self) -> DockHead:
        head = DockHead("Standing")
        self.ask = flat_button("?", "What this reading means and when it misleads (F1)")
        self.ask.clicked.connect(self._ask)
        head.add(self.ask)
        return head

    def _make_table(self) -> StandingTable:
        table = StandingTable(self._sorted)
        table.help_asked.connect(self._ask)
        table.selectionModel().selectionChanged.connect(self._tell_picked)
        return table

    def _tell_picked(self) -> None:
        for index in self.table.selectionModel().selectedRows():
            row = index.data(ROW)
            if isinstance(row, Row):
                self.picked.emit(row.place.specimen)

    def _fill_cards(self, comparison: Comparison | None) -> None:
        emptied(self._cards)
        if comparison is not None and comparison.scans:
            unlike = _comparability_card(comparison, self._document.add_common_band)
            for card in (_verdict_card(comparison), unlike, _doubts_card(comparison, self.trust_asked.emit)):
                if card is not None:
                    self._cards.addWidget(card)
        refused = _refused_card(self._document, comparison, self.retry_asked.emit)
        if refused is not None:
            self._cards.addWidget(refused)


def _verdict_card(comparison: Comparison) -> QWidget | None:
    said = sentences(comparison.ranking, comparison.rank_by)
    if not said:
        return None
    card = Card(spacing=6)
    for sentence in said:
        card.column.addWidget(label(sentence, wrap=True))
    return card


def _comparability_card(comparison: Comparison, add_band: Callable[[], object]) -> QWidget | None:
    groups = unlike_pairs(comparison.comparability)
    if not groups:
        return None
    card = _titled("May they stand side by side?")
    for level, reasons, cure, pairs in groups:
        names = list(dict.fromkeys(name for pair in pairs for name in (pair.first, pair.second)))
        what = (
            f"{pairs[0].first} and {pairs[0].second}"
            if len(pairs) == 1
            else _many_pairs(len(pairs), len(comparison.comparability), names)
        )
        card.column.addWidget(label(f"{what}: {KINDS[level]}, {reasons_text(reasons)}", level=level, wrap=True))
        card.column.addWidget(label(cure, points=SMALL, muted=True, wrap=True))
    curable = {"area", "pixel"} & {reason for _, reasons, *_ in groups for reason in reasons}
    if curable and not comparison.band.filtered:
        cure_it = button("Add a common band", name="Add the step band with the wavelengths that all scans hold")
        cure_it.clicked.connect(lambda: add_band())
        card.column.addWidget(cure_it, alignment=Qt.AlignmentFlag.AlignLeft)
    return card


def _many_pairs(count: int, total: int, names: Sequence[str]) -> str:
    return "All pairs" if count == total else f"{count} of {total} pairs, among {listed(names)}"


def _doubts_card(comparison: Comparison, show: Callable[[str], object]) -> QWidget | None:
    """How many there are, and which of them matter; the list itself is in the trust panel."""
    found = groups(comparison)
    if not found:
        return None
    card = Card(spacing=4)
    head = QHBoxLayout()
    head.addWidget(label("Doubts", strong=True))
    head.addWidget(label(summary(found), points=SMALL, muted=True), 1)
    more = flat_button("Show", "Show the doubts and what to do about them")
    more.clicked.connect(lambda: show("doubts"))
    head.addWidget(more)
    card.column.addLayout(head)
    for level in ("red", "amber"):
        names = list(dict.fromkeys(chip_of(group.code) for group in found if group.level == level))
        if names:
            card.column.addWidget(label(listed(names), level=level, wrap=True))
    return card


def _refused_card(document: Document, comparison: Comparison | None, retry: Callable[[], object]) -> QWidget | None:
    refused = document.bench.refused if comparison is None else comparison.refused
    if not refused:
        return None
    card = _titled("Refused")
    for refusal in refused:
        name = ElidedLabel(refusal.file.replace("\\", "/").rsplit("/", 1)[-1], role="red")
        name.setToolTip(refusal.file)
        card.column.addWidget(name)
        card.column.addWidget(
            label(f"{refusal.reason}. {fix_in_window(refusal)}".strip(), points=SMALL, muted=True, wrap=True)
        )
    if document.bench.refused:
        row = QHBoxLayout()
        if any(lacks_quantities(refusal) for refusal in refused):
            again = button(SAY_QUANTITIES, name="Say pixel size and unit and read the refused files again")
            again.clicked.connect(lambda: retry())
            row.addWidget(again)
        forget = button("Forget", name="Forget the refused files")
        forget.clicked.connect(lambda: document.remove_refused([r.file for r in document.bench.refused]))
        row.addWidget(forget)
        row.addStretch(1)
        card.column.addLayout(row)
    return card


def _titled(title: str) -> Card:
    card = Card(spacing=4)
    card.column.addWidget(label(title, strong=True))
    return card
