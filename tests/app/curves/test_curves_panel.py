"""The curves below the tiles: what they show is what core says, and they follow tiles, section and theme."""

from __future__ import annotations

import gc
import subprocess
import sys
import weakref

import numpy as np
import pytest
from PySide6.QtCore import QPointF
from PySide6.QtGui import QColor

from app.curves.data import KINDS, distributions, sections
from app.curves.said import Said
from app.curves.section_plot import MIDDLE, CurvesPanel
from app.theme import colour, theme
from app.tiles.state import TileState
from core.heightmap import HeightMap
from core.measures.window_curve import window_curve
from core.trust.crossings import NONE, crossings

NM = 1e-9


def tilted(slope: float, name: str, n: int = 100, pixel: float = 1e-8) -> HeightMap:
    x = (np.arange(n) - (n - 1) / 2) * pixel
    return HeightMap(np.tile(slope * x, (n, 1)), (pixel, pixel), name)


def state_of(scan: HeightMap | None, ink: str = "#4477AA") -> TileState:
    return TileState(scan.name if scan else "none", scan.name if scan else "none", colour=ink, scan=scan)


@pytest.fixture
def panel(qtbot) -> CurvesPanel:
    made = CurvesPanel()
    qtbot.addWidget(made)
    made.resize(700, 250)
    made.show()
    return made


def settle(qtbot, panel: CurvesPanel) -> None:
    qtbot.waitUntil(lambda: panel.settled, timeout=20_000)


def test_section_of_tilted_planes_are_straight_lines():
    """Closed form: a slope of 1 nm/µm rises by 0.5 nm over half a micrometre."""
    steep, gentle = sections([tilted(1e-3, "a"), tilted(2e-4, "b", n=50)], (-0.25e-6, 0, 0.25e-6, 0))
    assert steep.at(0.5) == pytest.approx(0.25)
    assert steep.at(0.0) == pytest.approx(-0.25)
    assert gentle.at(0.25) == pytest.approx(0.0, abs=1e-9)
    assert gentle.at(0.6) is None


def test_distribution_of_a_ramp_is_even():
    (curve,) = distributions([HeightMap(np.linspace(0, 5 * NM, 10_000)[None], (1, 1))], None)
    np.testing.assert_allclose(curve.y, 100 / 5, rtol=0.03)  # 20 % in each nm; one point of 50 in a bin


def test_quantised_heights_leave_no_comb():
    """Nine levels 0.1 nm apart, equally often: 100 % over 0.9 nm, whatever the bins."""
    z = np.repeat(np.arange(9) * 0.1 * NM, 1000)[None]
    (curve,) = distributions([HeightMap(z, (1, 1))], None)
    assert curve.y.size >= 6
    assert np.trapezoid(curve.y, curve.x) == pytest.approx(100, rel=0.35)


def test_a_spike_does_not_squeeze_the_rest():
    z = np.random.default_rng(0).standard_normal((300, 300)) * NM
    z[0, 0] = 1000 * NM
    (curve,) = distributions([HeightMap(z, (1, 1))], None)
    assert curve.y.size > 50
    assert curve.y.max() == pytest.approx(100 / np.sqrt(2 * np.pi), rel=0.06)  # Gauss; 0.1 nm bins of 3600 points


def test_a_map_without_heights_has_an_empty_distribution():
    (curve,) = distributions([HeightMap([[np.nan]], (1, 1))], None)
    assert curve.x.size == 0
    assert curve.at(0.0) is None


def test_curves_follow_tiles_section_and_tab(qtbot, panel):
    panel.set_curves_source(
        [state_of(tilted(1e-3, "a", 1000, 1e-9)), state_of(None), state_of(tilted(2e-3, "b"), "#AA3377")]
    )
    settle(qtbot, panel)
    assert panel.told == MIDDLE
    assert [round(curve.at(0.25), 6) for curve in panel.curves] == [-0.25, -0.5]
    panel.set_section((0.0, -4e-7, 0.0, 4e-7))
    settle(qtbot, panel)
    assert [curve.at(0.4) for curve in panel.curves] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert panel.told == ""
    panel.tabs.setCurrentIndex(1)
    settle(qtbot, panel)
    assert panel.kind is KINDS[1]
    assert panel.curves[0].at(0.1) == pytest.approx(100, rel=0.25)  # 1 nm in all, in bins of four to six levels
    panel.set_curves_source([])
    settle(qtbot, panel)
    assert panel.curves == []


def test_the_same_again_works_out_nothing(qtbot, panel):
    states = [state_of(tilted(1e-3, "a"))]
    panel.set_curves_source(states)
    settle(qtbot, panel)
    before = panel.curves
    panel.set_curves_source(list(states))
    panel.set_section(None)
    assert panel.settled
    assert panel.curves is before


def test_legend_reads_along(qtbot, panel):
    panel.set_curves_source([state_of(tilted(1e-3, "a")), state_of(tilted(2e-3, "b"))])
    settle(qtbot, panel)
    plot = panel.plot
    assert plot is not None
    box = plot.getPlotItem().vb
    plot.scene().sigMouseMoved.emit(box.mapViewToScene(QPointF(0.75, 0.0)))
    assert panel.legend.values == pytest.approx((0.25, 0.5), abs=1e-6)
    assert panel.told.startswith("at 0.75 µm")


def test_colours_of_specimens_are_drawn(qtbot, panel):
    panel.set_curves_source([state_of(HeightMap(np.zeros((50, 50)), (1e-8, 1e-8), "a"), "#228833")])
    settle(qtbot, panel)
    wanted = QColor("#228833")

    def drawn() -> bool:
        image = panel.plot.grab().toImage()
        inks = [QColor(image.pixel(image.width() // 2, y)) for y in range(image.height())]
        # Smoothing mixes the line with the background, which keeps the hue.
        return any(ink.saturation() > 60 and abs(ink.hue() - wanted.hue()) < 8 for ink in inks)

    qtbot.waitUntil(drawn)


def test_follows_the_theme(qtbot, panel, qapp):
    panel.set_curves_source([state_of(tilted(1e-3, "a"))])
    settle(qtbot, panel)
    before = theme().pin
    palette, sheet, style = qapp.palette(), qapp.styleSheet(), qapp.style().objectName()
    try:
        seen = []
        for pin in ("dark", "light"):
            theme().set_pin(pin)
            panel.changeEvent(_palette_change())
            assert panel.plot.backgroundBrush().color() == colour("panel")
            seen.append(panel.plot.backgroundBrush().color().lightness())
        assert seen[0] < 60 < 200 < seen[1]
    finally:
        theme().set_pin(before)
        qapp.setPalette(palette)
        qapp.setStyleSheet(sheet)
        qapp.setStyle(style)


def _palette_change():
    from PySide6.QtCore import QEvent

    return QEvent(QEvent.Type.PaletteChange)


def test_hidden_it_works_out_nothing(qtbot):
    made = CurvesPanel()
    qtbot.addWidget(made)
    made.set_curves_source([state_of(tilted(1e-3, "a"))])
    assert made.settled
    assert made.curves == []
    assert made.plot is None
    made.show()
    settle(qtbot, made)
    assert len(made.curves) == 1


def test_maps_are_not_kept(qtbot, panel):
    scan = tilted(1e-3, "a")
    ref = weakref.ref(scan)
    panel.set_curves_source([state_of(scan)])
    settle(qtbot, panel)
    del scan
    panel.set_curves_source([])

    def gone() -> bool:
        gc.collect()
        return ref() is None

    qtbot.waitUntil(gone)


def test_the_plotting_library_is_not_imported_with_the_panel():
    code = "import sys, app.curves.section_plot, app.tiles.grid; sys.exit('pyqtgraph' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_spectrum_and_window_curve_have_tabs_of_their_own(qtbot, panel):
    rng = np.random.default_rng(3)
    maps = [HeightMap(sq * rng.standard_normal((64, 64)), pitch=(1e-8, 1e-8)) for sq in (1e-9, 5e-9)]
    panel.set_curves_source([state_of(scan) for scan in maps])
    for title, power in (("Spectrum", 2), ("RMS by window", 1)):
        panel.tabs.setCurrentIndex([kind.title for kind in KINDS].index(title))
        settle(qtbot, panel)
        quiet, rough = panel.curves
        # white noise: a level spectrum, and an RMS that hardly grows; five times the height everywhere
        assert np.median(rough.y) / np.median(quiet.y) == pytest.approx(5**power, rel=0.2)
        assert panel.told == panel.kind.note != ""


def waves_and_grains(wave: float, grain: float, count: int, seed: int) -> list[HeightMap]:
    """Long waves and white noise: the noise rules small windows, the waves large ones."""
    rng = np.random.default_rng(seed)
    x = np.sin(2 * np.pi * np.arange(128) / 100)
    return [
        HeightMap((wave * x + grain * rng.standard_normal((128, 128))) * (1 + 0.02 * n), (1e-8, 1e-8), f"{seed} {n}")
        for n in range(count)
    ]


def test_window_curves_say_who_changes_places(qtbot, panel):
    """Without waves 2 nm everywhere; with waves of 9 nm amplitude 1 nm in small windows and 6.4 nm in large ones."""
    spots = {"glass": waves_and_grains(0.0, 2 * NM, 3, 1), "film": waves_and_grains(9 * NM, NM, 3, 2)}
    tiles = [state_of(scans[0]) for scans in spots.values()]
    panel.set_curves_source(tiles, spots)
    settle(qtbot, panel)
    assert panel.said.sentences == ()
    assert panel.said.isHidden()
    panel.tabs.setCurrentIndex([kind.title for kind in KINDS].index("RMS by window"))
    settle(qtbot, panel)
    (sentence,) = panel.said.sentences
    expected = crossings({name: [window_curve(s) for s in scans] for name, scans in spots.items()}, ["glass", "film"])
    assert sentence == expected[0].told
    assert sentence.startswith("Below windows of ") and sentence.endswith("film is smoother, above it glass.")
    assert panel.said.isVisible()
    assert panel.said.lines == [sentence]
    panel.resize(700, 150)
    assert panel.said.lines == [sentence]
    panel.resize(700, 250)
    panel.set_curves_source(tiles[:1], {"glass": spots["glass"]})
    settle(qtbot, panel)
    assert panel.said.isHidden()
    panel.set_curves_source(tiles, {"glass": spots["glass"], "other": waves_and_grains(0.0, 3 * NM, 3, 3)})
    settle(qtbot, panel)
    assert panel.said.sentences == (NONE,)


def test_more_sentences_than_lines_are_in_the_tool_tip(qtbot):
    said = Said()
    qtbot.addWidget(said)
    said.set_sentences([f"{n} crosses." for n in "ABCDE"])
    assert said.lines == ["A crosses.", "B crosses.", "And 3 more."]
    assert said.toolTip().splitlines() == ["A crosses.", "B crosses.", "C crosses.", "D crosses.", "E crosses."]
    said.set_low(True)
    assert said.lines == ["A crosses. B crosses. C crosses. D crosses. E crosses."]
    said.set_sentences(["A crosses."])
    said.set_low(False)
    assert (said.lines, said.toolTip()) == (["A crosses."], "")
    said.set_sentences([])
    assert said.lines == []
