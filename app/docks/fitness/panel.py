"""The panel on fitness: claims, bumps, trial, ladder and calibration, each behind a tab."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QTabWidget

from app.docks.dock import DockHead
from app.docks.fitness.bumps import BumpsPane
from app.docks.fitness.calibration import CalibrationPane
from app.docks.fitness.chosen import Chosen
from app.docks.fitness.claims import ClaimsPane
from app.docks.fitness.ladder import LadderPane
from app.docks.fitness.trial import TrialPane
from app.document.document import Document
from app.tiles.marks import Marks, Ring, Square
from app.tiles.state import Area
from core.heightmap import HeightMap

ROOM = 12.0  # radii of a bump that are shown about it


class FitnessPanel(QTabWidget):
    """Whether a surface is good enough for what it is wanted for.

    Signals
    -------
    marked(mapping of str to Marks)
        What is to be drawn on the maps, by scan.
    looked(str, Area)
        This part of this scan shall be seen closely.
    """

    marked = Signal(object)
    looked = Signal(str, object)

    def __init__(self, document: Document) -> None:
        super().__init__()
        self._document = document
        self.head = DockHead("Fitness")
        self.setDocumentMode(True)
        self.setUsesScrollButtons(True)
        self.chosen = Chosen(document)
        self.claims = ClaimsPane(document)
        self.bumps = BumpsPane(document, self.chosen)
        self.trial = TrialPane(document)
        self.ladder = LadderPane(document, self.chosen)
        self.calibration = CalibrationPane(document, self.chosen)
        for pane, title in (
            (self.claims, "Claims"),
            (self.bumps, "Bumps"),
            (self.trial, "Trial"),
            (self.ladder, "Ladder"),
            (self.calibration, "Calibration"),
        ):
            self.addTab(pane, title)
        for marking in (self.bumps, self.trial):
            marking.marked.connect(self._mark)
            marking.looked.connect(self._look)
        document.compared.connect(self._mark)

    def open(self, name: str) -> None:
        """Bring a pane to the front: ``"claims"``, ``"bumps"``, ``"trial"``, ``"ladder"`` or ``"calibration"``."""
        self.setCurrentWidget(getattr(self, name))

    def toggle_marks(self) -> None:
        """Show the bumps on the tiles, or no longer; they are counted first where they were not."""
        self.bumps.show_marks.toggle()
        if self.bumps.counted is None:
            self.bumps.count_now()

    def _mark(self) -> None:
        rings, squares = self.bumps.rings(), self.trial.squares()
        self.marked.emit({name: Marks(rings.get(name, ()), squares.get(name, ())) for name in {*rings, *squares}})

    def _look(self, name: str, what: Ring | Square) -> None:
        comparison = self._document.comparison
        scan = None if comparison is None else comparison.scans_by_name.get(name)
        if scan is not None:
            self.looked.emit(name, area_of(what, scan.treated))


def area_of(what: Ring | Square, scan: HeightMap) -> Area:
    """The part of a map about a mark: its centre, metres from that of the map, and its sides."""
    high, wide = scan.size
    if isinstance(what, Ring):
        side = ROOM * what.radius
        return what.x - wide / 2, what.y - high / 2, side, side
    return what.x + what.side / 2 - wide / 2, what.y + what.side / 2 - high / 2, what.side, what.side
