"""The two palettes: every text can be read on every ground."""

from __future__ import annotations

import pytest
from PySide6.QtGui import QColor, QFontDatabase
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.theme import ROLES, colour, load_fonts, style_sheet, text_font, theme
from app.tiles.ink import readable_on
from core.colours import SPECIMENS

GROUNDS = ("window", "panel", "card", "hover", "plot")
TEXTS = ("text", "muted", "accent", "good", "amber", "red")
PAIRS = [(text, ground) for text in TEXTS for ground in GROUNDS]
PAIRS += [("on-accent", "accent"), ("amber", "amber-wash"), ("red", "red-wash"), ("good", "good-wash")]
PAIRS += [("text", "amber-wash"), ("text", "red-wash")]


def luminance(ink: QColor) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [
        c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (ink.redF(), ink.greenF(), ink.blueF())
    ]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(one: QColor, other: QColor) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("mode", [0, 1], ids=["light", "dark"])
@pytest.mark.parametrize(("text", "ground"), PAIRS)
def test_text_can_be_read(text: str, ground: str, mode: int) -> None:
    """4.5 : 1, the level AA of WCAG 2.2 for text of normal size."""
    assert contrast(QColor(ROLES[text][mode]), QColor(ROLES[ground][mode])) >= 4.5


@pytest.mark.parametrize("fill", SPECIMENS)
def test_rank_badges_can_be_read(fill: str) -> None:
    assert contrast(readable_on(QColor(fill)), QColor(fill)) >= 4.5


def test_the_pin_changes_palette_and_style_sheet(qtbot: QtBot) -> None:
    theme().install(QApplication.instance())
    theme().set_pin("light")
    light = style_sheet()
    with qtbot.waitSignal(theme().changed):
        theme().set_pin("dark")
    assert colour("window") == QColor(ROLES["window"][1])
    assert QApplication.palette().window().color() == QColor(ROLES["panel"][1])
    assert style_sheet() != light and "@" not in style_sheet()
    theme().set_pin("system")


def test_the_bundled_typeface_is_used(qtbot: QtBot) -> None:
    assert load_fonts() == "Inter"
    assert "Inter" in QFontDatabase.families()
    assert text_font().family() == "Inter"
