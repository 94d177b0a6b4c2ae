"""The form of a step: which parameters it shows, and what changes with the word that rules the others."""

from __future__ import annotations

import pytest
from PySide6.QtWidgets import QComboBox, QLineEdit
from pytestqt.qtbot import QtBot

from app.docks.step_form import CHOICES, ONLY_WITH, StepForm
from core.treatment import Crop, Level, Mask, Rows, Step, Zero
from core.treatment.mask import GROW

STEPS: list[tuple[Step, set[str]]] = [
    (Mask(), {"what", "k", "grow"}),
    (Mask(what="clipped"), {"what", "grow"}),
    (Mask(what="streaks"), {"what", "grow"}),
    (Mask(what="rectangle"), {"what", "left", "top", "width", "height"}),
    (Level(), {"form"}),
    (Rows(), {"remove", "by"}),
    (Zero(at="percentile", percent=1.0), {"at", "percent"}),
]


@pytest.mark.parametrize(("step", "shown"), STEPS, ids=[step.describe() for step, _ in STEPS])
def test_only_what_applies_is_shown(qtbot: QtBot, step: Step, shown: set[str]) -> None:
    form = StepForm(step)
    qtbot.addWidget(form)
    assert set(form.inputs) == shown


@pytest.mark.parametrize("what", CHOICES["mask", "what"])
@pytest.mark.parametrize("before", [Mask(), Mask(what="rectangle", left="3 px"), Mask(what="streaks", grow="4 px")])
def test_another_thing_to_mask_begins_with_its_own_values(qtbot: QtBot, before: Mask, what: str) -> None:
    form = StepForm(before)
    qtbot.addWidget(form)
    edited: list[Mask] = []
    form.edited.connect(edited.append)
    combo = form.inputs["what"]
    assert isinstance(combo, QComboBox)
    combo.activated.emit(CHOICES["mask", "what"].index(what))
    if what == before.what:
        return
    (after,) = edited
    assert after.what == what
    assert after.grow == GROW.get(what)
    assert after.k == ONLY_WITH["mask", "k"][1].get(what)
    assert (after.top, after.height) == (("0 px", "10 px") if what == "rectangle" else (None, None))


def test_an_emptied_length_goes_back_to_the_edge(qtbot: QtBot) -> None:
    form = StepForm(Crop(width="20 px"))
    qtbot.addWidget(form)
    edited: list[Crop] = []
    form.edited.connect(edited.append)
    line = form.inputs["width"]
    assert isinstance(line, QLineEdit)
    line.setText("")
    line.setModified(True)
    line.editingFinished.emit()
    assert [step.width for step in edited] == [None]


def test_what_is_not_good_is_said_and_changes_nothing(qtbot: QtBot) -> None:
    form = StepForm(Mask(what="rectangle"))
    qtbot.addWidget(form)
    edited: list[Mask] = []
    form.edited.connect(edited.append)
    line = form.inputs["height"]
    assert isinstance(line, QLineEdit)
    line.setText("ten")
    line.setModified(True)
    line.editingFinished.emit()
    assert edited == []
    assert not form.problem.isHidden()
    assert "height" in form.problem.text()
