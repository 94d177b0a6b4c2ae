"""Claims: what vendors state, typed once, and what the scans say about it."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLineEdit, QSizePolicy, QVBoxLayout, QWidget

from app.docks.fitness.reach_axis import ReachAxis
from app.docks.trust.pane import Pane
from app.document.document import Document
from app.widgets.badge import Badge
from app.widgets.parts import SMALL, Card, ElidedLabel, button, flat_button, label
from app.widgets.verdict import Sign, Verdict
from core.bench import Stated
from core.colours import specimen_colour
from core.errors import ClaimError
from core.fitness.claims import Judgement, parse
from core.results import Comparison
from core.sheet.claims import claim_row

HINT = (
    "Type what a vendor states, such as “PV <= lambda/20 @ 632.8nm over 25mm” or “Sq <= 0.5nm in 60nm..2um”. It is "
    "judged by what the scans can see, and the answer may be that they cannot."
)
EXAMPLE = "Sq <= 0.5nm in 60nm..2um"
ALL = "all specimens"
RULES = {"guarded": "guarded by U", "simple": "simple"}
SIGNS: dict[str, Sign] = {
    "supported": "tick",
    "not contradicted": "ring",
    "not supported": "care",
    "contradicted": "cross",
    "not testable here": "dash",
}


class ClaimsPane(Pane):
    """A line to type a claim in, and a card for each with its verdicts."""

    def __init__(self, document: Document) -> None:
        super().__init__(document, HINT)
        self._editing: int | None = None
        self.line = QLineEdit()
        self.line.setPlaceholderText(EXAMPLE)
        self.line.setAccessibleName("Claim")
        self.line.setAcceptDrops(False)
        self.line.textChanged.connect(lambda _: self._read())
        self.line.returnPressed.connect(self.put)
        self.about = _narrow(QComboBox(), "Whom the claim is about")
        self.rule = _narrow(QComboBox(), "Decision rule")
        for rule, text in RULES.items():
            self.rule.addItem(text, rule)
        self.rule.setToolTip("Guarded: the interval U is a guard band on either side of the limit. Simple: the value.")
        self.rule.activated.connect(lambda _: document.set_claim_rule(self.rule.currentData()))
        self.put_it = button("Add", accent=True, name="Add the claim")
        self.put_it.clicked.connect(lambda: self.put())
        self.problem = label(points=SMALL, muted=True, wrap=True)
        self._lay_out()
        document.bench_changed.connect(self._show_choices)
        self._show_choices()
        self._read()

    def put(self) -> None:
        """Put the claim that is typed on the bench."""
        text, about = self.line.text(), self.about.currentData() or ""
        if not self._read():
            return
        editing, self._editing = self._editing, None
        self.line.clear()
        if editing is not None and editing < len(self._document.bench.claims):
            self._document.edit_claim(editing, text, about)
        else:
            self._document.add_claim(text, about)

    def edit(self, index: int) -> None:
        """Take a claim into the line, to change it."""
        claim = self._document.bench.claims[index]
        self._editing = index
        self.about.setCurrentIndex(max(0, self.about.findData(claim.specimen)))
        self.line.setText(claim.text)
        self.line.setFocus()
        self.line.selectAll()
        self.ensureWidgetVisible(self.line)

    def fill(self, comparison: Comparison) -> bool:
        claims = self._document.bench.claims
        for index, claim in enumerate(claims):
            self.cards.addWidget(self._card(index, claim, comparison))
        return bool(claims)

    def _read(self) -> bool:
        """Say how the text is understood, or where it is not."""
        text = self.line.text().strip()
        said, wrong = "", False
        if text:
            try:
                claim = parse(text)
                said = f"Read as: {claim.text}"
                if claim.limit is not None and not claim.grade:
                    said += f", at most {claim.limit_text}"
            except ClaimError as error:
                said, wrong = str(error), True
        self.problem.setText(said)
        self.problem.setVisible(bool(said))
        self.problem.setProperty("level", "red" if wrong else "")
        self.problem.setProperty("muted", not wrong)
        for widget, name in ((self.problem, ""), (self.line, "wrong")):
            if name:
                widget.setProperty(name, wrong)
            widget.style().unpolish(widget)
            widget.style().polish(widget)
        self.put_it.setText("Add" if self._editing is None else "Change")
        self.put_it.setEnabled(bool(text) and not wrong)
        return bool(text) and not wrong

    def _show_choices(self) -> None:
        bench, before = self._document.bench, self.about.currentData()
        self.about.clear()
        self.about.addItem(ALL, "")
        for name in bench.specimens:
            self.about.addItem(name, name)
        self.about.setCurrentIndex(max(0, self.about.findData(before)))
        self.rule.setCurrentIndex(self.rule.findData(bench.claim_rule))

    def _card(self, index: int, claim: Stated, comparison: Comparison) -> QWidget:
        card = Card(spacing=5)
        head = QHBoxLayout()
        head.setSpacing(4)
        head.addWidget(ElidedLabel(claim.text, strong=True), 1)
        for text, what, act in (("Edit", "Edit", self.edit), ("✕", "Remove", self._document.remove_claim)):
            made = flat_button(text, f"{what} the claim {claim.text}")
            made.clicked.connect(partial(_later, act, index))
            head.addWidget(made)
        card.column.addLayout(head)
        if claim.specimen:
            card.column.addWidget(label(f"about {claim.specimen}", points=SMALL, muted=True))
        judged = _of(claim, comparison)
        if not judged:
            waits = "Nothing to judge it by." if self._document.up_to_date else "Being judged …"
            card.column.addWidget(label(waits, points=SMALL, muted=True))
        for one in judged:
            card.column.addWidget(_line(one, comparison))
        return card

    def _lay_out(self) -> None:
        head = QWidget()
        column = QVBoxLayout(head)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        column.addWidget(self.line)
        row = QHBoxLayout()
        row.setSpacing(6)
        row.addWidget(self.about, 1)
        row.addWidget(self.rule, 1)
        row.addWidget(self.put_it)
        column.addLayout(row)
        column.addWidget(self.problem)
        self.column.insertWidget(0, head)


def _later(act: object, index: int, _: bool = False) -> None:
    assert callable(act)
    act(index)


def _of(claim: Stated, comparison: Comparison) -> list[Judgement]:
    """The judgements of this claim, by specimen."""
    try:
        wanted = parse(claim.text)
    except ClaimError:  # a bench file of another version
        return []
    return [one for one in comparison.claims if one.claim == wanted and claim.about(one.specimen)]


def _line(one: Judgement, comparison: Comparison) -> QWidget:
    """What the scans of one specimen say: verdict, numbers, reach, and the sentence to take along."""
    made = QWidget()
    column = QVBoxLayout(made)
    column.setContentsMargins(0, 4, 0, 2)
    column.setSpacing(4)
    head = QHBoxLayout()
    head.setSpacing(7)
    place = comparison.places.get(one.specimen)
    head.addWidget(Badge(specimen_colour(comparison.colour_index(one.specimen)), str(place.rank) if place else ""))
    head.addWidget(ElidedLabel(one.specimen), 1)
    head.addWidget(Verdict(SIGNS[one.verdict], one.verdict))
    column.addLayout(head)
    _, _, limit, measured, _ = claim_row(one)
    if one.value is not None:
        told = f"measured {measured}" + ("" if one.limit is None else f", limit {limit}")
        column.addWidget(label(told, points=SMALL))
    column.addWidget(ReachAxis(one.reach))
    column.addWidget(label(one.sentence, points=SMALL, muted=True, wrap=True))
    copy = flat_button("Copy the sentence", f"Copy the sentence on {one.specimen} for a report")
    copy.clicked.connect(lambda _=False, text=one.sentence: QGuiApplication.clipboard().setText(text))
    column.addWidget(copy, alignment=Qt.AlignmentFlag.AlignLeft)
    return made


def _narrow(box: QComboBox, name: str) -> QComboBox:
    """A list that may become as narrow as the panel."""
    box.setAccessibleName(name)
    box.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
    box.setMinimumContentsLength(6)
    return box
