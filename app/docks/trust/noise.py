"""What is left of every specimen without the noise of the instrument, and which scans tell the noise."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QListWidget, QListWidgetItem, QVBoxLayout, QWidget

from app.docks.trust.pane import Pane, titled
from app.docks.trust.reality_plot import RealityPlot
from app.document.document import Document
from app.widgets.badge import Badge
from app.widgets.parts import SMALL, Card, ElidedLabel, button, flat_button, label
from core.colours import specimen_colour
from core.results import Comparison, SpecimenResult
from core.sheet.noise import noise_notes, noise_row

HINT = "Scan one place twice on the smoothest candidate: what repeats is surface, the rest is noise of the instrument."
ROWS = 7  # lines of the list of scans before it scrolls
NAME = Qt.ItemDataRole.UserRole


class NoisePane(Pane):
    """The noise of every specimen, what repeats by wavelength, and the list of scans of one place."""

    def __init__(self, document: Document) -> None:
        super().__init__(document, HINT)
        self.scans = QListWidget()
        self.scans.setAccessibleName("Scans of one place")
        self.scans.itemChanged.connect(lambda _: self._count())
        self.same = button("These are repeats", name="The ticked scans are repeats: they show one place")
        self.same.clicked.connect(self._say_repeats)
        self._box = self._make_box()
        self.column.insertWidget(2, self._box)
        self._box.hide()

    def tick(self, name: str) -> None:
        """Tick this scan, or take the tick away."""
        for item in self._items():
            if item.data(NAME) == name:
                on = item.checkState() == Qt.CheckState.Checked
                item.setCheckState(Qt.CheckState.Unchecked if on else Qt.CheckState.Checked)
                self.scans.scrollToItem(item)

    @property
    def ticked(self) -> list[str]:
        """Names of the ticked scans."""
        return [item.data(NAME) for item in self._items() if item.checkState() == Qt.CheckState.Checked]

    def fill(self, comparison: Comparison) -> bool:
        self._offer_scans()
        known = [one for place in comparison.standing if (one := comparison.specimens_by_name[place.specimen]).noise]
        if comparison.noise is None:
            return False
        if known:
            card = Card(spacing=9)
            for specimen in known:
                card.column.addLayout(self._specimen(specimen, comparison))
            self.cards.addWidget(card)
        self._add_reality(comparison)
        self._add_groups(comparison)
        return True

    def _specimen(self, specimen: SpecimenResult, comparison: Comparison) -> QVBoxLayout:
        """What core's row for the sheet says, in three lines."""
        _, raw, floor, ratio, corrected, interval, real, method = noise_row(specimen)
        lines = QVBoxLayout()
        lines.setSpacing(1)
        head = QHBoxLayout()
        head.setSpacing(7)
        rank = comparison.places[specimen.name].rank
        head.addWidget(Badge(specimen_colour(comparison.colour_index(specimen.name)), str(rank)))
        head.addWidget(ElidedLabel(specimen.name), 1)
        limited = specimen.noise is not None and specimen.noise.limited
        head.addWidget(label(corrected, strong=True, level="amber" if limited else ""))
        lines.addLayout(head)
        if floor != "–":
            told = f"Sq as read {raw} · noise N {floor} from {method} · N/S {ratio}"
            lines.addWidget(label(told, points=SMALL, muted=True, wrap=True))
        parts = [f"95 %: {interval}" if interval != "–" else "", f"real above {real}" if real != "–" else ""]
        said = " · ".join(part for part in parts if part)
        if said:
            lines.addWidget(label(said, points=SMALL, muted=True, wrap=True))
        for note in noise_notes(specimen):
            lines.addWidget(label(note, points=SMALL, muted=True, wrap=True))
        return lines

    def _add_reality(self, comparison: Comparison) -> None:
        curves = [
            (scan.specimen, specimen_colour(comparison.colour_index(scan.specimen)), spot.reality)
            for spot in (comparison.noise.spots if comparison.noise else ())
            if spot.reality is not None and (scan := comparison.scans_by_name.get(spot.scans[0])) is not None
        ]
        if curves:
            card = titled("What repeats, by wavelength")
            card.column.addWidget(RealityPlot(curves))
            card.column.addWidget(label("Detail in waves below 50 % is noise.", points=SMALL, muted=True, wrap=True))
            self.cards.addWidget(card)

    def _add_groups(self, comparison: Comparison) -> None:
        card = titled("Measured from")
        for group in comparison.noise.groups if comparison.noise else ():
            row = QHBoxLayout()
            row.addWidget(label(" and ".join(group), points=SMALL, wrap=True), 1)
            if any(set(said) & set(group) for said in self._document.bench.repeats):
                away = flat_button("Not repeats", f"{' and '.join(group)} are no repeats of one place")
                away.clicked.connect(lambda _=False, group=group: self._document.without_repeats(group))
                row.addWidget(away, 0, Qt.AlignmentFlag.AlignTop)
            card.column.addLayout(row)
        for name in sorted(comparison.noise.reference_scans if comparison.noise else ()):
            card.column.addWidget(label(f"{name}: reference scan", points=SMALL, wrap=True))
        self.cards.addWidget(card)

    def _make_box(self) -> QWidget:
        box = titled("Scans of one place")
        told = "Tick two or more scans of the same place; Ctrl+click on tiles does it too."
        box.column.addWidget(label(told, points=SMALL, muted=True, wrap=True))
        box.column.addWidget(self.scans)
        box.column.addWidget(self.same, alignment=Qt.AlignmentFlag.AlignLeft)
        return box

    def _offer_scans(self) -> None:
        names = [scan.name for scans in self._document.bench.specimens.values() for scan in scans]
        self._box.setVisible(len(names) > 1)
        if [item.data(NAME) for item in self._items()] == names:
            return
        kept = set(self.ticked)
        self.scans.blockSignals(True)
        self.scans.clear()
        for name in names:
            item = QListWidgetItem(name)
            item.setData(NAME, name)
            item.setFlags(item.flags() | Qt.ItemFlag.ItemIsUserCheckable)
            item.setCheckState(Qt.CheckState.Checked if name in kept else Qt.CheckState.Unchecked)
            self.scans.addItem(item)
        self.scans.blockSignals(False)
        row = max(20, self.scans.sizeHintForRow(0))
        self.scans.setFixedHeight(row * min(ROWS, len(names)) + 6)
        self._count()

    def _items(self) -> list[QListWidgetItem]:
        return [self.scans.item(row) for row in range(self.scans.count())]

    def _count(self) -> None:
        self.same.setEnabled(len(self.ticked) > 1)

    def _say_repeats(self) -> None:
        names = self.ticked
        for item in self._items():
            item.setCheckState(Qt.CheckState.Unchecked)
        self._document.with_repeats(names)
