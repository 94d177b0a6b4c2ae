"""The shared scale, always in sight: a switch, two exact ends, a menu of presets, and where zero is."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtGui import QActionGroup
from PySide6.QtWidgets import QFrame, QHBoxLayout, QMenu

from app.document.document import Document
from app.widgets.length_field import LengthField
from app.widgets.parts import label, menu_button
from app.widgets.switch import Switch
from core.errors import QuantityError
from core.scale import PRESETS, Preset, Scale
from core.treatment import Zero

ZEROS = {"mean": "the mean", "median": "the median", "lowest": "the lowest point"}


class ScaleBox(QFrame):
    """Shows and changes the scale of the document."""

    def __init__(self, document: Document) -> None:
        super().__init__()
        self.setObjectName("scale")
        self._document = document
        self.switch = Switch("One scale for all tiles", width=32)
        self.switch.setToolTip("One height scale for all tiles (S). Off, every tile has its own and says so.")
        self.switch.toggled.connect(self._switch)
        self.low = LengthField("Lower end of the scale", bare=True)
        self.high = LengthField("Upper end of the scale", bare=True)
        for field in (self.low, self.high):
            field.setFixedWidth(64)
            field.committed.connect(lambda _: self._typed())
        self._said = label("One scale", strong=True)
        self.presets = menu_button("nm", self._menu(), flat=True, name="Presets of the scale")
        self.zero = menu_button("zero at the mean", self._zero_menu(), flat=True, name="Where heights are zero")
        row = QHBoxLayout(self)
        self.setFixedHeight(34)
        row.setContentsMargins(10, 2, 8, 2)
        row.setSpacing(5)
        for widget in (self.switch, self._said, self.low, label("to", muted=True), self.high, self.presets, self.zero):
            row.addWidget(widget)
        document.bench_changed.connect(self.refresh)
        document.compared.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """Show the scale of the bench in place."""
        scale = self._document.bench.scale
        low, high = self._document.limits
        self.switch.show_checked(scale.shared)
        self._said.setText("One scale" if scale.shared else "Own scales")
        self.low.show_metres(low)
        self.high.show_metres(high)
        for field in (self.low, self.high):
            field.setEnabled(scale.shared)
        for action in self._group.actions():
            action.setChecked(action.data() == scale.preset)
        self.zero.setText(f"{self._zero_text()} ▾")
        if self.property("shared") != scale.shared:
            self.setProperty("shared", scale.shared)
            self.style().polish(self)

    def _zero_text(self) -> str:
        zeros = [step for step in self._document.bench.treatment.active if isinstance(step, Zero)]
        if not zeros:
            return "zero as scanned"
        return zeros[-1].describe()

    def _switch(self, on: bool) -> None:
        text = "one scale for all tiles" if on else "own scale for each tile"
        self._document.set_scale(replace(self._document.bench.scale, shared=on), text)

    def _typed(self) -> None:
        try:
            scale = Scale.typed(self.low.metres, self.high.metres, shared=self._document.bench.scale.shared)
        except QuantityError as error:
            self._document.noticed.emit("amber", str(error))
            self.refresh()
            return
        self._document.set_scale(scale, "set the scale")

    def _menu(self) -> QMenu:
        menu = QMenu(self)
        self._group = QActionGroup(menu)
        for preset, text in PRESETS.items():
            if preset != "typed":
                action = menu.addAction(text[:1].upper() + text[1:])
                action.setCheckable(True)
                action.setData(preset)
                action.triggered.connect(lambda _=False, preset=preset: self.choose(preset))
                self._group.addAction(action)
        return menu

    def choose(self, preset: Preset) -> None:
        """Take the ends from a preset."""
        self._document.set_scale(replace(self._document.bench.scale, preset=preset, shared=True), f"scale {preset}")

    def _zero_menu(self) -> QMenu:
        menu = QMenu(self)
        for at, text in ZEROS.items():
            menu.addAction(f"Zero at {text}").triggered.connect(lambda _=False, at=at: self._document.set_zero(at))
        return menu
