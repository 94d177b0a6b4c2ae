"""The log: what was kept on other days, charted, beside today's readings of equal conditions."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtWidgets import QComboBox, QFileDialog, QHBoxLayout, QVBoxLayout

from app.docks.dock import DockHead
from app.docks.log.chart_view import ChartView
from app.document.document import Document
from app.document.jobs import Ticket
from app.places import log_file
from app.widgets.parts import SMALL, Card, Column, ElidedLabel, button, emptied, label
from core.atomic import atomic
from core.log import Log, LogEntry, chart, entries_of, from_csv, to_csv
from core.measures.reading import Reading
from core.sheet.words import number_text

TABLES = "Table (*.csv)"
IDLE = "Keep the readings of a finished comparison here; later candidates then stand beside them."
RECENT = 12  # entries that are listed


class LogPanel(Column):
    """Series, chart, entries beside today's, and the acts."""

    def __init__(self, document: Document) -> None:
        super().__init__(margins=(12, 4, 12, 12))
        self._document = document
        self._series: list[tuple[str, str, str]] = []
        self._entries: list[LogEntry] = []
        self.head = DockHead("Log")
        self.keep = button("Keep in the log", name="Keep the ranking readings of this comparison in the log")
        self.out = button("Table out…", name="Write the log to a CSV table")
        self.into = button("Table in…", name="Take entries from a CSV table")
        row = QHBoxLayout()
        row.setSpacing(6)
        for made, act in ((self.keep, self.keep_now), (self.out, self._ask_out), (self.into, self._ask_in)):
            made.clicked.connect(lambda _=False, act=act: act())
            row.addWidget(made)
        row.addStretch(1)
        self.column.addLayout(row)
        self.choice = QComboBox()
        self.choice.setAccessibleName("Series of the log")
        self.choice.currentIndexChanged.connect(lambda _: self._show_series())
        self.column.addWidget(self.choice)
        self.view = ChartView()
        self.column.addWidget(self.view)
        self.said = label(IDLE, points=SMALL, muted=True, wrap=True)
        self.column.addWidget(self.said)
        self._cards = QVBoxLayout()
        self.column.addLayout(self._cards)
        self.column.addStretch(1)
        document.compared.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """Read the log anew, in the background; an empty one without asking."""
        self.keep.setEnabled(self._document.comparison is not None)
        if log_file().exists():
            self._document.run(lambda _: Log(log_file()).entries(), self._take)
        else:
            self._take([])

    def keep_now(self) -> None:
        """Keep the ranking readings of the comparison."""
        made = self._document.comparison
        if made is not None:
            self._document.run(lambda _: Log(log_file()).add(entries_of(made)), self._kept)

    def write(self, path: Path) -> None:
        """The whole log as CSV."""

        def work(_: Ticket) -> None:
            text = to_csv(Log(log_file()).entries())
            with atomic(path) as temporary:
                temporary.write_bytes(text.encode("utf-8"))

        self._document.run(work, lambda _: self._document.noticed.emit("note", f"Wrote {path.name}."))

    def read(self, path: Path) -> None:
        """Entries of a CSV table to the log."""
        self._document.run(lambda _: Log(log_file()).add(from_csv(path.read_text(encoding="utf-8-sig"))), self._kept)

    def _kept(self, count: int) -> None:
        told = "All of it was in the log already." if count == 0 else f"Kept {count} new in the log."
        self._document.noticed.emit("note", told)
        self.refresh()

    def _ask_out(self) -> None:
        name, _ = QFileDialog.getSaveFileName(self, "Write the log", "log.csv", TABLES)
        if name:
            self.write(Path(name))

    def _ask_in(self) -> None:
        name, _ = QFileDialog.getOpenFileName(self, "Entries for the log", "", TABLES)
        if name:
            self.read(Path(name))

    def _take(self, entries: Sequence[LogEntry]) -> None:
        self._entries = list(entries)
        series: list[tuple[str, str, str]] = list(dict.fromkeys((one.kind, one.subject, one.symbol) for one in entries))
        if series != self._series:
            self._series = series
            self.choice.blockSignals(True)
            self.choice.clear()
            self.choice.addItems([f"{symbol} of {subject}" for _, subject, symbol in series])
            self.choice.blockSignals(False)
        self.out.setEnabled(bool(entries))
        self.choice.setVisible(bool(series))
        self.view.setVisible(bool(series))
        self._show_series()

    def _show_series(self) -> None:
        place = self.choice.currentIndex()
        wanted = self._series[place] if 0 <= place < len(self._series) else None
        mine = [one for one in self._entries if (one.kind, one.subject, one.symbol) == wanted]
        made = chart(mine) if mine else None
        self.view.show_chart(made)
        self.said.setText(IDLE if made is None else made.sentence)
        self._show_beside()

    def _show_beside(self) -> None:
        """Today's candidates and those of other days; what was read under other conditions is pale."""
        emptied(self._cards)
        comparison = self._document.comparison
        if comparison is None or not self._entries:
            return
        today = entries_of(comparison)
        kept = [one for one in self._entries if one.symbol == comparison.rank_by and one not in today][-RECENT:]
        if not kept:
            return
        equal = {one.conditions for one in today}
        card = Card(spacing=3)
        card.column.addWidget(label("Today beside other days", strong=True))
        for day, entries in (("today", today), ("", kept)):
            for one in entries:
                reading = Reading(one.symbol, one.value, one.unit, "")
                pale = one.conditions not in equal
                told = f"{one.subject}  {number_text(reading)}  {day or one.at[:10]}{', other conditions' * pale}"
                card.column.addWidget(ElidedLabel(told, role="muted" if pale else "text"))
        self._cards.addWidget(card)
