"""The curves below the tiles: section, height distribution, spectrum. The panel is made when it is first seen."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

from PySide6.QtCore import Qt
from PySide6.QtGui import QShowEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.docks.dock import DockHead
from app.document.jobs import Jobs, Ticket
from app.tiles.state import Line, TileState
from app.widgets.parts import label

if TYPE_CHECKING:
    from app.curves.data import Spots
    from app.curves.section_plot import CurvesPanel


class CurvesHost(QWidget):
    """Hands tiles and section on to the curves, which are drawn by a plotting library that takes long to import."""

    def __init__(self) -> None:
        super().__init__()
        self.head = DockHead("Curves")
        self._tiles: list[TileState] = []
        self._line: Line | None = None
        self._spots: Spots = {}
        self.panel: CurvesPanel | None = None
        self._jobs = Jobs(1, self)
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self._hint = label("Sections and height distributions of the tiles are drawn here.", muted=True)
        self._hint.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self._column.addWidget(self._hint)

    def set_tiles(self, tiles: list[TileState], spots: Spots) -> None:
        """Curves of these maps; `spots` are those of all specimens, in the order of the standing."""
        self._tiles = [tile for tile in tiles if tile.scan is not None]
        self._spots = spots
        self._hand_on()

    def set_section(self, line: Line | None) -> None:
        """The section that was drawn."""
        self._line = line
        self._hand_on()

    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        self._hand_on()

    def shut(self) -> None:
        """Stop what runs."""
        self._jobs.shut()

    def _hand_on(self) -> None:
        if not self.isVisible() or not (self.panel or self._tiles):
            return
        if self.panel is not None:
            self.panel.set_curves_source(self._tiles, self._spots)
            self.panel.set_section(self._line)
        elif self._jobs.idle:
            self._jobs.start(_plotting, done=self._make_panel, failed=self._no_panel)

    def _make_panel(self, kind: type[CurvesPanel]) -> None:
        self._hint.hide()
        self.panel = kind()
        self.head.carry(self.panel.tabs)
        self.head.add(self.panel.line_told)
        self._column.addWidget(self.panel)
        self._hand_on()

    def _no_panel(self, error: Exception) -> None:
        self._hint.setText(f"The curves cannot be drawn: {error}")


def _plotting(_: Ticket) -> type[CurvesPanel]:
    """The panel's class. The plotting library takes a third of a second to import: not on the GUI thread."""
    importlib.import_module("app.curves.plot")
    from app.curves.section_plot import CurvesPanel

    return CurvesPanel
