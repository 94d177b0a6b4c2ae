"""Every question to the user, each one function that tests replace."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFileDialog,
    QFormLayout,
    QInputDialog,
    QLineEdit,
    QMessageBox,
    QWidget,
)

from app.widgets.parts import label
from core.errors import LowreliefError
from core.units import metres_per, parse_pixel

BENCH_FILES = "Bench files (*.h5)"


def ask_scans(parent: QWidget) -> list[Path]:
    """Files to add; empty if the user changed her mind."""
    names, _ = QFileDialog.getOpenFileNames(parent, "Add scans", "", "All files (*)")
    return [Path(name) for name in names]


def ask_folder_of_scans(parent: QWidget) -> Path | None:
    """A folder whose scans are added."""
    name = QFileDialog.getExistingDirectory(parent, "Add all scans in a folder")
    return Path(name) if name else None


def ask_bench(parent: QWidget) -> Path | None:
    """A bench file to open."""
    name, _ = QFileDialog.getOpenFileName(parent, "Open a bench", "", f"{BENCH_FILES};;All files (*)")
    return Path(name) if name else None


def ask_treatment(parent: QWidget) -> Path | None:
    """A treatment to take over."""
    name, _ = QFileDialog.getOpenFileName(parent, "Open a treatment", "", "Treatment (*.toml);;All files (*)")
    return Path(name) if name else None


def ask_folder(parent: QWidget, title: str) -> Path | None:
    """A folder to write to."""
    name = QFileDialog.getExistingDirectory(parent, title)
    return Path(name) if name else None


def ask_save(parent: QWidget, title: str, name: str, kinds: str) -> Path | None:
    """A file to write; an existing one was confirmed. Without a suffix it gets that of the chosen kind."""
    chosen, kind = QFileDialog.getSaveFileName(parent, title, name, kinds)
    if not chosen:
        return None
    path = Path(chosen)
    suffix = kind.partition("*")[2].rstrip(")").split()[0] if "*" in kind else ""
    return path if path.suffix or not suffix else path.with_suffix(suffix)


def ask_text(parent: QWidget, title: str, question: str, text: str = "", choices: list[str] | None = None) -> str:
    """A line of text, or one of some choices that may be typed over; empty if the user changed her mind."""
    if choices is not None:
        said, good = QInputDialog.getItem(parent, title, question, choices, 0, True)
    else:
        said, good = QInputDialog.getText(parent, title, question, QLineEdit.EchoMode.Normal, text)
    return said.strip() if good else ""


def ask_keep(parent: QWidget, name: str) -> str:
    """Whether to keep unsaved changes: "save", "discard" or "cancel"."""
    box = QMessageBox(parent)
    box.setWindowTitle("Unsaved changes")
    box.setText(f"Keep the changes to “{name}”?")
    buttons = QMessageBox.StandardButton
    box.setStandardButtons(buttons.Save | buttons.Discard | buttons.Cancel)
    box.setDefaultButton(buttons.Save)
    answer = box.exec()
    return {buttons.Save.value: "save", buttons.Discard.value: "discard"}.get(answer, "cancel")


def ask_quantities(parent: QWidget) -> tuple[str | None, str | None] | None:
    """Pixel size and height unit for files that do not say; None if the user changed her mind."""
    dialog = QuantityDialog(parent)
    try:
        return dialog.quantities if dialog.exec() else None
    finally:
        dialog.deleteLater()


class QuantityDialog(QDialog):
    """Asks for what some files do not say."""

    def __init__(self, parent: QWidget | None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Read refused files again")
        self.pixel, self.unit = QLineEdit(), QLineEdit()
        self.pixel.setPlaceholderText("9.8 nm, or 10nm x 12nm (down × across)")
        self.unit.setPlaceholderText("nm")
        self._problem = label(level="red", wrap=True)
        form = QFormLayout(self)
        form.addRow(label("For files that do not say it themselves. Leave a line empty if they do.", wrap=True))
        form.addRow("Pixel size", self.pixel)
        form.addRow("Unit of heights", self.unit)
        form.addRow(self._problem)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel)
        buttons.accepted.connect(self._check)
        buttons.rejected.connect(self.reject)
        form.addRow(buttons)
        self.setMinimumWidth(420)

    @property
    def quantities(self) -> tuple[str | None, str | None]:
        """What was typed."""
        return self.pixel.text().strip() or None, self.unit.text().strip() or None

    def _check(self) -> None:
        pixel, unit = self.quantities
        try:
            if pixel:
                parse_pixel(pixel)
            if unit:
                metres_per(unit)
        except LowreliefError as error:
            self._problem.setText(str(error))
            return
        self.accept()
