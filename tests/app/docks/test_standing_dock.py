"""The standing as Qt sees it: a sound model whose cells say what the comparison says."""

from __future__ import annotations

import numpy as np
import pytest
from PySide6.QtCore import QAbstractItemModel, Qt
from PySide6.QtTest import QAbstractItemModelTester
from pytestqt.qtbot import QtBot

from app.docks.standing_model import SORT, Columns, StandingModel
from app.shell.window import Window
from app.told.words import chips, unlike_pairs
from core.compare import compare
from core.heightmap import HeightMap
from core.results import Comparison
from core.trust.doubts import Doubt
from core.verdict import sentences


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    """Two proven specimens and one of a single, smaller scan."""
    rng = np.random.default_rng(11)
    maps = [
        HeightMap(rough * rng.standard_normal((40, 40)), pitch=(1e-8, 1e-8), name=f"{name} spot {spot}")
        for name, rough in (("mica", 2e-10), ("film", 2e-9))
        for spot in (1, 2, 3)
    ]
    maps.append(HeightMap(1e-9 * rng.standard_normal((20, 20)), pitch=(1e-8, 1e-8), name="disc"))
    return compare(maps)


def text(model: QAbstractItemModel, row: int, column: Columns) -> str:
    return str(model.index(row, column).data())


def test_the_model_is_sound(comparison: Comparison, qtbot: QtBot) -> None:
    model = StandingModel()
    tester = QAbstractItemModelTester(model, QAbstractItemModelTester.FailureReportingMode.Fatal)
    model.show_comparison(comparison)
    model.show_comparison(None)
    model.show_comparison(comparison)
    assert model.rowCount() == 3 and model.columnCount() == len(Columns)
    assert tester.model() is model


def test_cells_say_what_the_comparison_says(comparison: Comparison) -> None:
    model = StandingModel()
    model.show_comparison(comparison)
    assert [text(model, row, Columns.SPECIMEN) for row in range(3)] == ["mica", "disc", "film"]
    assert [text(model, row, Columns.RANK) for row in range(3)] == ["1", "2", "3"]
    assert [text(model, row, Columns.TIE) for row in range(3)] == ["a", "–", "b"]
    assert "±" in text(model, 0, Columns.VALUE) and "nm" not in text(model, 0, Columns.VALUE)
    assert "n = 1" in text(model, 1, Columns.VALUE)
    assert model.headerData(Columns.VALUE, Qt.Orientation.Horizontal) == "Sq ± U, nm"


def test_the_picture_is_logarithmic_and_keeps_the_order(comparison: Comparison) -> None:
    model = StandingModel()
    model.show_comparison(comparison)
    mica, disc, film = model.rows
    assert 0 <= mica.left < mica.dot < mica.right < disc.dot < film.left < film.dot < film.right <= 1
    assert disc.left is None and not disc.place.proven
    values = {row.place.specimen: row.reading.value for row in model.rows}
    share = (disc.dot - mica.dot) / (film.dot - mica.dot)
    expected = np.log(values["disc"] / values["mica"]) / np.log(values["film"] / values["mica"])
    assert share == pytest.approx(expected)


def test_readings_of_either_sign_are_drawn_linearly() -> None:
    rng = np.random.default_rng(5)
    maps = [HeightMap(1e-9 * rng.standard_normal((30, 30)), pitch=(1e-8, 1e-8), name=f"{n} spot {k}")
            for n in "ab" for k in (1, 2, 3)]  # fmt: skip
    model = StandingModel()
    model.show_comparison(compare(maps, rank_by="Ssk"))
    assert model.headerData(Columns.PICTURE, Qt.Orientation.Horizontal) == "Ssk, linear"
    assert all(0 <= row.dot <= 1 for row in model.rows)


def test_columns_are_sorted_by_what_they_mean(filled: Window, qtbot: QtBot) -> None:
    table = filled.standing.table
    table.sortByColumn(Columns.SPECIMEN, Qt.SortOrder.AscendingOrder)
    assert [text(table.model(), row, Columns.SPECIMEN) for row in range(2)] == ["film", "mica"]
    table.sortByColumn(Columns.VALUE, Qt.SortOrder.AscendingOrder)
    keys = [table.model().index(row, Columns.VALUE).data(SORT) for row in range(2)]
    assert keys == sorted(keys)


def test_sentences(comparison: Comparison) -> None:
    said = " ".join(sentences(comparison.ranking, "Sq"))
    assert "mica is the smoothest" in said
    assert "disc rests on a single scan" in said


def test_ties_are_said() -> None:
    rng = np.random.default_rng(2)
    maps = [HeightMap(1e-9 * rng.standard_normal((40, 40)), pitch=(1e-8, 1e-8), name=f"{n} spot {k}")
            for n in ("left", "right") for k in (1, 2, 3)]  # fmt: skip
    assert "left and right are tied" in " ".join(sentences(compare(maps).ranking, "Sq")).replace(
        "right and left", "left and right"
    )


def test_what_is_not_comparable_is_said_with_its_cure(comparison: Comparison) -> None:
    groups = unlike_pairs(comparison.comparability)
    assert [level for level, *_ in groups] == ["red"]
    _, reasons, cure, pairs = groups[0]
    assert "area" in reasons and "band" in cure and len(pairs) == 2


def test_chips_are_the_doubts_worst_first_without_notes() -> None:
    doubts = [
        Doubt("missing", "note", "", ""),
        Doubt("hum", "amber", "", ""),
        Doubt("clipped", "red", "", ""),
        Doubt("hum", "amber", "", ""),
    ]
    assert chips(doubts) == (("z clipped", "red"), ("hum", "amber"))
