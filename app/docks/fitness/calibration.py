"""Calibration: a standard on the chosen scan, its certificate, and the factors that follow."""

from __future__ import annotations

from PySide6.QtWidgets import QComboBox, QFormLayout, QHBoxLayout, QLineEdit, QSizePolicy, QVBoxLayout, QWidget

from app.docks.fitness.chosen import Chosen, ScanList
from app.docks.fitness.errand import Errand
from app.docks.fitness.figures import figures
from app.docks.fitness.profile_plot import ProfilePlot
from app.docks.trust.pane import Pane
from app.document.document import Document
from app.document.jobs import Ticket
from app.places import log_file
from app.widgets.length_field import LengthField
from app.widgets.parts import SMALL, Card, button, label
from core.errors import LowreliefError
from core.fitness.calibration import KINDS, Calibration, Evaluated, evaluate
from core.fitness.prepared import FOR_STANDARD, prepared
from core.heightmap import HeightMap
from core.log import Log
from core.log.calibrations import entries_of_calibration
from core.results import Comparison
from core.sheet.words import NONE
from core.treatment import Calibrate
from core.units import format_length

HINT = "A scan of a step-height standard or a grating on the bench says what heights and pixels must be multiplied by."


class CalibrationPane(Pane):
    """The certificate, what was measured, and what to do with it."""

    def __init__(self, document: Document, chosen: Chosen) -> None:
        super().__init__(document, HINT)
        self._chosen = chosen
        self._found: tuple[HeightMap, Evaluated] | None = None
        self.list = ScanList(chosen)
        self.kind = _list("Kind of standard", KINDS)
        self.along = _list("Which lines cross the step", {"rows": "rows cross it", "columns": "columns cross it"})
        self.certified = LengthField("Height or pitch by certificate")
        self.certified.show_metres(100e-9)
        self.expanded = LengthField("Uncertainty U by certificate, k = 2")
        self.expanded.show_metres(1e-9)
        self.standard, self.date = QLineEdit(), QLineEdit()
        for line, name, example in (
            (self.standard, "Standard and certificate", "name, certificate"),
            (self.date, "Date of the calibration", "2024-05-31"),
        ):
            line.setAccessibleName(name)
            line.setPlaceholderText(example)
            line.setAcceptDrops(False)
        self.start = button("Evaluate", accent=True, name="Evaluate the standard on the chosen scan")
        self.use = button("Use as calibrate step", name="Put the factors at the head of the treatment")
        self.keep = button("Keep in the log", name="Keep the factors in the log")
        self.problem = label(points=SMALL, level="red", wrap=True)
        self.errand = Errand(document, self)
        self.errand.refused.connect(self._refuse)
        self.errand.changed.connect(self._show_state)
        self.start.clicked.connect(lambda: self.run())
        self.use.clicked.connect(lambda: self.use_it())
        self.keep.clicked.connect(lambda: self.keep_it())
        self._lay_out()
        self.kind.activated.connect(lambda _: self._show_state())
        chosen.changed.connect(self.renew)

    @property
    def found(self) -> Evaluated | None:
        """What was measured on the chosen scan."""
        scan, known = self._chosen.scan, self._found
        return None if known is None or scan is None or known[0] is not scan.raw else known[1]

    def run(self) -> None:
        """Measure the standard."""
        scan = self._chosen.scan
        if scan is None:
            return
        self.problem.hide()
        raw, treatment = scan.raw, self._document.bench.treatment
        kind, along = self.kind.currentData(), self.along.currentData()
        certified, expanded = self.certified.metres, self.expanded.metres
        standard, date = self.standard.text().strip(), self.date.text().strip()

        def work(_: Ticket) -> Evaluated:
            ready = prepared(raw, treatment, FOR_STANDARD)
            return evaluate(ready, kind, certified, expanded, along=along, standard=standard, date=date)

        def take(found: Evaluated) -> None:
            self._found = raw, found
            self.renew()

        self.errand.ask(work, take)

    def use_it(self) -> None:
        """Put the factors at the head of the treatment, in place of those that stand there."""
        if self.found is None:
            return
        document = self._document
        try:
            step = self.found.calibration.step
        except LowreliefError as error:
            self._refuse(str(error))
            return
        known = [place for place, one in enumerate(document.bench.treatment.steps) if isinstance(one, Calibrate)]
        if known:
            document.edit_step(known[0], step)
        else:
            document.add_step(step)

    def keep_it(self) -> None:
        """Keep the factors in the log."""
        scan, found = self._chosen.scan, self.found
        if scan is None or found is None or self._document.comparison is None:
            return
        raw, today = scan.raw, self._document.comparison.created

        def kept(count: int) -> None:
            told = "The log has it already." if not count else f"{count} factors kept in the log."
            self._document.noticed.emit("note", told.replace("1 factors", "1 factor"))

        self.errand.ask(lambda _: Log(log_file()).add(entries_of_calibration(found.calibration, raw, today)), kept)

    def fill(self, _: Comparison) -> bool:
        self._head.show()
        self._show_state()
        found = self.found
        if found is None:
            return False
        card = Card(spacing=6)
        if found.profile is not None:
            card.column.addWidget(ProfilePlot(found.profile))
        card.column.addWidget(label(measured(found), wrap=True))
        card.column.addWidget(figures(("Factor", "", "u, k = 1"), factors(found.calibration)))
        if found.kind == "cross":
            told = f"Angle between the axes {found.calibration.angle:.2f}°: told, not corrected."
            card.column.addWidget(label(told, points=SMALL, muted=True, wrap=True))
        self.cards.addWidget(card)
        self._acts.show()
        return True

    def _show_state(self) -> None:
        running = self.errand.running
        self.start.setEnabled(self._chosen.scan is not None and not running)
        self._form.setRowVisible(self.along, self.kind.currentData() in ("groove", "step"))
        self._acts.setVisible(self.found is not None)

    def _refuse(self, reason: str) -> None:
        self.problem.setText(reason)
        self.problem.show()

    def _lay_out(self) -> None:
        self._head, self._acts = QWidget(), QWidget()
        column = QVBoxLayout(self._head)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        column.addWidget(self.list)
        self._form = QFormLayout()
        self._form.setHorizontalSpacing(8)
        self._form.setVerticalSpacing(4)
        self._form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        for text, widget in (
            ("It is a", self.kind),
            ("Profiles", self.along),
            ("Certified", self.certified),
            ("U (k = 2)", self.expanded),
            ("Standard", self.standard),
            ("Date", self.date),
        ):
            said = label(text, points=SMALL, muted=True)
            said.setBuddy(widget)
            self._form.addRow(said, widget)
        column.addLayout(self._form)
        row = QHBoxLayout()
        row.addWidget(self.start)
        row.addStretch(1)
        column.addLayout(row)
        column.addWidget(self.problem)
        acts = QHBoxLayout(self._acts)
        acts.setContentsMargins(0, 0, 0, 0)
        acts.addWidget(self.use)
        acts.addWidget(self.keep)
        acts.addStretch(1)
        self.problem.hide()
        self._head.hide()
        self._acts.hide()
        self.column.insertWidget(1, self._head)
        self.column.insertWidget(3, self._acts)


def measured(found: Evaluated) -> str:
    """What the scan says of the standard, as it was recorded."""
    if found.step is not None:
        step = found.step
        what = "Single step" if found.kind == "step" else "Ridge" if step.height > 0 else "Groove"
        scatter = f", u {format_length(step.u)} from the scatter of the profiles" if step.u else ""
        return (
            f"{what} of {format_length(abs(step.height), digits=5)}{scatter}; {format_length(step.rms)} RMS about the "
            f"fit, {step.profiles} profiles."
        )
    told = [f"{format_length(line.period, digits=5)} at {line.angle:.2f}°" for line in found.lines]
    return f"Lines of {' and '.join(told)}."


def factors(made: Calibration) -> list[list[str]]:
    """The factors, as lines of a table."""
    told = (
        ("heights (z)", made.z, made.u_z),
        ("along the rows (x)", made.x, made.u_x),
        ("from row to row (y)", made.y, made.u_y),
    )
    return [
        [name, f"{factor:.5g}", NONE if not u else f"{100 * u:.2g} %"] for name, factor, u in told if u or factor != 1
    ]


def _list(name: str, items: dict[str, str]) -> QComboBox:
    box = QComboBox()
    for data, text in items.items():
        box.addItem(text, data)
    box.setAccessibleName(name)
    box.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
    return box
