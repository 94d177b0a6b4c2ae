"""Does the winner hang on how the scans were treated? Other defensible treatments, tried in the background."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QHBoxLayout, QProgressBar, QSizePolicy, QVBoxLayout, QWidget

from app.docks.trust.pane import Pane
from app.document.document import Document
from app.theme import colour
from app.tiles.ink import fill, put
from app.widgets.badge import draw_badge
from app.widgets.parts import SMALL, Card, button, label
from core.choices import Choices, sentence
from core.colours import specimen_colour
from core.progress import Progress
from core.results import Comparison

HINT = "Whether the winner hangs on levelling, mask and band: other defensible treatments are tried here."
ROW = 26.0
ASK = "Try 48 defensible treatments"


class ChoicesPane(Pane):
    """A button, and what came of it."""

    def __init__(self, document: Document) -> None:
        super().__init__(document, HINT)
        self.ask = button(ASK, name="Try other defensible treatments: levelling, mask and ends of the band")
        self.ask.clicked.connect(lambda: document.try_choices())
        self.stop = button("Stop", name="Stop trying treatments")
        self.stop.clicked.connect(lambda: document.stop_choices())
        self.bar = QProgressBar()
        self.bar.setTextVisible(False)
        self.bar.setFixedHeight(6)
        self.bar.setAccessibleName("Progress of the treatments")
        self._said = label(points=SMALL, muted=True, wrap=True)
        self._head = QWidget()
        self._lay_out()
        document.busy_changed.connect(self._show_state)
        document.choosing_changed.connect(self._show_state)
        document.progressed.connect(self._show_progress)
        self._show_state()

    def fill(self, comparison: Comparison) -> bool:
        self._show_state()
        found = comparison.choices
        self._head.show()
        if found is None:
            return False
        card = Card(spacing=6)
        card.column.addWidget(label(sentence(found), wrap=True))
        if found.note:
            card.column.addWidget(label(found.note, points=SMALL, muted=True, wrap=True))
        self.cards.addWidget(card)
        self.cards.addWidget(_wins(found, comparison))
        self.cards.addWidget(_factors(found))
        return True

    def _show_state(self) -> None:
        document, running = self._document, self._document.choosing
        self.ask.setVisible(not running)
        self.ask.setEnabled(document.up_to_date and len(document.bench.specimens) > 1)
        self.stop.setVisible(running)
        self.bar.setVisible(running)
        if not running:
            self.bar.setRange(0, 0)
            self._said.setText("The bench itself stays as it is.")

    def _show_progress(self, progress: Progress) -> None:
        if self._document.choosing:
            self.bar.setRange(0, max(1, progress.total))
            self.bar.setValue(progress.done)
            self._said.setText(f"{progress.what} · {progress.done} of {progress.total}")

    def _lay_out(self) -> None:
        inside = QVBoxLayout(self._head)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(6)
        row = QHBoxLayout()
        row.addWidget(self.ask)
        row.addWidget(self.stop)
        row.addWidget(self.bar, 1)
        row.addStretch(0)
        inside.addLayout(row)
        inside.addWidget(self._said)
        self._head.hide()
        self.column.insertWidget(1, self._head)


def _wins(found: Choices, comparison: Comparison) -> Card:
    card = Card(spacing=4)
    card.column.addWidget(label("How often each has the lowest reading", strong=True))
    card.column.addWidget(Bars(found, comparison))
    told = "A share of treatments is no probability of anything."
    card.column.addWidget(label(told, points=SMALL, muted=True, wrap=True))
    return card


def _factors(found: Choices) -> Card:
    card = Card(spacing=4)
    card.column.addWidget(label("What changes the winner, alone", strong=True))
    for factor, rate in found.flip_rate.items():
        options = ", ".join(found.options[factor])
        card.column.addWidget(label(f"{factor}: {rate * 100:.0f} % of pairs", wrap=True))
        card.column.addWidget(label(options, points=SMALL, muted=True, wrap=True))
    return card


class Bars(QWidget):
    """A bar for each specimen that wins under some treatment, in its colour."""

    def __init__(self, found: Choices, comparison: Comparison) -> None:
        super().__init__()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        known = {specimen.name for specimen in comparison.specimens}
        self._rows = [
            (name, share, specimen_colour(comparison.colour_index(name)), str(comparison.places[name].rank))
            for name, share in found.win_share.items()
            if share > 0 and name in known
        ]
        self.setAccessibleName("Shares of treatments won")
        self.setAccessibleDescription(", ".join(f"{name} {share:.0%}" for name, share, *_ in self._rows))

    @property
    def shares(self) -> dict[str, float]:
        """What is shown."""
        return {name: share for name, share, *_ in self._rows}

    def sizeHint(self) -> QSize:
        return QSize(200, int(ROW * max(1, len(self._rows))))

    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        name_width = self.width() * 0.42
        room = max(20.0, self.width() - name_width - 26 - 44)
        for number, (name, share, ink, rank) in enumerate(self._rows):
            y = number * ROW
            draw_badge(painter, QRectF(0, y + 3, 19, 19), QColor(ink), rank)
            put(painter, QRectF(26, y, name_width - 6, ROW), name, colour("text"), 9.5)
            left = 26 + name_width
            fill(painter, QRectF(left, y + ROW / 2 - 4, room, 8), colour("window"), 3)
            fill(painter, QRectF(left, y + ROW / 2 - 4, max(2.0, room * share), 8), QColor(ink), 3)
            text, place = f"{share * 100:.0f} %", QRectF(left + room, y, 44, ROW)
            put(painter, place, text, colour("text"), 9.5, align=Qt.AlignmentFlag.AlignRight)
        painter.end()
