"""The drawings of the readings."""

import pytest
from PySide6.QtGui import QImage
from pytestqt.qtbot import QtBot

from app.docks.sketch import SKETCHES, Sketch
from core.measures import CATALOGUE, FAMILIES


def drawn(qtbot: QtBot, symbol: str) -> QImage:
    sketch = Sketch()
    qtbot.addWidget(sketch)
    sketch.resize(240, 104)
    sketch.show_reading(symbol)
    return sketch.grab().toImage()


@pytest.mark.parametrize("symbol", CATALOGUE)
def test_every_reading_has_a_picture_and_a_name_for_those_who_do_not_see_it(qtbot: QtBot, symbol: str) -> None:
    sketch = Sketch()
    qtbot.addWidget(sketch)
    blank = sketch.grab().toImage()
    sketch.show_reading(symbol)
    assert sketch.grab().toImage() != blank
    assert CATALOGUE[symbol].name in sketch.accessibleName()


def test_what_differs_is_drawn_differently(qtbot: QtBot) -> None:
    pictures = {symbol: drawn(qtbot, symbol) for symbol in ("Sq", "Sz", "Sp", "Sal", "Str", "Sk", "Spk", "Vvc", "Shv")}
    symbols = list(pictures)
    for number, one in enumerate(symbols):
        for other in symbols[number + 1 :]:
            assert pictures[one] != pictures[other], (one, other)


def test_only_hills_are_drawn_without_being_named() -> None:
    hills = {quantity.symbol for quantity in FAMILIES["hills and dales"]}
    assert set(CATALOGUE) - set(SKETCHES) <= hills
    assert set(SKETCHES) <= set(CATALOGUE)
