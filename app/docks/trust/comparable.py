"""Which readings may stand side by side, why not, and the step that cures it."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from app.docks.trust.matrix import Matrix, Name
from app.docks.trust.pane import Pane
from app.document.document import Document
from app.document.jobs import Jobs, Ticket
from app.theme import theme
from app.told.words import listed
from app.widgets.parts import SMALL, Card, button, emptied, label
from app.widgets.switch import Switch
from core.colours import specimen_colour
from core.compare import scan_pairs
from core.results import Comparison
from core.sheet.words import KINDS, reasons_text
from core.treatment import Crop
from core.trust.comparability import BAND_CURE, CROP_CURE, UNRECORDED, Pair

HINT = (
    "Roughness grows with the scan and shrinks with the pixel. Here stands which pairs may be compared, and what to do."
)
SCANS = 24  # scans of the whole bench that make a matrix; of more, those of the chosen pair


class ComparablePane(Pane):
    """The matrix of specimens, or of scans, and what is to be said of the pair that is looked at."""

    def __init__(self, document: Document) -> None:
        super().__init__(document, HINT)
        self._jobs = Jobs(1, self)
        self.destroyed.connect(self._jobs.shut)
        self._ticket: Ticket | None = None
        self._of_specimens: Pair | None = None
        self._box = QWidget()
        self.matrix = Matrix()
        self.matrix.picked.connect(self._show_pair)
        theme().changed.connect(self.matrix.update)
        self.by_scan = Switch("A row for every scan")
        self.by_scan.toggled.connect(lambda _: self.renew())
        self._told = QVBoxLayout()
        self._lay_out()

    def shut(self) -> None:
        """Stop what runs."""
        self._jobs.shut()

    def fill(self, comparison: Comparison) -> bool:
        if len(comparison.specimens) < 2:
            self._box.hide()
            return False
        self._box.show()
        if self._ticket is not None:
            self._ticket.drop()
            self._ticket = None
        if not self.by_scan.isChecked():
            names = [place.specimen for place in comparison.standing]
            self._show(comparison, {name: name for name in names}, comparison.comparability)
            return True
        pair = self._of_specimens
        among = None if len(comparison.scans) <= SCANS or pair is None else (pair.first, pair.second)
        self._ticket = self._jobs.start(
            lambda _: scan_pairs(comparison, among),
            done=lambda pairs: self._show_scans(comparison, among, pairs),
            failed=self._fail,
        )
        return True

    def _show_scans(self, comparison: Comparison, among: tuple[str, ...] | None, pairs: tuple[Pair, ...]) -> None:
        self._ticket = None
        order = {place.specimen: place.rank for place in comparison.standing}
        scans = sorted(comparison.scans, key=lambda scan: order[scan.specimen])
        names = {scan.name: scan.specimen for scan in scans if among is None or scan.specimen in among}
        self._show(comparison, names, pairs)

    def _show(self, comparison: Comparison, specimens: dict[str, str], pairs: tuple[Pair, ...]) -> None:
        """`specimens`: that of every row."""
        rows = [
            Name(
                name,
                specimen_colour(comparison.colour_index(specimen)),
                str(comparison.places[specimen].rank),
            )
            for name, specimen in specimens.items()
        ]
        self.matrix.show_pairs(rows, pairs)
        self._show_pair(self.matrix.current)

    def _show_pair(self, pair: Pair | None) -> None:
        emptied(self._told)
        if pair is None:
            return
        if not self.by_scan.isChecked():
            self._of_specimens = pair
        card = Card(spacing=5)
        card.column.addWidget(label(f"{pair.first} and {pair.second}", strong=True, wrap=True))
        why = f": {reasons_text(pair.reasons)}" if pair.reasons else ""
        level = "good" if pair.level == "green" else pair.level
        card.column.addWidget(label(f"{KINDS[pair.level].capitalize()}{why}.", level=level, wrap=True))
        if pair.cure:
            card.column.addWidget(label(pair.cure, points=SMALL, wrap=True))
        if pair.unknown:
            lacking = listed([UNRECORDED.get(code, code) for code in pair.unknown])
            card.column.addWidget(label(f"Not recorded: {lacking}.", points=SMALL, muted=True, wrap=True))
        row = QHBoxLayout()
        for cure, text, act in (
            (BAND_CURE, "Add a common band", self._document.add_common_band),
            (CROP_CURE, "Crop to the common area", lambda: self._document.add_step(Crop(to="common"))),
        ):
            if cure in pair.cure:
                add = button(text, name=f"{text}: adds this step to the treatment of all scans")
                add.clicked.connect(lambda _=False, act=act: act())
                row.addWidget(add)
        row.addStretch(1)
        card.column.addLayout(row)
        self._told.addWidget(card)

    def _lay_out(self) -> None:
        inside = QVBoxLayout(self._box)
        inside.setContentsMargins(0, 0, 0, 0)
        inside.setSpacing(8)
        row = QHBoxLayout()
        row.addWidget(label("May they stand side by side?", strong=True), 1)
        row.addWidget(label("every scan", points=SMALL, muted=True))
        row.addWidget(self.by_scan)
        inside.addLayout(row)
        inside.addWidget(self.matrix)
        inside.addWidget(label("✓ comparable   ∼ with care   ✕ not comparable", points=SMALL, muted=True))
        inside.addLayout(self._told)
        self._box.hide()
        self.column.insertWidget(0, self._box)
        self.column.setAlignment(Qt.AlignmentFlag.AlignTop)

    def _fail(self, error: Exception) -> None:
        raise error
