"""What counts as a bump: particle, threshold, bumps or hollows, and what is subtracted."""

from __future__ import annotations

from dataclasses import dataclass

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QComboBox, QFormLayout, QLineEdit, QSizePolicy, QWidget

from app.widgets.length_field import LengthField
from app.widgets.parts import SMALL, label
from core.relief import PARTICLE, K

RANGE = (2.0, 50.0)  # sigma
BY = {"sigma": "robust sigma", "height": "a height"}


@dataclass(frozen=True, slots=True)
class Settings:
    """What is counted.

    Attributes
    ----------
    particle : float
        Diameter of the smallest particle that matters, metres.
    k, height : float or None
        The threshold: one of them.
    hollows : bool
        Hollows instead.
    """

    particle: float = PARTICLE
    k: float | None = K
    height: float | None = None
    hollows: bool = False


class SigmaField(QLineEdit):
    """A threshold in robust sigma, committed by Enter or by leaving the field.

    Signals
    -------
    committed(float)
        Only when it changed and can be understood.
    """

    committed = Signal(float)

    def __init__(self) -> None:
        super().__init__()
        self.sigma = K
        self.setAccessibleName("Threshold in robust sigma")
        self.setToolTip(f"Threshold in robust sigma, {RANGE[0]:g} to {RANGE[1]:g}")
        self.setAcceptDrops(False)
        self.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.editingFinished.connect(self._commit)
        self._write()

    def _commit(self) -> None:
        try:
            sigma = float(self.text().replace("σ", "").replace(",", ".").strip())
        except ValueError:
            sigma = self.sigma
        changed = RANGE[0] <= sigma <= RANGE[1] and sigma != self.sigma
        self.sigma = sigma if changed else self.sigma
        self._write()
        if changed:
            self.committed.emit(sigma)

    def _write(self) -> None:
        self.setText(f"{self.sigma:g} σ")


class BumpSettings(QWidget):
    """The form.

    Signals
    -------
    changed()
        Something else is to be counted, or subtracted.
    """

    changed = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.what = _list("What is counted", ("bumps", "hollows"))
        self.particle = LengthField("Diameter of the smallest particle that matters")
        self.particle.show_metres(PARTICLE)
        self.by = _list("Kind of threshold", tuple(BY.values()))
        self.k = SigmaField()
        self.least = LengthField("Least height of a bump")
        self.least.show_metres(2e-9)
        self.blank = _list("Blank that is subtracted", ("nothing",))
        form = QFormLayout(self)
        form.setContentsMargins(0, 0, 0, 0)
        form.setHorizontalSpacing(8)
        form.setVerticalSpacing(4)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        for text, widget in (
            ("Count", self.what),
            ("Particles from", self.particle),
            ("Threshold by", self.by),
            ("Threshold", self.k),
            ("Threshold", self.least),
            ("Subtract", self.blank),
        ):
            said = label(text, points=SMALL, muted=True)
            said.setBuddy(widget)
            form.addRow(said, widget)
        self._form = form
        for box in (self.what, self.by, self.blank):
            box.activated.connect(lambda _: self._tell())
        for field in (self.particle, self.least):
            field.committed.connect(lambda _: self._tell())
        self.k.committed.connect(lambda _: self._tell())
        self._show_threshold()

    @property
    def settings(self) -> Settings:
        """What the form says."""
        by_sigma = self.by.currentIndex() == 0
        return Settings(
            particle=self.particle.metres,
            k=self.k.sigma if by_sigma else None,
            height=None if by_sigma else self.least.metres,
            hollows=self.what.currentIndex() == 1,
        )

    @property
    def blank_specimen(self) -> str:
        """The specimen whose density is subtracted; empty for none."""
        return str(self.blank.currentData() or "")

    def offer_blanks(self, specimens: list[str]) -> None:
        """Let one of these be the blank."""
        before = self.blank_specimen
        self.blank.clear()
        self.blank.addItem("nothing", "")
        for name in specimens:
            self.blank.addItem(name, name)
        self.blank.setCurrentIndex(max(0, self.blank.findData(before)))

    def _tell(self) -> None:
        self._show_threshold()
        if self.particle.metres > 0 and self.least.metres > 0:
            self.changed.emit()

    def _show_threshold(self) -> None:
        by_sigma = self.by.currentIndex() == 0
        self._form.setRowVisible(self.k, by_sigma)
        self._form.setRowVisible(self.least, not by_sigma)


def _list(name: str, texts: tuple[str, ...]) -> QComboBox:
    box = QComboBox()
    box.addItems(texts)
    box.setAccessibleName(name)
    box.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
    box.setMinimumContentsLength(6)
    return box
