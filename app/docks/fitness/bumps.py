"""Bumps: how many there are on each specimen, which they are on the chosen scan, and what the readings owe to them."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QWidget

from app.docks.fitness.bump_settings import BumpSettings, Settings
from app.docks.fitness.bump_table import BumpTable
from app.docks.fitness.chosen import Chosen, ScanList
from app.docks.fitness.errand import Errand
from app.docks.fitness.figures import Cell, figures
from app.docks.trust.pane import Pane
from app.document.document import Document
from app.document.jobs import Ticket
from app.tiles.marks import Ring
from app.widgets.parts import SMALL, Card, ElidedLabel, button, emptied, label
from app.widgets.switch import Switch
from core.fitness.bumps import Census, Counted, SideBySide, count_all, with_and_without
from core.fitness.poisson import Rate
from core.results import Comparison, ScanResult
from core.sheet.bumps import SQUARE
from core.sheet.words import NONE, number_text
from core.treatment import Mask
from core.units import format_length, format_number, percent

HINT = "What stands out of each surface and could be taken for a particle is counted here."
DEFAULT = Settings()


class BumpsPane(Pane):
    """Settings, a table of specimens, and the chosen scan.

    Signals
    -------
    marked()
        Other bumps are to be drawn on the tiles.
    looked(str, Ring)
        This bump of this scan shall be seen closely.
    """

    marked = Signal()
    looked = Signal(str, object)

    def __init__(self, document: Document, chosen: Chosen) -> None:
        super().__init__(document, HINT)
        self._chosen = chosen
        self._counted: Counted | None = None
        self._asked: tuple[object, Settings] | None = None
        self._picked: tuple[str, int] | None = None
        self._beside: tuple[object, Settings, SideBySide] | None = None
        self.settings = BumpSettings()
        self.show_marks = Switch("Show the bumps on the tiles")
        self.list = ScanList(chosen)
        self.table = BumpTable()
        self.problem = label(points=SMALL, level="red", wrap=True)
        self._counting, self._reading = Errand(document, self), Errand(document, self)
        self._about, self._by_scan = Card(spacing=5), Card(spacing=6)
        self._said = label(points=SMALL, muted=True, wrap=True)
        self._twice = Card(spacing=5)
        self.mask_it = button(
            "Mask bumps", name="Add a step that masks the bumps of all scans before they are levelled"
        )
        self._lay_out()
        self.settings.changed.connect(self.renew)
        self.show_marks.toggled.connect(lambda _: self.marked.emit())
        self.table.chosen.connect(self._look)
        self.mask_it.clicked.connect(lambda: self.add_mask())
        for errand in (self._counting, self._reading):
            errand.refused.connect(self._refuse)
        chosen.changed.connect(self.renew)

    @property
    def counted(self) -> Counted | None:
        """What was counted with the present settings."""
        return self._counted

    def rings(self) -> dict[str, tuple[Ring, ...]]:
        """What is to be drawn, by scan."""
        if not self.show_marks.isChecked() or self._counted is None:
            return {}
        return {
            name: tuple(
                Ring(mark.x, mark.y, mark.radius, mark.counted, self._picked == (name, number))
                for number, mark in enumerate(census.marks)
            )
            for name, census in self._counted.scans.items()
            if census.marks
        }

    def count_now(self) -> None:
        """Count with the present settings, also where the pane is not seen."""
        comparison = self._document.comparison
        if comparison is not None and comparison.scans:
            self._count(comparison)

    def add_mask(self) -> None:
        """Mask the bumps of all scans, as they are counted here."""
        settings = self.settings.settings
        particle = format_length(settings.particle)
        self._document.add_cure(Mask(what="bumps", k=settings.k, particle=particle.replace("µ", "u")))

    def fill(self, comparison: Comparison) -> bool:
        self.settings.offer_blanks([specimen.name for specimen in comparison.specimens])
        self._count(comparison)
        self._show()
        for card in (self._about, self._by_scan, self._twice):
            card.show()
        self.settings.show()
        return True

    def _count(self, comparison: Comparison) -> None:
        """Count with the present settings, unless it is done or asked for; the defaults are in the comparison."""
        settings = self.settings.settings
        if self._asked == (comparison.scans, settings):
            return
        self._asked, self._counted = (comparison.scans, settings), None
        self.problem.hide()
        spots = comparison.spots()
        maps = {specimen: [scan.treated for scan in scans] for specimen, scans in spots.items()}
        bumps = {scan.treated.name: scan.bumps for scans in spots.values() for scan in scans}
        known = {name: census for name, census in bumps.items() if census is not None} if settings == DEFAULT else {}

        def work(ticket: Ticket) -> Counted:
            return count_all(
                maps,
                particle=settings.particle,
                k=settings.k,
                height=settings.height,
                hollows=settings.hollows,
                known=known,
                report=lambda progress: self._counting.report(ticket, progress),
                cancel=ticket.cancel,
            )

        self._counting.ask(work, self._take)

    def _take(self, counted: Counted) -> None:
        self._counted = counted
        if self._picked is not None and self._picked[0] not in counted.scans:
            self._picked = None
        self._show()
        self.marked.emit()

    def _refuse(self, reason: str) -> None:
        self.problem.setText(reason)
        self.problem.show()

    def _show(self) -> None:
        _emptied(self._about)
        comparison, counted, scan = self._document.comparison, self._counted, self._chosen.scan
        if comparison is None or counted is None:
            waiting = "Being counted …" if self._counting.running else "Not counted."
            self._about.column.addWidget(label(waiting, points=SMALL, muted=True))
        else:
            blank = counted.specimens.get(self.settings.blank_specimen)
            self._about.column.addWidget(_by_specimen(comparison, counted, blank))
            note = "Per 100 µm², with the exact Poisson interval of 95 %."
            if blank is not None:
                note += f" Less {self.settings.blank_specimen}: the interval of the difference."
            self._about.column.addWidget(label(note, points=SMALL, muted=True, wrap=True))
        census = None if scan is None or counted is None else counted.scans.get(scan.treated.name)
        self.table.show_marks(() if census is None else census.marks)
        self.table.setVisible(bool(census and census.marks))
        self._said.setText(_conditions(census))
        self._show_twice(scan)

    def _show_twice(self, scan: ScanResult | None) -> None:
        """Readings with bumps and without; worked out for the chosen scan when it is seen."""
        settings = self.settings.settings
        known = self._beside
        if scan is None:
            return
        if known is not None and known[0] is scan.treated and known[1] == settings:
            _emptied(self._twice)
            self._twice.column.addWidget(_two(known[2]))
            share = percent(known[2].masked_fraction, 2)
            told = f"The bumps take {share} of the points. The step “mask bumps” does this to all scans."
            self._twice.column.addWidget(label(told, points=SMALL, muted=True, wrap=True))
            return
        if self._reading.running:
            self._reading.stop()
        _emptied(self._twice)
        self._twice.column.addWidget(label("Being read …", points=SMALL, muted=True))
        treated = scan.treated

        def take(found: SideBySide) -> None:
            self._beside = treated, settings, found
            self._show_twice(self._chosen.scan)

        self._reading.ask(
            lambda _: with_and_without(
                treated, particle=settings.particle, k=settings.k, height=settings.height, hollows=settings.hollows
            ),
            take,
        )

    def _look(self, number: int) -> None:
        scan = self._chosen.scan
        if scan is None:
            return
        mark = self.table.bumps.marks[number]
        self._picked = scan.name, number
        if self.show_marks.isChecked():
            self.marked.emit()
        else:
            self.show_marks.setChecked(True)
        self.looked.emit(scan.name, Ring(mark.x, mark.y, mark.radius))

    def _lay_out(self) -> None:
        top = self.column
        top.insertWidget(1, self.settings)
        top.insertWidget(2, self.problem)
        top.insertWidget(3, self._about)
        row = QHBoxLayout()
        row.setSpacing(6)
        row.addWidget(self.list, 1)
        on_tiles = label("on tiles", points=SMALL, muted=True)
        on_tiles.setToolTip("Show the bumps on the tiles (B)")
        row.addWidget(on_tiles)
        row.addWidget(self.show_marks)
        self._by_scan.column.addLayout(row)
        self._by_scan.column.addWidget(self._said)
        self._by_scan.column.addWidget(self.table)
        top.insertWidget(4, self._by_scan)
        top.insertWidget(5, self._twice)
        top.insertWidget(6, self.mask_it, 0, Qt.AlignmentFlag.AlignLeft)
        self.problem.hide()
        for widget in (self.settings, self._about, self._by_scan, self._twice):
            widget.hide()


def _by_specimen(comparison: Comparison, counted: Counted, blank: Census | None) -> QWidget:
    heads = ("", "count", "density" if blank is None else "less blank", "median")
    rows: list[list[Cell]] = []
    for place in comparison.standing:
        census = counted.specimens.get(place.specimen)
        if census is None:
            continue
        middle = counted.heights.get(place.specimen)
        row: list[Cell] = [
            ElidedLabel(place.specimen, points=SMALL),
            NONE if census.count is None else str(census.count),
            density(census.rate) if blank is None else "blank" if census is blank else _range(census.less(blank)),
            NONE if middle is None else format_length(middle),
        ]
        rows.append(row)
    return figures(heads, rows)


def density(rate: Rate | None) -> str:
    """Per 100 µm² with its interval; with none seen, the limit."""
    if rate is None:
        return NONE
    return f"< {format_number(rate.upper * SQUARE)}" if rate.count == 0 else _range(rate)


def _range(rate: Rate | None) -> str:
    if rate is None:
        return NONE
    low, value, high = (format_number(end * SQUARE) for end in (rate.low, rate.value, rate.high))
    return f"{value} ({low} to {high})".replace("-", "−")


def _conditions(census: Census | None) -> str:
    if census is None:
        return ""
    if census.rate is None:
        return f"Not counted: {census.note}"
    told = f"{census.count} {census.what}"
    if census.threshold is not None:
        told += f" from {format_length(census.threshold)} on"
    note = f" {census.note[:1].upper()}{census.note[1:]}." if census.note else ""
    return f"{told}.{note}"


def _two(found: SideBySide) -> QWidget:
    rows = [
        [symbol, number_text(reading), number_text(found.without_bumps[symbol])]
        for symbol, reading in found.with_bumps.items()
    ]
    return figures(("Reading", "with bumps", "without"), rows)


def _emptied(card: Card) -> None:
    emptied(card.column)
