"""The doubts, the worst first: what was seen and where, what it may be, what to do, and the step that is offered."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QVBoxLayout

from app.docks.trust.pane import Pane, titled
from app.docks.trust.row import Row
from app.document.document import Document
from app.told.doubts import LEVELS, Group, Seen, chip_of, groups, summary
from app.told.with_without import WithWithout
from app.widgets.parts import SMALL, Card, button, flat_button, label
from core.colours import specimen_colour
from core.results import Comparison
from core.sheet.words import interval_text
from core.treatment.step import Step

MOST = 6  # lines of one kind that are shown before the user asks for all
HINT = (
    "Doubts are reasons not to trust a scan: hum, drift, a blunt probe, too few points. They are listed here with what "
    "to do at the microscope."
)
Key = tuple[str, str]
"""Code of a doubt and what it is about."""


class DoubtsPane(Pane):
    """The list of doubts.

    Signals
    -------
    shown(Seen)
        This doubt shall be looked at on its tile; None for none any more.
    """

    shown = Signal(object)

    def __init__(self, document: Document) -> None:
        super().__init__(document, HINT)
        self._memory = WithWithout()
        self._rows: dict[Key, Row] = {}
        self._chosen: Key | None = None
        self._opened: set[tuple[str, str]] = set()  # groups that are shown whole
        document.compared.connect(self._remember)
        self._remember()

    def choose(self, names: Sequence[str], chip: str = "") -> None:
        """Show the worst doubt about one of these scans or specimens, the first named before the others.

        With `chip` only doubts of this kind count.
        """
        found = [(group, seen) for group in groups(self._document.comparison) for seen in group.seen]
        for name in names:
            for group, seen in found:
                if seen.name == name and chip in ("", chip_of(group.code)):
                    self._opened.add((group.level, group.code))
                    self._chosen = (group.code, seen.name)
                    self._fill()
                    self._choose(seen)
                    return

    def leave(self) -> None:
        """Look at none of them any more."""
        if self._chosen is not None:
            self._chosen = None
            self._mark()
            self.shown.emit(None)

    @property
    def chosen(self) -> Key | None:
        """Code of the doubt that is looked at, and what it is about."""
        return self._chosen

    @property
    def rows(self) -> dict[Key, Row]:
        """The lines that are shown."""
        return self._rows

    def fill(self, comparison: Comparison) -> bool:
        found = groups(comparison)
        if not found:
            self.cards.addWidget(label("No doubts. That does not mean that there is no fault.", muted=True, wrap=True))
            return True
        self.cards.addWidget(label(summary(found), points=SMALL, muted=True))
        for group in found:
            self.cards.addWidget(self._card(group, comparison))
        if self._chosen is not None and self._chosen not in self._rows:
            self.leave()
        self._mark()
        return True

    def _fill(self) -> None:
        focused = next((key for key, row in self._rows.items() if row.hasFocus()), None)
        self._rows = {}  # the widgets go now, also where there is no comparison to fill in
        super()._fill()
        if focused in self._rows:
            self._rows[focused].setFocus()

    def _card(self, group: Group, comparison: Comparison) -> Card:
        card = titled(f"{group.title}: {LEVELS[group.level]}", level=group.level if group.level != "note" else "")
        whole = len(group.seen) <= MOST + 1 or (group.level, group.code) in self._opened
        messages = {seen.doubt.message for seen in group.seen}
        if len(messages) == 1 and len(group.seen) > 1:
            card.column.addWidget(label(messages.pop(), points=SMALL, wrap=True))
        lines = QVBoxLayout()
        lines.setSpacing(0)
        for seen in group.seen if whole else group.seen[:MOST]:
            lines.addWidget(self._row(seen, comparison, said=bool(messages)))
        card.column.addLayout(lines)
        if not whole:
            more = flat_button(f"All {len(group.seen)}", f"Show all {len(group.seen)} of this kind")
            more.clicked.connect(lambda: self._open(group))
            card.column.addWidget(more, alignment=Qt.AlignmentFlag.AlignLeft)
        for heading, texts in (
            ("", group.advice),
            ("May be", group.confused_with),
            ("Settled by", group.settled_by),
        ):
            for text in texts:
                said = f"{heading}: {text[:1].lower()}{text[1:]}" if heading else text
                card.column.addWidget(label(said, points=SMALL, muted=bool(heading), wrap=True))
        for step, specimens in group.cures:
            self._add_cure(card, step, specimens, comparison)
        return card

    def _row(self, seen: Seen, comparison: Comparison, *, said: bool) -> Row:
        place = comparison.places.get(seen.specimen)
        row = Row(
            seen.name,
            specimen_colour(comparison.colour_index(seen.specimen)),
            "" if place is None else str(place.rank),
            seen.doubt.message if said else "",
            "where" if seen.doubt.place is not None else "",
        )
        row.chosen.connect(lambda: self._choose(seen))
        row.setToolTip(
            "Click to see the place on its tile" if seen.doubt.place is not None else "Click to see its tile"
        )
        self._rows[seen.doubt.code, seen.name] = row
        return row

    def _add_cure(self, card: Card, step: Step, specimens: tuple[str, ...], comparison: Comparison) -> None:
        if step in self._document.bench.treatment.steps:
            before = self._memory.without(self._document.bench, step) if self._document.up_to_date else None
            card.column.addWidget(label(f"The treatment has the step: {step.describe()}.", points=SMALL, wrap=True))
            for name in specimens if before else ():
                if before and name in before and name in comparison.specimens_by_name:
                    now = comparison.specimens_by_name[name].readings[comparison.rank_by]
                    told = (
                        f"{name}, {comparison.rank_by}: without it {interval_text(before[name])}, "
                        f"with it {interval_text(now)}"
                    )
                    card.column.addWidget(label(told, points=SMALL, wrap=True))
            return
        add = button(
            f"Add step: {step.describe()}", name=f"Add the step {step.describe()} to the treatment of all scans"
        )
        add.setToolTip(
            "It is applied to all scans alike. Readings with and without it are shown here; Ctrl+Z undoes it."
        )
        add.clicked.connect(lambda: self._document.add_cure(step))
        card.column.addWidget(add, alignment=Qt.AlignmentFlag.AlignLeft)

    def _choose(self, seen: Seen) -> None:
        self._chosen = (seen.doubt.code, seen.name)
        self._mark()
        self.shown.emit(seen)

    def _mark(self) -> None:
        for key, row in self._rows.items():
            row.mark(key == self._chosen)
        if self._chosen in self._rows:
            self.ensureWidgetVisible(self._rows[self._chosen])

    def _open(self, group: Group) -> None:
        self._opened.add((group.level, group.code))
        self._fill()

    def _remember(self) -> None:
        if self._document.up_to_date and self._document.comparison is not None:
            self._memory.remember(self._document.bench, self._document.comparison)
