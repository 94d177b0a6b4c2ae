"""The scan that the panes speak about: one for all of them, chosen in a list or by a click on its tile."""

from __future__ import annotations

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QComboBox, QSizePolicy

from app.document.document import Document
from core.results import ScanResult


class Chosen(QObject):
    """Keeps the name.

    Signals
    -------
    changed()
        Another scan was chosen, or it was compared anew.
    """

    changed = Signal()

    def __init__(self, document: Document) -> None:
        super().__init__(document)
        self._document = document
        self._name = ""
        document.compared.connect(self.changed)

    @property
    def scan(self) -> ScanResult | None:
        """The chosen scan; the typical one of the first specimen where none was chosen or it is gone."""
        comparison = self._document.comparison
        if comparison is None or not comparison.scans:
            return None
        found = comparison.scans_by_name.get(self._name)
        if found is None and comparison.standing:
            best = comparison.specimens_by_name.get(comparison.standing[0].specimen)
            found = None if best is None else comparison.scans_by_name.get(best.typical)
        return found or comparison.scans[0]

    def choose(self, name: str) -> None:
        """Choose a scan by its name."""
        if name and name != self._name:
            self._name = name
            self.changed.emit()

    @property
    def names(self) -> list[str]:
        """All scans that were compared."""
        comparison = self._document.comparison
        return [] if comparison is None else [scan.name for scan in comparison.scans]


class ScanList(QComboBox):
    """A list of the scans that shows and sets the chosen one."""

    def __init__(self, chosen: Chosen) -> None:
        super().__init__()
        self._chosen = chosen
        self.setAccessibleName("Scan")
        self.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(10)
        self.textActivated.connect(chosen.choose)
        chosen.changed.connect(self._show)
        self._show()

    def _show(self) -> None:
        names, scan = self._chosen.names, self._chosen.scan
        if [self.itemText(index) for index in range(self.count())] != names:
            self.clear()
            self.addItems(names)
        self.setCurrentIndex(-1 if scan is None else names.index(scan.name))
        self.setEnabled(bool(names))
