"""Measuring and masking by hand: the tools, what they read in every tile, and the masks that are on the bench."""

from __future__ import annotations

from functools import partial

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QPushButton, QVBoxLayout, QWidget

from app.docks.dock import DockHead
from app.document.document import Document
from app.hand.hand import Hand, Look
from app.hand.tools import KEYBOARD, TOOLS, ToolName
from app.widgets.length_field import LengthField
from app.widgets.parts import SMALL, Card, Column, ElidedLabel, button, emptied, flat_button, label
from core.sheet.words import common_unit, number_text, signed
from core.units import format_length, format_number, percent

IDLE = "Draw masks on a tile, or measure in all tiles at once. Shift and drag on a tile draws a section."
SHOWN = ("Sq", "Sa", "Sz")


class ByHandPanel(Column):
    """Tools above, readings and masks below."""

    def __init__(self, hand: Hand, document: Document) -> None:
        super().__init__(margins=(12, 4, 12, 12))
        self._hand, self._document = hand, document
        self.head = DockHead("By hand")
        self.buttons: dict[ToolName, QPushButton] = {}
        self._make_tools()
        self.hint = label(IDLE, points=SMALL, muted=True, wrap=True)
        self.column.addWidget(self.hint)
        self._cards = QVBoxLayout()
        self._cards.setSpacing(8)
        self.column.addLayout(self._cards)
        self.column.addStretch(1)
        hand.changed.connect(self._show_tool)
        hand.looked.connect(self.refresh)
        document.bench_changed.connect(self.refresh)
        self._show_tool()
        self.refresh()

    def refresh(self) -> None:
        """Show what was read, and the masks of the bench."""
        emptied(self._cards)
        for card in (self._between_card(), self._region_card(), self._masks_card()):
            if card is not None:
                self._cards.addWidget(card)

    def _make_tools(self) -> None:
        for title, masks in (("Mask", True), ("Measure", False)):
            self.column.addWidget(label(title, points=SMALL, muted=True))
            row = QHBoxLayout()
            row.setSpacing(6)
            for name, tool in TOOLS.items():
                if tool.masks is masks:
                    made = button(tool.text, name=f"{title}: {tool.text.lower()}")
                    made.setCheckable(True)
                    made.setToolTip(tool.hint)
                    made.clicked.connect(partial(self._take, name))
                    self.buttons[name] = made
                    row.addWidget(made)
            row.addStretch(1)
            self.column.addLayout(row)
        self.brush_field = LengthField("Width of the brush", unit="nm")
        self.brush_field.committed.connect(self._set_brush)
        row = QHBoxLayout()
        said = label("Brush width", points=SMALL, muted=True)
        said.setBuddy(self.brush_field)
        row.addWidget(said)
        row.addWidget(self.brush_field)
        row.addStretch(1)
        self._brush_row = QWidget()
        self._brush_row.setLayout(row)
        self.column.addWidget(self._brush_row)

    def _take(self, name: ToolName, _checked: bool = False) -> None:
        self._hand.take(name)

    def _set_brush(self, metres: float) -> None:
        if metres > 0:
            self._hand.brush = metres
            self._hand.changed.emit()

    def _show_tool(self) -> None:
        tool = self._hand.tool
        for name, made in self.buttons.items():
            made.setChecked(name == tool)
            if made.property("accent") != (name == tool):
                made.setProperty("accent", name == tool)
                made.style().polish(made)
        self.hint.setText(f"{TOOLS[tool].hint} {KEYBOARD}" if tool else IDLE)
        self.head.aside.setText(TOOLS[tool].text.lower() if tool else "")
        self._brush_row.setVisible(tool == "brush")
        if tool == "brush":
            self.brush_field.show_metres(self._hand.brush_width)

    def _between_card(self) -> QWidget | None:
        looks = [look for look in self._hand.looks if look.between is not None]
        if not looks or self._hand.points is None:
            return None
        first = looks[0].between
        card = self._card(f"Two places, {format_length(first.distance) if first else ''} apart")
        found = [look.between.rise for look in looks if look.between is not None]
        unit = common_unit(found)
        grid = _grid(card, ("", "height difference", "slope"))
        for row, look in enumerate(looks, start=1):
            if look.between is None:
                continue
            rise, slope = look.between.rise, look.between.slope
            _dot(grid, row, look)
            _cell(grid, row, 1, "–" if rise is None else f"{signed(_in(rise, unit))} {unit}")
            _cell(grid, row, 2, "–" if slope is None else signed(format_number(slope)))
        return card

    def _region_card(self) -> QWidget | None:
        looks = [look for look in self._hand.looks if look.region is not None]
        if not looks or self._hand.region is None:
            return None
        card = self._card("Region")
        grid = _grid(card, ("", *SHOWN))
        notes: list[str] = []
        for row, look in enumerate(looks, start=1):
            if look.region is None:
                continue
            _dot(grid, row, look)
            for column, symbol in enumerate(SHOWN, start=1):
                reading = look.region.readings.get(symbol)
                _cell(grid, row, column, "–" if reading is None else number_text(reading))
            notes.append(look.region.note)
        for note in dict.fromkeys(notes):
            card.column.addWidget(label(note, points=SMALL, level="amber", wrap=True))
        return card

    def _masks_card(self) -> QWidget | None:
        masked = [scan for scan in self._document.bench.scans if scan.shapes]
        if not masked:
            return None
        card = Card(spacing=4)
        card.column.addWidget(label("Masked by hand", strong=True))
        for scan in masked:
            share = percent(scan.raw.masked_fraction, 2)
            card.column.addWidget(ElidedLabel(f"{scan.name}: {share} of its points"))
            for shape in scan.shapes:
                row = QHBoxLayout()
                row.addWidget(label(shape.describe(), points=SMALL, muted=True), 1)
                away = flat_button("✕", f"Take the {shape.describe()} off {scan.name}")
                away.clicked.connect(partial(self._remove, scan.name, shape))
                row.addWidget(away)
                card.column.addLayout(row)
        return card

    def _remove(self, name: str, shape: object, _checked: bool = False) -> None:
        self._document.remove_shapes(name, [shape])  # type: ignore[list-item]

    def _card(self, title: str) -> Card:
        card = Card(spacing=4)
        row = QHBoxLayout()
        row.addWidget(label(title, strong=True), 1)
        away = flat_button("✕", "Take the places and the region away")
        away.clicked.connect(self._hand.clear_looks)
        row.addWidget(away)
        card.column.addLayout(row)
        return card


def _grid(card: Card, heads: tuple[str, ...]) -> QGridLayout:
    grid = QGridLayout()
    grid.setHorizontalSpacing(12)
    grid.setVerticalSpacing(2)
    grid.setColumnStretch(0, 1)
    for column, head in enumerate(heads):
        grid.addWidget(label(head, points=SMALL, muted=True), 0, column, Qt.AlignmentFlag.AlignRight)
    card.column.addLayout(grid)
    return grid


def _dot(grid: QGridLayout, row: int, look: Look) -> None:
    grid.addWidget(ElidedLabel(look.title), row, 0)


def _cell(grid: QGridLayout, row: int, column: int, text: str) -> None:
    grid.addWidget(label(text), row, column, Qt.AlignmentFlag.AlignRight)


def _in(metres: float, unit: str) -> str:
    from core.units import metres_per

    return f"{metres / metres_per(unit):.3g}"
