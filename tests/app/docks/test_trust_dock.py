"""The trust panel in the window: what it lists, what a click on it does, and that its acts can be undone."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtWidgets import QLabel, QPushButton, QWidget
from pytestqt.qtbot import QtBot

from app.docks.trust.choices import Bars
from app.docks.trust.reality_plot import RealityPlot
from app.docks.trust.row import Row
from app.shell.window import Window
from app.theme import colour
from app.tiles.tag import FIELD
from app.told.doubts import Seen, area_of, groups
from core.compare import scan_pairs
from core.formats import write
from core.heightmap import HeightMap
from core.synthetic import gaussian_texture
from core.treatment import Mask, Treatment
from core.trust.doubts import Doubt, Place

NM = 1e-9
PITCH = (1e-8, 1e-8)


def texture(rng: np.random.Generator, side: int, rough: float) -> np.ndarray:
    return rough * rng.standard_normal((side, side))


def clipped_below(z: np.ndarray) -> np.ndarray:
    """A corner of the map stands at one height, as when the range of the height ended there."""
    z = z.copy()
    z[:10, :8] = z.min()
    return z


@pytest.fixture
def doubtful_files(tmp_path: Path) -> list[Path]:
    """“mica” twice on one place, noise between; “film” of two scans with a clipped corner in the first; “chip” of
    other size, one scan."""
    rng = np.random.default_rng(3)
    place = gaussian_texture((64, 64), PITCH, sq=0.3 * NM, length=4e-8, rng=rng)
    films = [clipped_below(texture(rng, 64, 2 * NM)), texture(rng, 64, 2 * NM)]
    maps = {f"mica spot {k}": place + texture(rng, 64, 0.1 * NM) for k in (1, 2)}
    maps |= {f"film spot {k}": z for k, z in enumerate(films, start=1)}
    maps["chip spot 1"] = texture(rng, 30, 1 * NM)
    files = []
    for name, z in maps.items():
        path = tmp_path / f"{name}.x3p"
        write(HeightMap(z, PITCH), path)
        files.append(path)
    return files


@pytest.fixture
def doubtful(window: Window, doubtful_files: list[Path], qtbot: QtBot) -> Window:
    """The window with these scans compared."""
    window.document.add_files(doubtful_files)
    settle(window, qtbot)
    return window


def settle(window: Window, qtbot: QtBot) -> None:
    qtbot.waitUntil(lambda: window.document.up_to_date and not window.document.busy, timeout=30_000)


def said(widget: QWidget) -> str:
    """All words in it."""
    return " ".join(label.text() for label in widget.findChildren(QLabel))


def press(qtbot: QtBot, root: QWidget, accept: Callable[[str], bool]) -> None:
    """Press the first button whose text is accepted."""

    def there() -> list[QPushButton]:
        return [one for one in root.findChildren(QPushButton) if accept(one.text()) and one.isVisible()]

    qtbot.waitUntil(lambda: bool(there()), timeout=10_000)
    qtbot.mouseClick(there()[0], Qt.MouseButton.LeftButton)


# Doubts --------------------------------------------------------------------------------------------------------------


def test_groups_hold_every_doubt_the_worst_first(doubtful: Window) -> None:
    comparison = doubtful.document.comparison
    found = groups(comparison)
    told = [seen.doubt for group in found for seen in group.seen]
    wanted = [d for one in (*comparison.specimens, *comparison.scans) for d in one.doubts]
    assert len(told) == len(wanted) and {id(doubt) for doubt in told} == {id(doubt) for doubt in wanted}
    order = [("red", "amber", "note").index(group.level) for group in found]
    assert order == sorted(order)


def test_the_place_follows_a_crop() -> None:
    raw = HeightMap(np.random.default_rng(1).standard_normal((40, 60)), (2e-8, 1e-8))
    doubt = Doubt("clipped", "red", "", "", place=Place(10, 20, 14, 30))

    class Result:
        def __init__(self, steps: list[dict[str, object]]) -> None:
            self.raw, treated = raw, Treatment.from_list(steps).apply(raw)
            self.removed = treated.history[len(raw.history) :]

    whole = area_of(Result([]), doubt)
    assert whole == pytest.approx(((25 - 30) * 1e-8, (12 - 20) * 2e-8, 10e-8, 8e-8))
    part = area_of(Result([{"do": "crop", "left": "10 px", "top": "4 px"}]), doubt)
    # the crop holds columns 10 to 60 and rows 4 to 40: its middle is column 35 and row 22
    assert part == pytest.approx(((25 - 35) * 1e-8, (12 - 22) * 2e-8, 10e-8, 8e-8))
    assert area_of(Result([]), Doubt("hum", "amber", "", "")) is None


def test_a_doubt_leads_to_its_place(doubtful: Window, qtbot: QtBot) -> None:
    window = doubtful
    window.show_trust("doubts")
    pane = window.trust.doubts
    key = next(key for key in pane.rows if key[0] == "clipped")
    row = pane.rows[key]
    row.setFocus()
    qtbot.keyClick(row, Qt.Key.Key_Return)
    comparison = window.document.comparison
    seen = next(s for g in groups(comparison) for s in g.seen if (s.doubt.code, s.name) == key)
    area = area_of(comparison.scans_by_name[key[1]], seen.doubt)
    tile = window.grid.tile("specimen:film")
    assert tile.state.scan.name == key[1] and tile.frame.area == area and not tile.frame.isHidden()
    assert not window.grid.sync.fitted
    view = tile.picture.view()
    x, y = view.to_screen(area[0], area[1])
    assert 0 <= x <= view.width and 0 <= y <= view.height
    assert all(not other.frame.area for name, other in window.grid._tiles.items() if name != "specimen:film")
    assert window.acts.chosen == "specimen:film"
    tile.frame.setGeometry(tile.picture.rect())
    picture = tile.picture.grab().toImage()
    left = round((view.to_screen(area[0] - area[2] / 2, area[1])[0] - 2) * picture.devicePixelRatio())
    assert any(picture.pixelColor(max(0, left) + aside, round(y)).name() == FIELD.name() for aside in range(-1, 2))
    pane.leave()
    assert tile.frame.area is None


def test_a_chip_opens_its_doubt(doubtful: Window, qtbot: QtBot) -> None:
    tile = doubtful.grid.tile("specimen:film")
    place, text, _ = tile._header.chips[0]
    qtbot.mouseClick(tile, Qt.MouseButton.LeftButton, pos=QPoint(*map(round, place.center().toTuple())))
    assert doubtful.trust.currentWidget() is doubtful.trust.doubts and doubtful.trust.isVisible()
    assert doubtful.trust.doubts.chosen is not None
    assert text in [chip for chip, _ in tile.state.chips] or text.startswith("+") or "notes" in text


def test_an_offered_step_is_added_shown_with_and_without_and_undone(doubtful: Window, qtbot: QtBot) -> None:
    window = doubtful
    window.show_trust("doubts")
    before = window.document.comparison.specimens_by_name["film"].readings["Sq"]
    press(qtbot, window.trust.doubts, lambda text: text.startswith("Add step"))
    steps = window.document.bench.treatment.steps
    assert isinstance(steps[0], Mask)  # before the levelling, which must not see the points
    settle(window, qtbot)
    after = window.document.comparison.specimens_by_name["film"].readings["Sq"]
    assert after.value != before.value
    words = said(window.trust.doubts)
    assert "The treatment has the step" in words and "without it" in words and "with it" in words
    window.document.stack.undo()
    settle(window, qtbot)
    assert not any(isinstance(step, Mask) for step in window.document.bench.treatment.steps)
    assert "without it" not in said(window.trust.doubts)


def test_the_standing_only_sums_the_doubts_up(doubtful: Window, qtbot: QtBot) -> None:
    words = said(doubtful.standing)
    assert "Doubts" in words
    advice = {d.advice for one in doubtful.document.comparison.scans for d in one.doubts}
    assert not any(text and text in words for text in advice)
    doubtful.standing.trust_asked.emit("doubts")
    assert doubtful.trust.doubts.isVisible()


# Comparability -------------------------------------------------------------------------------------------------------


def test_the_matrix_has_every_pair_and_tells_the_cure(doubtful: Window, qtbot: QtBot) -> None:
    window = doubtful
    window.show_trust("comparable")
    matrix, pairs = window.trust.comparable.matrix, window.document.comparison.comparability
    assert set(map(id, matrix._pairs.values())) == set(map(id, pairs)) and len(pairs) == 3
    red = next(pair for pair in pairs if pair.level == "red")
    qtbot.mouseClick(matrix, Qt.MouseButton.LeftButton, pos=matrix.place_of(red).center().toPoint())
    assert matrix.current is red
    words = said(window.trust.comparable)
    assert red.cure in words and "Not comparable" in words
    press(qtbot, window.trust.comparable, lambda text: text == "Add a common band")
    assert [step.do for step in window.document.bench.treatment.steps] == ["level", "band", "zero"]
    window.document.stack.undo()
    settle(window, qtbot)


def test_levels_are_signs_and_not_colours_alone(doubtful: Window, qtbot: QtBot) -> None:
    doubtful.show_trust("comparable")
    matrix = doubtful.trust.comparable.matrix
    image, ratio = matrix.grab().toImage(), matrix.devicePixelRatioF()
    for pair in matrix._pairs.values():
        middle = matrix.place_of(pair)
        inks = {
            image.pixelColor(round(x * ratio), round(y * ratio)).name()
            for x in np.arange(middle.left() + 3, middle.right() - 3)
            for y in np.arange(middle.top() + 3, middle.bottom() - 3)
        }
        role = {"green": "good", "amber": "amber", "red": "red"}[pair.level]
        assert colour(role).name() in inks and colour(f"{role}-wash").name() in inks


def test_scans_are_shown_on_demand(doubtful: Window, qtbot: QtBot) -> None:
    doubtful.show_trust("comparable")
    pane = doubtful.trust.comparable
    pane.by_scan.click()
    qtbot.waitUntil(lambda: len(pane.matrix._names) == 5, timeout=20_000)
    wanted = {(p.first, p.second): p.level for p in scan_pairs(doubtful.document.comparison)}
    assert len(wanted) == 10 and {(p.first, p.second): p.level for p in pane.matrix._pairs.values()} == wanted
    qtbot.keyClick(pane.matrix, Qt.Key.Key_Down)
    assert pane.matrix.current is not None


def test_what_is_set_aside_is_told_in_the_standing(doubtful: Window) -> None:
    aside = [row for row in doubtful.standing.model.rows if not row.place.comparable]
    assert [row.place.specimen for row in aside] == ["chip"] and "different scan sizes" in aside[0].why


# Noise, budget, choices ----------------------------------------------------------------------------------------------


def test_repeats_are_said_and_forgotten(doubtful: Window, qtbot: QtBot) -> None:
    window = doubtful
    window.show_trust("noise")
    pane = window.trust.noise
    assert not pane.same.isEnabled() and pane._hint.isVisible()
    pane.tick("mica spot 1")
    pane.tick("mica spot 2")
    assert pane.ticked == ["mica spot 1", "mica spot 2"]
    pane.same.click()
    assert window.document.bench.repeats == (("mica spot 1", "mica spot 2"),)
    settle(window, qtbot)
    noise = window.document.comparison.specimens_by_name["mica"].noise
    # derived here: white noise of 0.1 nm; levelling takes next to nothing off it, 4096 points tell it to about 1 %
    assert noise.floor.value == pytest.approx(0.1 * NM, rel=0.1)
    words = said(pane)
    assert "mica" in words or pane.findChildren(Row) == []
    assert "N/S 0.3" in words and pane.findChildren(RealityPlot)
    assert not pane.grab().isNull()
    window.document.stack.undo()
    settle(window, qtbot)
    assert window.document.comparison.noise is None and not pane.findChildren(RealityPlot)


def test_a_budget_has_every_line(doubtful: Window) -> None:
    doubtful.show_trust("budget")
    pane = doubtful.trust.budget
    pane.choose("film")
    budget = doubtful.document.comparison.specimens_by_name["film"].budgets["Sq"]
    words = said(pane)
    assert pane.symbol.currentText() == "Sq"
    assert all(line.source in words and line.how in words for line in budget.lines)
    assert "Absolute" in words


def test_other_treatments_are_tried_in_the_background(filled: Window, qtbot: QtBot) -> None:
    filled.show_trust("choices")
    pane = filled.trust.choices
    qtbot.mouseClick(pane.ask, Qt.MouseButton.LeftButton)
    assert filled.document.choosing and pane.stop.isVisible() and not pane.ask.isVisible()
    qtbot.waitUntil(lambda: filled.document.comparison.choices is not None, timeout=30_000)
    settle(filled, qtbot)
    found = filled.document.comparison.choices
    assert pane.findChildren(Bars)[0].shares == {n: s for n, s in found.win_share.items() if s > 0}
    assert "defensible treatments mica has the lowest Sq" in said(pane)
    assert not filled.document.stack.canUndo() or filled.document.stack.undoText().startswith("add")
    filled.document.set_zero("median")  # another treatment: what was tried does not hold for it
    settle(filled, qtbot)
    assert filled.document.comparison.choices is None


def test_trying_can_be_stopped(filled: Window, qtbot: QtBot) -> None:
    filled.show_trust("choices")
    filled.trust.choices.ask.click()
    filled.trust.choices.stop.click()
    assert not filled.document.choosing and filled.trust.choices.ask.isVisible()
    settle(filled, qtbot)
    assert filled.document.comparison.choices is None


def test_every_pane_teaches_while_it_is_empty(window: Window) -> None:
    for name in ("doubts", "comparable", "noise", "budget", "choices"):
        window.show_trust(name)
        pane = window.trust.currentWidget()
        assert pane._hint.isVisible() and pane._hint.text().endswith(".")


def test_seen_is_named_after_what_it_is_about() -> None:
    doubt = Doubt("hum", "amber", "", "")
    assert Seen(doubt, "film").name == "film" and Seen(doubt, "film", "film spot 2").name == "film spot 2"
