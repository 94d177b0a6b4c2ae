"""Trial: virtual particles on the measured maps, to see which would be counted and from which size on."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFormLayout, QHBoxLayout, QLineEdit, QProgressBar, QVBoxLayout, QWidget

from app.docks.fitness.errand import Errand
from app.docks.fitness.figures import Cell, figures
from app.docks.fitness.recall import RecallPlot
from app.docks.trust.pane import Pane
from app.document.document import Document
from app.document.jobs import Ticket
from app.tiles.marks import Square
from app.widgets.badge import Badge
from app.widgets.length_field import understood
from app.widgets.parts import SMALL, Card, ElidedLabel, button, flat_button, label
from app.widgets.verdict import Sign, Verdict
from core.bench import Refusal
from core.colours import specimen_colour
from core.errors import QuantityError
from core.fitness.trial import Plan, Trial, sweep
from core.progress import Progress
from core.results import Comparison
from core.sheet.trials import CAUTION, LIGHTS, diameter_row, height_text, landing_text, smallest_text
from core.treatment import Band
from core.units import format_length

HINT = "From which size on particles would be counted on each surface: virtual ones are dropped on your maps."
SIGNS: dict[str, Sign] = {"green": "tick", "amber": "care", "red": "cross"}
BANDED = "Tried without the band of the treatment: it takes off what a particle stands on."


class TrialPane(Pane):
    """What to drop, how far it is, and what came of it.

    Signals
    -------
    marked()
        Other landing areas are to be drawn on the tiles.
    looked(str, Square)
        This part of this scan shall be seen closely.
    """

    marked = Signal()
    looked = Signal(str, object)

    def __init__(self, document: Document) -> None:
        super().__init__(document, HINT)
        self._shown: set[str] = set()
        self.diameters = _line("20, 30, 50 nm", "Diameters of the particles, with commas between")
        self.probe = _line("", "Radius of the probe; several with commas between are tried one after the other")
        self.probe.setPlaceholderText("as the scans say, else 10 nm")
        self.spread = _line("10 %", "Spread of the diameters, standard deviation in per cent")
        self.start = button("Drop particles", accent=True, name="Drop virtual particles on all scans")
        self.end = button("Stop", name="Stop the trial")
        self.bar = QProgressBar()
        self.bar.setTextVisible(False)
        self.bar.setFixedHeight(6)
        self.bar.setAccessibleName("Progress of the trial")
        self.said = label(points=SMALL, muted=True, wrap=True)
        self.problem = label(points=SMALL, level="red", wrap=True)
        self.errand = Errand(document, self)
        self.errand.changed.connect(self._show_state)
        self.errand.progressed.connect(self._show_progress)
        self.errand.refused.connect(self._refuse)
        self.start.clicked.connect(lambda: self.run())
        self.end.clicked.connect(lambda: self.errand.stop())
        self._lay_out()
        document.compared.connect(self._show_state)
        document.bench_changed.connect(self._show_state)
        self._show_state()

    def plan(self) -> tuple[Plan, list[float | None]]:
        """What is typed.

        Raises
        ------
        QuantityError
            If something is no length or out of its range.
        """
        spread = self.spread.text().replace("%", "").replace(",", ".").strip()
        try:
            share = float(spread or 10) / 100
        except ValueError:
            raise QuantityError(f"“{spread}” is no spread", fix="Write such as 10 %.") from None
        radii: list[float | None] = [*lengths(self.probe.text())]
        for radius in radii:
            Plan(probe_radius=radius)
        return Plan(diameters=tuple(sorted(set(lengths(self.diameters.text())))), spread=share), radii or [None]

    def run(self) -> None:
        """Drop them; an earlier trial that still runs is stopped."""
        self.problem.hide()
        try:
            plan, radii = self.plan()
        except QuantityError as error:
            self._refuse(str(error))
            return
        bench = self._document.bench

        def work(ticket: Ticket) -> tuple[tuple[Trial, ...], tuple[Refusal, ...]]:
            return sweep(bench, plan, radii, report=lambda made: self.errand.report(ticket, made), cancel=ticket.cancel)

        def done(found: tuple[tuple[Trial, ...], tuple[Refusal, ...]]) -> None:
            if not self._document.join(bench, trials=found[0]):
                self._refuse("The maps changed meanwhile: drop them again.")

        self.errand.ask(work, done)

    def squares(self) -> dict[str, tuple[Square, ...]]:
        """Landing areas that are to be drawn, by scan."""
        comparison = self._document.comparison
        found: dict[str, list[Square]] = {}
        for one in () if comparison is None else comparison.trials:
            if one.specimen in self._shown:
                for number, area in enumerate(one.landing, start=1):
                    square = Square(area.x, area.y, area.side, f"land {number}")
                    if square not in found.setdefault(area.scan, []):
                        found[area.scan].append(square)
        return {name: tuple(squares) for name, squares in found.items()}

    def fill(self, comparison: Comparison) -> bool:
        self._head.show()
        if not comparison.trials:
            return False
        inks = {one.name: specimen_colour(comparison.colour_index(one.name)) for one in comparison.specimens}
        trials = [one for one in comparison.trials if one.specimen in inks]
        plot = Card(spacing=4)
        plot.column.addWidget(label("Share found", strong=True))
        plot.column.addWidget(RecallPlot([(one, inks[one.specimen]) for one in trials]))
        self.cards.addWidget(plot)
        for name in dict.fromkeys(one.specimen for one in trials):
            self.cards.addWidget(self._card([one for one in trials if one.specimen == name], inks[name], comparison))
        if any(isinstance(step, Band) and step.on for step in comparison.treatment.steps):
            self.cards.addWidget(label(BANDED, points=SMALL, muted=True, wrap=True))
        self.cards.addWidget(label(CAUTION, points=SMALL, level="amber", wrap=True))
        return True

    def _card(self, trials: list[Trial], ink: str, comparison: Comparison) -> Card:
        """One specimen, with every radius of the probe that was tried."""
        card = Card(spacing=6)
        name = trials[0].specimen
        place = comparison.places.get(name)
        head = QHBoxLayout()
        head.setSpacing(7)
        head.addWidget(Badge(ink, str(place.rank) if place else ""))
        head.addWidget(ElidedLabel(name, strong=True), 1)
        card.column.addLayout(head)
        for one in trials:
            if one.probe_radius is not None:
                card.column.addWidget(label(f"probe {format_length(one.probe_radius)}", points=SMALL, muted=True))
            card.column.addWidget(label(smallest_text(one), wrap=True))
            if one.by_diameter:
                card.column.addWidget(_table(one))
            if one.note:
                note = f"{one.note[:1].upper()}{one.note[1:]}."
                card.column.addWidget(label(note, points=SMALL, muted=True, wrap=True))
        self._add_landing(card, trials[0])
        return card

    def _add_landing(self, card: Card, one: Trial) -> None:
        if not one.landing:
            return
        card.column.addWidget(label(f"Best landing area: {landing_text(one.landing[0])}", points=SMALL, wrap=True))
        see = flat_button("Show on the tile", f"Show the best landing areas of {one.specimen} on its tile")
        see.clicked.connect(partial(self._show_landing, one))
        card.column.addWidget(see, alignment=Qt.AlignmentFlag.AlignLeft)

    def _show_landing(self, one: Trial, _: bool = False) -> None:
        self._shown ^= {one.specimen}
        self.marked.emit()
        if one.specimen in self._shown:
            best = one.landing[0]
            self.looked.emit(best.scan, Square(best.x, best.y, best.side))

    def _show_state(self) -> None:
        running, document = self.errand.running, self._document
        self.start.setEnabled(not running and bool(document.bench.scans))
        self.end.setVisible(running)
        self.bar.setVisible(running)
        if not running:
            self.bar.setRange(0, 0)
            self.said.setText("The bench stays as it is. Nothing is deposited: this is a calculation.")

    def _show_progress(self, progress: Progress) -> None:
        self.bar.setRange(0, max(1, progress.total))
        self.bar.setValue(progress.done)
        self.said.setText(progress.what)

    def _refuse(self, reason: str) -> None:
        self.problem.setText(reason)
        self.problem.show()

    def _lay_out(self) -> None:
        self._head = QWidget()
        column = QVBoxLayout(self._head)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        form = QFormLayout()
        form.setHorizontalSpacing(8)
        form.setVerticalSpacing(4)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        for text, widget in (("Particles", self.diameters), ("Probe radius", self.probe), ("Spread", self.spread)):
            said = label(text, points=SMALL, muted=True)
            said.setBuddy(widget)
            form.addRow(said, widget)
        column.addLayout(form)
        row = QHBoxLayout()
        row.addWidget(self.start)
        row.addWidget(self.end)
        row.addWidget(self.bar, 1)
        row.addStretch(0)
        column.addLayout(row)
        column.addWidget(self.problem)
        column.addWidget(self.said)
        self.problem.hide()
        self._head.hide()
        self.column.insertWidget(1, self._head)


def lengths(text: str) -> list[float]:
    """Metres of a list; a number without a unit takes that of the next one that has one, else nanometres.

    Raises
    ------
    QuantityError
        If a part is no length.

    Examples
    --------
    >>> [round(length * 1e9, 6) for length in lengths("20, 30, 50 nm; 0.1 µm")]
    [20.0, 30.0, 50.0, 100.0]
    """
    found: list[float] = []
    unit = "nm"
    parts = [part.strip() for part in text.replace(";", ",").split(",") if part.strip()]
    for part in reversed(parts):
        unit = part.lstrip("0123456789.eE+- ") or unit
        found.insert(0, understood(part, unit))
    return found


def _table(one: Trial) -> QWidget:
    rows: list[list[Cell]] = []
    for row in one.by_diameter:
        size, share, false, _, _, _, scans = diameter_row(row)
        rows.append([size, Verdict(SIGNS[row.light], LIGHTS[row.light]), share, height_text(row), scans])
        rows[-1][0] = sized = label(size, points=SMALL)
        sized.setMinimumWidth(sized.sizeHint().width())
        sized.setToolTip(f"False bumps per 100 µm²: {false}")
    made = figures(("Ø", "counted", "found", "height bias", "scans"), rows)
    made.setToolTip(
        f"Scans: like these, for a mean height within {100 * one.plan.precision:g} % at "
        f"{one.plan.coverage * 1e-12:g} particles per µm²"
    )
    return made


def _line(text: str, name: str) -> QLineEdit:
    made = QLineEdit(text)
    made.setAccessibleName(name)
    made.setToolTip(name)
    made.setAcceptDrops(False)
    return made
