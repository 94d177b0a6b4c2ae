"""The form in which one treatment step is edited: a row for each of its parameters, made from the step's own fields."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QComboBox, QFormLayout, QLineEdit, QWidget

from app.widgets.parts import SMALL, label
from core.errors import TreatmentError
from core.treatment.mask import GROW
from core.treatment.step import Step

CHOICES: dict[tuple[str, str], tuple[str, ...]] = {
    ("mask", "what"): ("outliers", "clipped", "streaks", "bumps", "rectangle"),
    ("level", "form"): ("plane", "polynomial", "three-points"),
    ("rows", "remove"): ("offset", "polynomial"),
    ("rows", "by"): ("median", "median-of-differences"),
    ("band", "kind"): ("gaussian", "robust"),
    ("zero", "at"): ("mean", "median", "lowest", "percentile"),
}
"""Parameters that are one word out of a few."""

ONLY_WITH: dict[tuple[str, str], tuple[str, dict[str, object]]] = {
    ("mask", "k"): ("what", {"outliers": 5.0, "bumps": 5.0}),
    ("mask", "particle"): ("what", {"bumps": "20 nm"}),
    ("mask", "grow"): ("what", dict(GROW)),
    ("mask", "left"): ("what", {"rectangle": "0 px"}),
    ("mask", "top"): ("what", {"rectangle": "0 px"}),
    ("mask", "width"): ("what", {"rectangle": None}),
    ("mask", "height"): ("what", {"rectangle": "10 px"}),
    ("level", "degree"): ("form", {"polynomial": 2}),
    ("level", "points"): ("form", {"three-points": "10% 10%, 90% 10%, 50% 90%"}),
    ("level", "about"): ("form", {"three-points": "5 px"}),
    ("rows", "degree"): ("remove", {"polynomial": 1}),
    ("rows", "by"): ("remove", {"offset": "median"}),
    ("zero", "percent"): ("at", {"percentile": 0.1}),
}
"""Parameters that mean something only with another one at one of these words, and where they begin then."""


PLACEHOLDERS = {"calibrate": "not recorded"}
"""What an empty field means, by step; the edge of the map by default."""


class StepForm(QWidget):
    """Edits one step.

    Signals
    -------
    edited(Step)
        A step whose parameters are all good; what is not good is said in the form and changes nothing.
    """

    edited = Signal(object)

    def __init__(self, step: Step) -> None:
        super().__init__()
        self._step = step
        self._form = QFormLayout(self)
        self._form.setContentsMargins(0, 4, 0, 2)
        self._form.setHorizontalSpacing(8)
        self._form.setVerticalSpacing(5)
        self._form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        self.inputs: dict[str, QComboBox | QLineEdit] = {}
        for spec in fields(step):
            if spec.name != "on" and self._applies(spec.name):
                self._add(spec.name)
        self.problem = label(points=SMALL, level="red", wrap=True)
        self.problem.hide()
        self._form.addRow(self.problem)

    def _applies(self, name: str) -> bool:
        rule = ONLY_WITH.get((self._step.do, name))
        return rule is None or getattr(self._step, rule[0]) in rule[1]

    def _add(self, name: str) -> None:
        value = getattr(self._step, name)
        choices = CHOICES.get((self._step.do, name))
        field: QComboBox | QLineEdit = self._combo(name, choices, value) if choices else self._line(name, value)
        field.setAccessibleName(f"{self._step.do}: {name}")
        said = label(name.replace("_", " "), points=SMALL, muted=True)
        said.setBuddy(field)
        self._form.addRow(said, field)
        self.inputs[name] = field

    def _combo(self, name: str, choices: tuple[str, ...], value: object) -> QComboBox:
        combo = QComboBox()
        combo.addItems([choice.replace("-", " ") for choice in choices])
        combo.setCurrentIndex(choices.index(value) if isinstance(value, str) and value in choices else 0)
        combo.setMinimumWidth(60)
        combo.activated.connect(lambda index: self._commit(name, choices[index]))
        return combo

    def _line(self, name: str, value: object) -> QLineEdit:
        line = QLineEdit("" if value is None else f"{value:g}" if isinstance(value, float) else str(value))
        line.setAcceptDrops(False)
        line.setPlaceholderText(PLACEHOLDERS.get(self._step.do, "to the edge") if value is None else "")
        line.editingFinished.connect(lambda: self._commit(name, line.text()) if line.isModified() else None)
        return line

    def _commit(self, name: str, typed: str) -> None:
        values = {spec.name: getattr(self._step, spec.name) for spec in fields(self._step)}
        try:
            values[name] = _meant(typed, getattr(self._step, name), self._step.do, name)
            self._fit(values, name)
            step = type(self._step)(**values)
        except TreatmentError as error:
            self.problem.setText(str(error))
            self.problem.show()
            return
        self.problem.hide()
        if step != self._step:
            self.edited.emit(step)

    def _fit(self, values: dict[str, Any], changed: str) -> None:
        """Parameters that depend on the one that changed begin or end with it."""
        for (do, name), (other, begins) in ONLY_WITH.items():
            if do == self._step.do and other == changed:
                values[name] = begins.get(values[other])


def _meant(typed: str, before: object, do: str, name: str) -> object:
    """What was typed, of the kind that the parameter has."""
    text = typed.strip().replace("−", "-")
    if (do, name) in CHOICES:
        return text
    if before is None or isinstance(before, str):
        return text or None  # an emptied field goes back to what the step does by itself
    try:
        number = float(text.replace(",", "."))
    except ValueError:
        raise TreatmentError(f"“{name}” needs a number, not “{typed}”") from None
    return int(number) if isinstance(before, int) and number.is_integer() else number
