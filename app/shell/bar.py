"""The one slim bar at the top."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QActionGroup, QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QLineEdit, QMenu, QWidget

from app.commands.commands import Commands
from app.document.document import Document
from app.shell.scalebox import ScaleBox
from app.theme import text_font
from app.widgets.parts import ElidedLabel, button, menu_button
from core.measures import FAMILIES, Quantity

ROOMY, TIGHT = 1130, 960  # widths of the window
HAND_OVER = ("hand-over-all", "", "hand-over-figure", "hand-over-treatment", "", "save", "save-as")


class Bar(QWidget):
    """Title, scans, shared scale, ranking reading, hand-over.

    Signals
    -------
    add_asked()
        The user wants to add scans.
    """

    add_asked = Signal()

    def __init__(self, document: Document) -> None:
        super().__init__()
        self.setObjectName("bar")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self._document = document
        self.menu = menu_button("", QMenu(self), flat=True, name="Menu of all commands")
        self.menu.setText("☰")
        self.menu.setToolTip("All commands (F10); find one by name: Ctrl+K")
        self.title = QLineEdit()
        self.title.setObjectName("title")
        self.title.setFont(text_font(11.5, strong=True))
        self.title.setPlaceholderText("Untitled bench")
        self.title.setAccessibleName("Title of the bench")
        self.title.setToolTip("Title of the bench, printed on sheet and figure")
        self.title.setAcceptDrops(False)
        self.title.textEdited.connect(self._fit_title)
        self.title.editingFinished.connect(lambda: document.set_title(self.title.text()))
        self.count = ElidedLabel(role="muted")
        self.add = button("Add scans…")
        self.add.clicked.connect(self.add_asked)
        self.scale = ScaleBox(document)
        self.rank = menu_button("Rank by", self._rank_menu(), name="Reading that makes the standing")
        self.hand_over = menu_button("Hand over", QMenu(self), accent=True)
        row = QHBoxLayout(self)
        row.setContentsMargins(8, 6, 12, 6)
        row.setSpacing(10)
        row.addWidget(self.menu)
        row.addWidget(self.title, 100)  # up to as wide as its text
        row.addWidget(self.count)
        row.addWidget(self.add)
        row.addStretch(1)
        row.addWidget(self.scale)
        row.addWidget(self.rank)
        row.addWidget(self.hand_over)
        for signal in (document.bench_changed, document.compared, document.title_changed, document.loading_changed):
            signal.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """Show the bench in place."""
        bench = self._document.bench
        if not (self.title.hasFocus() and self.title.isModified()) and self.title.text() != bench.title:
            self.title.setText(bench.title)
        self._fit_title()
        self.count.setText(counted(len(bench.scans), len(bench.specimens)))
        self.rank.setText(f"Rank by {bench.rank_by} ▾")
        for action in self._group.actions():
            action.setChecked(action.data() == bench.rank_by)
        ready = self._document.comparison is not None
        self.hand_over.setEnabled(ready)
        for widget in (self.scale, self.rank):
            widget.setEnabled(bool(bench.scans))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """What is in the menus too makes way on a narrow window."""
        super().resizeEvent(event)
        self.scale.zero.setVisible(event.size().width() >= ROOMY)
        self.count.setVisible(event.size().width() >= TIGHT)

    def _fit_title(self) -> None:
        shown = self.title.text() or self.title.placeholderText()
        wide = self.title.fontMetrics().horizontalAdvance(shown) + 24
        self.title.setMinimumWidth(min(110, wide))
        self.title.setMaximumWidth(min(340, wide))

    def take_commands(self, commands: Commands) -> None:
        """Fill the two menus that are made of commands."""
        for part in commands.menus(self):
            self.menu.menu().addMenu(part)
        self.hand_over.setMenu(commands.menu(HAND_OVER, self))

    def _rank_menu(self) -> QMenu:
        """The readings of the first family at once, the others a step further. Directions rank nothing."""
        menu = QMenu(self)
        self._group = QActionGroup(menu)
        for number, (family, quantities) in enumerate(FAMILIES.items()):
            part = menu if number == 0 else menu.addMenu(family.capitalize())
            part.setToolTipsVisible(True)
            for quantity in quantities:
                if quantity.period is None:
                    self._add_reading(part, quantity)
            if number == 0:
                menu.addSeparator()
        return menu

    def _add_reading(self, menu: QMenu, quantity: Quantity) -> None:
        action = menu.addAction(f"{quantity.symbol}   {quantity.name}")
        action.setCheckable(True)
        action.setData(quantity.symbol)
        action.setToolTip(quantity.meaning)
        action.triggered.connect(lambda: self._document.set_rank_by(quantity.symbol))
        self._group.addAction(action)


def counted(scans: int, specimens: int) -> str:
    """Such as “18 scans, 6 specimens”.

    >>> counted(18, 6), counted(1, 1), counted(0, 0)
    ('18 scans, 6 specimens', '1 scan, 1 specimen', '')
    """
    if not scans:
        return ""
    return f"{scans} scan{'s'[: scans != 1]}, {specimens} specimen{'s'[: specimens != 1]}"
