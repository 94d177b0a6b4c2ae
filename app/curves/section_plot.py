"""The panel of curves: one tab for each kind, the curves of all tiles over common axes, a legend that reads along."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QResizeEvent, QShowEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QScrollArea, QTabBar, QVBoxLayout, QWidget

from app.curves.data import KINDS, Curve, Kind, Spots
from app.curves.legend import Legend, legend_width
from app.curves.said import Said
from app.document.jobs import Jobs, Ticket
from app.tiles.state import Line, TileState
from app.widgets.parts import SMALL, ElidedLabel
from core.heightmap import HeightMap
from core.units import format_number

if TYPE_CHECKING:
    from app.curves.plot import CurvePlot

LOW = 240  # px of height below which what is said of the curves gets one line
MIDDLE = "Middle line of every scan. Shift and drag on a tile draws another."


class CurvesPanel(QWidget):
    """Sections and height distributions of all tiles, each in the colour of its specimen.

    Curves are worked out in the background whenever tiles or section change and the panel can be seen.
    """

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._states: list[TileState] = []
        self._spots: Spots = {}
        self._line: Line | None = None
        self._shown: tuple[object, ...] = ()
        self._curves: list[Curve] = []
        self._ticket: Ticket | None = None
        self._jobs = Jobs(1, self)
        self.destroyed.connect(self._jobs.shut)
        self.plot: CurvePlot | None = None
        self.tabs = QTabBar()
        self.tabs.setDrawBase(False)
        self.tabs.setExpanding(False)
        self.tabs.setUsesScrollButtons(False)  # the line beside them gives way instead
        self.tabs.setAccessibleName("Kind of curve")
        for kind in KINDS:
            self.tabs.addTab(kind.title)
        self.tabs.currentChanged.connect(self._refresh)
        self.line_told = ElidedLabel(points=SMALL, role="muted")
        self.legend = Legend()
        self.said = Said()
        self._build()
        self._restyle()

    # --- what is shown ---

    @property
    def kind(self) -> Kind:
        """The kind of curve whose tab is in front."""
        return KINDS[self.tabs.currentIndex()]

    @property
    def curves(self) -> list[Curve]:
        """The curves that are drawn, in the order of the legend."""
        return self._curves

    @property
    def settled(self) -> bool:
        """Whether nothing is being worked out."""
        return self._ticket is None and self._jobs.idle

    @property
    def told(self) -> str:
        """The line above the plot."""
        return self.line_told.text()

    def set_curves_source(self, states: Sequence[TileState], spots: Spots | None = None) -> None:
        """Curves of these tiles, those without a map have none; and what is said of the spots of all specimens."""
        self._states = [state for state in states if state.scan is not None]
        self._spots = {} if spots is None else spots
        self._refresh()

    def set_section(self, line: Line | None) -> None:
        """Cut along this line, metres from the centre of each map; None: along the middle line."""
        self._line = line
        self._refresh()

    # --- inside ---

    def _build(self) -> None:
        head = QHBoxLayout()
        head.setContentsMargins(6, 0, 12, 0)
        head.addWidget(self.tabs)
        head.addWidget(self.line_told, 1)
        side = QScrollArea()
        side.setFrameShape(QFrame.Shape.NoFrame)
        side.setWidgetResizable(True)
        side.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        side.setWidget(self.legend)
        self._side = side
        self._body = QHBoxLayout()
        self._body.setContentsMargins(6, 0, 6, 4)
        self._body.addStretch(1)
        self._body.addWidget(side)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(2)
        column.addLayout(head)
        column.addLayout(self._body, 1)
        column.addWidget(self.said)

    def _refresh(self) -> None:
        """Work out the curves, unless those wanted are there, on their way, or cannot be seen."""
        if not self.isVisible():
            return
        spots = self._spots if self.kind.tell else {}
        wanted = (
            self.kind.title,
            self._line,
            *((id(s.scan), s.title, s.colour) for s in self._states),
            *((name, *map(id, scans)) for name, scans in spots.items()),
        )
        if wanted == self._shown:
            return
        self._shown = wanted
        if self._ticket is not None:
            self._ticket.drop()
            self._ticket = None
        scans = [state.scan for state in self._states if state.scan is not None]
        if not scans:
            self._draw([], [], {}, self.kind, ([], []))
            return
        self._ticket = self._jobs.start(
            partial(_work, self.kind, scans, self._line, spots),
            done=partial(self._draw, list(self._states), scans, spots, self.kind),
            failed=_fail,
        )

    def _draw(
        self,
        states: list[TileState],
        _kept: list[HeightMap],
        _kept_too: Spots,
        kind: Kind,
        found: tuple[list[Curve], list[str]],
    ) -> None:
        # The maps stay alive until here, so that no new map can have the identity of one that was asked for.
        self._ticket = None
        self._curves, sentences = found
        curves = self._curves
        self.said.set_sentences(sentences)
        self.legend.set_rows([(state.title, state.colour) for state in states])
        self._side.setFixedWidth(legend_width([state.title for state in states]))
        self._side.setVisible(bool(states))
        if states or self.plot is not None:
            self._the_plot().show_curves(kind, curves, [state.colour for state in states])
        self._tell(None)

    def _the_plot(self) -> CurvePlot:
        if self.plot is None:
            from app.curves.plot import CurvePlot  # the plotting library takes a third of a second to import

            self.plot = CurvePlot(self._tell)
            self._body.takeAt(0)
            self._body.insertWidget(0, self.plot, 1)
        return self.plot

    def _tell(self, x: float | None) -> None:
        """Say what the curves read at a place."""
        if x is None:
            self.legend.set_values(())
            middle = self.kind.title == "Section" and self._line is None
            self.line_told.setText((MIDDLE if middle else self.kind.note) if self._curves else "")
            return
        self.legend.set_values([curve.at(x) for curve in self._curves])
        place = format_number(x).replace("-", "−")
        self.line_told.setText(f"at {place} {self.kind.x_unit}, in {self.kind.y_unit}")

    def _restyle(self) -> None:
        if self.plot is not None:
            self.plot.restyle()
        self.legend.update()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Where it is low, the plot gets the room."""
        super().resizeEvent(event)
        self.said.set_low(self.height() < LOW)

    def changeEvent(self, event: QEvent) -> None:
        """Follow the theme."""
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange:
            self._restyle()

    def showEvent(self, event: QShowEvent) -> None:
        """What changed while hidden is worked out now."""
        super().showEvent(event)
        self._refresh()


def _work(
    kind: Kind, scans: list[HeightMap], line: Line | None, spots: Spots, ticket: Ticket
) -> tuple[list[Curve], list[str]]:
    import pyqtgraph  # noqa: F401  here in the background, so that the window does not wait for it

    return kind.make(scans, line), kind.tell(spots, ticket.cancel.check) if kind.tell else []


def _fail(error: Exception) -> None:
    raise error
