"""How a scan was made: an editable form for the chosen scan, or for all scans of its specimen at once."""

from __future__ import annotations

from functools import partial

from PySide6.QtWidgets import QCheckBox, QFormLayout, QLineEdit

from app.docks.dock import DockHead
from app.document.document import Document
from app.widgets.parts import SMALL, Column, label
from core.bench import Scan
from core.errors import QuantityError
from core.recorded import FIELDS, NOT_RECORDED, value_text

IDLE = "Choose a tile: how its scan was made is told and can be filled in here. Nothing is written to your files."


class DetailsPanel(Column):
    """The form. What is typed goes to the bench as one named act, never to a file."""

    def __init__(self, document: Document) -> None:
        super().__init__(margins=(12, 4, 12, 12))
        self._document, self._name = document, ""
        self.head = DockHead("Recorded")
        self.hint = label(IDLE, points=SMALL, muted=True, wrap=True)
        self.column.addWidget(self.hint)
        self.whole = QCheckBox("For all scans of this specimen")
        self.column.addWidget(self.whole)
        self.problem = label(points=SMALL, level="red", wrap=True)
        self.problem.hide()
        self.column.addWidget(self.problem)
        self.inputs: dict[str, QLineEdit] = {}
        self._add_group("Bench", {"specimen name": "Specimen", "spot": "Spot"})
        for group, keys in FIELDS.items():
            self._add_group(group, keys)
        self.column.addStretch(1)
        document.bench_changed.connect(self.refresh)
        self.refresh()

    def show_scan(self, name: str) -> None:
        """Show this scan of the bench."""
        self._name = name
        self.refresh()

    def refresh(self) -> None:
        """Show what is recorded now; nothing that is being typed is disturbed."""
        scan = self._scan()
        self.head.aside.setText("" if scan is None else scan.name)
        self.hint.setVisible(scan is None)
        self.whole.setVisible(scan is not None)
        for key, line in self.inputs.items():
            line.setEnabled(scan is not None)
            if not (line.hasFocus() and line.isModified()):
                line.setText("" if scan is None else _shown(scan, key))
                line.setModified(False)

    def _add_group(self, title: str, keys: dict[str, str]) -> None:
        self.column.addWidget(label(title, points=SMALL, strong=True))
        form = QFormLayout()
        form.setHorizontalSpacing(8)
        form.setVerticalSpacing(4)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        for key, text in keys.items():
            line = QLineEdit()
            line.setPlaceholderText(NOT_RECORDED)
            line.setAccessibleName(f"{title}: {text}")
            line.setAcceptDrops(False)
            line.editingFinished.connect(partial(self._commit, key, text))
            said = label(text, points=SMALL, muted=True)
            said.setBuddy(line)
            form.addRow(said, line)
            self.inputs[key] = line
        self.column.addLayout(form)

    def _scan(self) -> Scan | None:
        return next((scan for scan in self._document.bench.scans if scan.name == self._name), None)

    def _commit(self, key: str, text: str) -> None:
        line, scan = self.inputs[key], self._scan()
        if scan is None or not line.isModified():
            return
        typed = line.text().strip()
        line.setModified(False)
        self.problem.hide()
        try:
            self._say(scan, key, text, typed)
        except QuantityError as error:
            self.problem.setText(str(error))
            self.problem.show()
        self.refresh()

    def _say(self, scan: Scan, key: str, text: str, typed: str) -> None:
        if typed == _shown(scan, key):
            return
        if key == "specimen name":
            self._document.rename_specimen(scan.specimen, typed)
        elif key == "spot":
            self._document.set_spot(scan.name, typed)
        else:
            group = self._document.bench.specimens[scan.specimen] if self.whole.isChecked() else (scan,)
            about = scan.specimen if self.whole.isChecked() else scan.name
            self._document.say([one.name for one in group], {key: typed}, f"record {text.lower()} of {about}")


def _shown(scan: Scan, key: str) -> str:
    if key == "specimen name":
        return scan.specimen
    return scan.spot if key == "spot" else value_text(scan.raw.metadata, key)
