"""Ladder: the steps of a crystal on the chosen scan, as a check of the height scale."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QCheckBox, QComboBox, QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from app.docks.fitness.chosen import Chosen, ScanList
from app.docks.fitness.errand import Errand
from app.docks.fitness.figures import Cell, figures
from app.docks.trust.pane import Pane
from app.document.document import Document
from app.document.jobs import Ticket
from app.theme import colour
from app.tiles.ink import put
from app.widgets.parts import SMALL, Card, button, label
from app.widgets.verdict import Sign, Verdict
from core.fitness.ladder import CRYSTALS, Ladder, ladder
from core.fitness.prepared import FOR_LADDER, prepared
from core.heightmap import HeightMap
from core.results import Comparison
from core.sheet.words import signed
from core.units import format_length

HINT = "Cleaved and annealed crystals show steps of known height: where there are any, they check the height scale."
UNSAID = "not known, or no crystal"
SIGNS: dict[str, Sign] = {"ladder": "tick", "one step": "ring", "none": "dash"}
NAMES = {"ladder": "steps found", "one step": "one step", "none": "no steps"}


class LadderPane(Pane):
    """Which scan, which crystal, and what was found."""

    def __init__(self, document: Document, chosen: Chosen) -> None:
        super().__init__(document, HINT)
        self._chosen = chosen
        self._found: tuple[HeightMap, str, Ladder] | None = None
        self.list = ScanList(chosen)
        self.crystal = QComboBox()
        self.crystal.setAccessibleName("What the specimen is")
        self.crystal.setToolTip("Heights alone do not name a crystal: say which it is, if you know.")
        self.crystal.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.crystal.addItem(UNSAID, None)
        for entry in CRYSTALS:
            self.crystal.addItem(entry.name, entry.name)
        self.rows = QCheckBox("Rows drift against each other")
        self.rows.setToolTip("Each row may have an offset of its own: for drift of more than a third of a step")
        self.start = button("Look for steps", accent=True, name="Look for steps on the chosen scan")
        self.start.clicked.connect(lambda: self.run())
        self.problem = label(points=SMALL, level="red", wrap=True)
        self.errand = Errand(document, self)
        self.errand.refused.connect(self._refuse)
        self.errand.changed.connect(self._show_state)
        self._lay_out()
        chosen.changed.connect(self.renew)

    def run(self) -> None:
        """Look for steps."""
        scan = self._chosen.scan
        if scan is None:
            return
        self.problem.hide()
        raw, treatment = scan.raw, self._document.bench.treatment
        name, crystal, rows = scan.name, self.crystal.currentData(), self.rows.isChecked()

        def work(_: Ticket) -> Ladder:
            return ladder(prepared(raw, treatment, FOR_LADDER), crystal=crystal, row_phases=rows)

        def take(found: Ladder) -> None:
            self._found = raw, name, found
            self.renew()

        self.errand.ask(work, take)

    @property
    def found(self) -> Ladder | None:
        """What was found on the chosen scan."""
        scan = self._chosen.scan
        known = self._found
        return None if known is None or scan is None or known[0] is not scan.raw else known[2]

    def fill(self, _: Comparison) -> bool:
        self._head.show()
        self._show_state()
        found = self.found
        if found is None:
            return False
        card = Card(spacing=6)
        card.column.addWidget(Verdict(SIGNS[found.kind], NAMES[found.kind]))
        card.column.addWidget(label(found.sentence, wrap=True))
        if found.level_heights:
            card.column.addWidget(Levels(found))
        self.cards.addWidget(card)
        if found.matches:
            self.cards.addWidget(_matches(found))
        return True

    def _show_state(self) -> None:
        running = self.errand.running
        self.start.setEnabled(self._chosen.scan is not None and not running)
        self.start.setText("Looking …" if running else "Look for steps")

    def _refuse(self, reason: str) -> None:
        self.problem.setText(reason)
        self.problem.show()

    def _lay_out(self) -> None:
        self._head = QWidget()
        column = QVBoxLayout(self._head)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        column.addWidget(self.list)
        column.addWidget(self.crystal)
        row = QHBoxLayout()
        row.addWidget(self.start)
        row.addWidget(self.rows)
        row.addStretch(1)
        column.addLayout(row)
        column.addWidget(self.problem)
        self.problem.hide()
        self._head.hide()
        self.column.insertWidget(1, self._head)


def _matches(found: Ladder) -> Card:
    """The entries of the table that agree; none of them is named by the measurement."""
    card = Card(spacing=5)
    card.column.addWidget(label("Agrees with", strong=True))
    rows: list[list[Cell]] = []
    for match in found.matches:
        crystal = label(match.crystal.name, points=SMALL)
        crystal.setToolTip(match.crystal.source)
        height = format_length(match.crystal.step, "nm", digits=4)
        rows.append([crystal, f"{match.multiple} × {height}", f"{match.ratio:.3f} ± {match.u_ratio:.3f}"])
    card.column.addWidget(figures(("Crystal", "step", "height scale reads"), rows))
    told = "Several may agree, and what the crystal is must be known from elsewhere. A check, not a calibration."
    card.column.addWidget(label(told, points=SMALL, muted=True, wrap=True))
    return card


class Levels(QWidget):
    """The free heights of the levels against their numbers, with the ladder that was fitted."""

    def __init__(self, found: Ladder) -> None:
        super().__init__()
        self._levels, self._step = found.level_heights, found.height or 0.0
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Heights of the levels")
        self.setAccessibleDescription(", ".join(f"{n}: {format_length(height)}" for n, height in self._levels))

    def sizeHint(self) -> QSize:
        return QSize(200, 110)

    def paintEvent(self, _: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        place = QRectF(self.rect()).adjusted(58, 8, -10, -18)
        numbers = [number for number, _ in self._levels]
        heights = [height for _, height in self._levels]
        low, span = min(heights), (max(heights) - min(heights)) or 1e-12

        def point(number: float, height: float) -> QPointF:
            across = (number - numbers[0]) / max(1, numbers[-1] - numbers[0])
            return QPointF(
                place.left() + across * place.width(), place.bottom() - (height - low) / span * place.height()
            )

        painter.setPen(QPen(colour("border"), 1))
        painter.drawLine(place.topLeft(), place.bottomLeft())
        painter.drawLine(place.bottomLeft(), place.bottomRight())
        middle = sum(h - n * self._step for n, h in self._levels) / len(heights)
        painter.setPen(QPen(colour("muted"), 1, Qt.PenStyle.DashLine))
        painter.drawLine(*(point(n, middle + n * self._step) for n in (numbers[0], numbers[-1])))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour("accent"))
        for number, height in self._levels:
            painter.drawEllipse(point(number, height), 3.5, 3.5)
        right = Qt.AlignmentFlag.AlignRight
        for height, y in ((heights[-1], place.top()), (heights[0], place.bottom())):
            text = signed(format_length(height, "nm"))
            put(painter, QRectF(0, y - 8, 54, 16), text, colour("muted"), SMALL - 0.5, align=right)
        words = QRectF(place.left(), place.bottom() + 2, place.width(), 15)
        put(painter, words, "level", colour("muted"), SMALL - 0.5, align=Qt.AlignmentFlag.AlignHCenter)
        painter.end()
