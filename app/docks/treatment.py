"""The treatment: its steps as cards in the order in which they are carried out, each with what it took off."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QMimeData, QPoint, Qt, Signal
from PySide6.QtGui import (
    QDrag,
    QDragEnterEvent,
    QDragMoveEvent,
    QDropEvent,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
)
from PySide6.QtWidgets import QApplication, QHBoxLayout, QMenu, QVBoxLayout, QWidget

from app.docks.dock import DockHead
from app.docks.step_form import StepForm
from app.document.document import Document
from app.theme import colour
from app.told.words import STEP_NAMES, step_title, what_step_removed
from app.widgets.parts import SMALL, Card, Column, emptied, flat_button, label, menu_button, widgets_in
from app.widgets.switch import Switch
from core.treatment import STEPS
from core.treatment.step import Step

CARD_KEYS = (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space, Qt.Key.Key_Delete, Qt.Key.Key_Up, Qt.Key.Key_Down)
MIME = "application/x-lowrelief-step"


class TreatmentPanel(Column):
    """All steps, and a menu to add one."""

    def __init__(self, document: Document) -> None:
        super().__init__(margins=(12, 4, 12, 12))
        self._document = document
        self._open: int | None = None  # the card whose form is shown
        self.head = DockHead("Treatment")
        self.cards = Cards()
        self.cards.moved.connect(document.move_step)
        self.column.addWidget(self.cards)
        self.add = menu_button("Add step", self._add_menu(), name="Add a treatment step")
        foot = QHBoxLayout()
        foot.addWidget(self.add)
        foot.addStretch(1)
        self.column.addLayout(foot)
        self.column.addStretch(1)
        document.bench_changed.connect(self.refresh)
        document.compared.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """Show the steps of the bench in place."""
        bench = self._document.bench
        scans = len(bench.scans)
        self.head.aside.setText("" if not scans else "of one scan" if scans == 1 else f"same for all {scans}")
        steps = bench.treatment.steps
        if self._open is not None and self._open >= len(steps):
            self._open = None
        shown = [(card.step, card.is_open) for card in self.cards.all]
        if shown == [(step, index == self._open) for index, step in enumerate(steps)]:
            for card in self.cards.all:  # nothing that is being typed is disturbed
                card.show_removed(self._removed(card.index))
            return
        focus = self.cards.focused()
        self.cards.show_cards([self._card(index, step, len(steps)) for index, step in enumerate(steps)])
        self.cards.focus(*focus)

    def _card(self, index: int, step: Step, count: int) -> StepCard:
        document = self._document
        card = StepCard(index, step, self._removed(index), last=index == count - 1, opened=self._open == index)
        card.switched.connect(lambda on: document.switch_step(index, on))
        card.edited.connect(lambda changed: document.edit_step(index, changed))
        card.moved.connect(lambda by: self._move(index, index + by))
        card.removed.connect(lambda: document.remove_step(index))
        card.opened.connect(lambda: self._toggle(index))
        return card

    def _removed(self, index: int) -> str:
        return what_step_removed(self._document.comparison, index) if self._document.up_to_date else ""

    def _move(self, index: int, place: int) -> None:
        if self._open == index:
            self._open = place
        self._document.move_step(index, place)
        self.cards.focus(place)

    def _toggle(self, index: int) -> None:
        self._open = None if self._open == index else index
        self.refresh()
        self.cards.focus(index)

    def _add_menu(self) -> QMenu:
        menu = QMenu(self)
        for do, kind in STEPS.items():
            action = menu.addAction(STEP_NAMES.get(do, do))
            action.setToolTip((kind.__doc__ or "").splitlines()[0])
            action.triggered.connect(self._adder(kind))
        menu.setToolTipsVisible(True)
        return menu

    def _adder(self, kind: type[Step]) -> Callable[[], None]:
        def add() -> None:
            self._document.add_step(kind())

        return add


class Cards(QWidget):
    """The cards below each other; one may be dragged to another place.

    Signals
    -------
    moved(int, int)
        From place, to place.
    """

    moved = Signal(int, int)

    def __init__(self) -> None:
        super().__init__()
        self.setAcceptDrops(True)
        self._layout = QVBoxLayout(self)
        self._layout.setContentsMargins(0, 0, 0, 0)
        self._layout.setSpacing(8)
        self._mark: int | None = None

    def show_cards(self, cards: list[StepCard]) -> None:
        """Replace the cards."""
        emptied(self._layout)
        for card in cards:
            self._layout.addWidget(card)
            card.show()  # now, not with the next event: it may be given the keyboard

    @property
    def all(self) -> list[StepCard]:
        """The cards in their order."""
        return [card for card in widgets_in(self._layout) if isinstance(card, StepCard)]

    def focused(self) -> tuple[int | None, str]:
        """Place of the card that holds the keyboard focus, and the parameter that is being edited in it."""
        holder = QApplication.focusWidget()
        for card in self.all:
            if holder is card:
                return card.index, ""
            if holder is not None and card.isAncestorOf(holder):
                fields = card.form.inputs if card.form is not None else {}
                return card.index, next((name for name, field in fields.items() if field is holder), "")
        return None, ""

    def focus(self, place: int | None, parameter: str = "") -> None:
        """Give the keyboard to the card at this place, or to one of its parameters."""
        if place is not None and 0 <= place < len(self.all):
            card = self.all[place]
            field = card.form.inputs.get(parameter) if card.form is not None else None
            (field or card).setFocus()

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        if event.mimeData().hasFormat(MIME):
            event.acceptProposedAction()

    def dragMoveEvent(self, event: QDragMoveEvent) -> None:
        if event.mimeData().hasFormat(MIME):
            self._mark = self._gap(event.position().toPoint())
            self.update()
            event.acceptProposedAction()

    def dragLeaveEvent(self, _: object) -> None:
        self._mark = None
        self.update()

    def dropEvent(self, event: QDropEvent) -> None:
        source = int(bytes(event.mimeData().data(MIME).data()))
        gap = self._gap(event.position().toPoint())
        self._mark = None
        event.acceptProposedAction()
        self.moved.emit(source, gap - 1 if gap > source else gap)

    def paintEvent(self, _: QPaintEvent) -> None:
        if self._mark is None:
            return
        cards = self.all
        y = cards[self._mark].y() - 4 if self._mark < len(cards) else cards[-1].geometry().bottom() + 2
        painter = QPainter(self)
        painter.fillRect(0, max(0, y - 1), self.width(), 2, colour("accent"))
        painter.end()

    def _gap(self, at: QPoint) -> int:
        return sum(at.y() > card.geometry().center().y() for card in self.all)


def _shortcut(event: QEvent) -> int | None:
    """The key of an event that asks whether somebody wants it before the shortcuts of the window get it."""
    is_key = event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent)
    return event.key() if is_key else None  # type: ignore[attr-defined]


class StepCard(Card):
    """One step: name, what it took off, a switch; opened, its form."""

    switched = Signal(bool)
    edited = Signal(object)
    moved = Signal(int)
    removed = Signal()
    opened = Signal()

    def __init__(self, index: int, step: Step, removed: str, *, last: bool, opened: bool) -> None:
        super().__init__(spacing=3)
        self.index, self.step = index, step
        self._last, self._pressed = last, QPoint()
        self.is_open, self.form = opened, StepForm(step) if opened else None
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setToolTip("Click to edit, drag to move. Keys: Enter edits, Space switches, Alt+↑ ↓ move, Delete removes.")
        self.column.addLayout(self._head())
        self._removed = label(points=SMALL, muted=True, wrap=True)
        self.column.addWidget(self._removed)
        self.show_removed(removed)
        if self.form is not None:
            self.form.edited.connect(self.edited)
            self.column.addWidget(self.form)
            self.column.addLayout(self._foot())

    def show_removed(self, text: str) -> None:
        """Say what the step took off."""
        self._removed.setText(text if self.step.on else "off")
        self._removed.setVisible(bool(self._removed.text()))
        self.setAccessibleName(f"Step {self.index + 1}: {step_title(self.step)}. {self._removed.text()}")

    def event(self, event: QEvent) -> bool:
        if _shortcut(event) in CARD_KEYS and self.hasFocus():
            event.accept()  # the card has the keyboard: these keys mean the step, not the tile that is chosen
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        alt = event.modifiers() & Qt.KeyboardModifier.AltModifier
        key = event.key()
        if not self.hasFocus():
            super().keyPressEvent(event)  # typed in the form
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.opened.emit()
        elif key == Qt.Key.Key_Space:
            self.switched.emit(not self.step.on)
        elif alt and key in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            self._move(-1 if key == Qt.Key.Key_Up else 1)
        elif key == Qt.Key.Key_Delete:
            self.removed.emit()
        else:
            super().keyPressEvent(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        self._pressed = event.position().toPoint()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        far = (event.position().toPoint() - self._pressed).manhattanLength()
        if event.buttons() & Qt.MouseButton.LeftButton and far >= QApplication.startDragDistance():
            self._drag()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if self.rect().contains(event.position().toPoint()):
            self.opened.emit()

    def _drag(self) -> None:
        data = QMimeData()
        data.setData(MIME, str(self.index).encode())
        drag = QDrag(self)
        drag.setMimeData(data)
        drag.setPixmap(self.grab())
        drag.setHotSpot(self._pressed)
        drag.exec(Qt.DropAction.MoveAction)

    def _move(self, by: int) -> None:
        if not (by < 0 and self.index == 0) and not (by > 0 and self._last):
            self.moved.emit(by)

    def _head(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(6)
        row.addWidget(label(step_title(self.step), strong=True, muted=not self.step.on, wrap=True), 1)
        self.switch = Switch(f"{step_title(self.step)} on")
        self.switch.show_checked(self.step.on)
        self.switch.toggled.connect(self.switched)
        row.addWidget(self.switch, 0, Qt.AlignmentFlag.AlignTop)
        return row

    def _foot(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(2)
        self.up = flat_button("↑", "Move up (Alt+↑)")
        self.up.setEnabled(self.index > 0)
        self.up.clicked.connect(lambda: self._move(-1))
        self.down = flat_button("↓", "Move down (Alt+↓)")
        self.down.setEnabled(not self._last)
        self.down.clicked.connect(lambda: self._move(1))
        self.away = flat_button("Remove", "Remove this step (Delete)")
        self.away.clicked.connect(self.removed)
        row.addWidget(self.up)
        row.addWidget(self.down)
        row.addStretch(1)
        row.addWidget(self.away)
        return row
