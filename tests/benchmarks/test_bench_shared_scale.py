"""Toggling the shared scale on 24 tiles, against stock image items on the full arrays.

Run with:  pytest tests/benchmarks --benchmark-enable --benchmark-only -m "long or not long"
Both run in one process on the same maps, so the ratio of their times is the result; no time is asserted. A round is one
toggle with everything that is repainted at once; levels and clipped shares follow in the background between rounds.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from PySide6.QtWidgets import QApplication, QWidget
from pytest_benchmark.fixture import BenchmarkFixture
from pytestqt.qtbot import QtBot

from app.tiles.grid import TileGrid
from app.tiles.state import TileState
from core.colours import height_table
from core.heightmap import HeightMap

TILES = 24
ROOM = 1600, 1000
NM = 1e-9
SHARED = (-20 * NM, 20 * NM)
OWN = [(-(3 + 0.1 * i) * NM, (3 + 0.1 * i) * NM) for i in range(TILES)]
SIDES = [1024, pytest.param(4096, marks=pytest.mark.long)]


def maps(side: int) -> list[HeightMap]:
    """Noise; two different arrays are enough, for every tile reduces its own."""
    rng = np.random.default_rng(0)
    own = [HeightMap(rng.standard_normal((side, side)) * NM, (1e-9, 1e-9)) for _ in range(2)]
    return [own[i % 2].named(str(i)) for i in range(TILES)]


def settle(qtbot: QtBot, grid: TileGrid) -> None:
    qtbot.waitUntil(lambda: grid.settled, timeout=120_000)


def tiles(qtbot: QtBot, scans: list[HeightMap]) -> TileGrid:
    grid = TileGrid()
    qtbot.addWidget(grid)
    grid.resize(*ROOM)
    grid.show()
    grid.set_tiles(
        [
            TileState(scan.name, scan.name, rank=i + 1, scan=scan, own_range=OWN[i], reading="Sq 1.0 nm")
            for i, scan in enumerate(scans)
        ]
    )
    grid.set_limits(*SHARED)
    settle(qtbot, grid)
    return grid


def toggle_tiles(grid: TileGrid) -> Callable[[], None]:
    shared = [True]

    def toggle() -> None:
        shared[0] = not shared[0]
        grid.set_shared(shared[0])
        QApplication.processEvents()

    return toggle


def stock(qtbot: QtBot, scans: list[HeightMap]) -> tuple[QWidget, Callable[[], None]]:
    """The same with the plotting library's own image items on float32 copies of the full arrays."""
    import pyqtgraph as pg

    view = pg.GraphicsLayoutWidget()
    qtbot.addWidget(view)
    view.resize(*ROOM)
    images = []
    for i, scan in enumerate(scans):
        box = view.addViewBox(row=i // 6, col=i % 6, lockAspect=True, enableMenu=False)
        image = pg.ImageItem(scan.z.astype(np.float32), axisOrder="row-major", levels=SHARED)
        image.setLookupTable(height_table())
        box.addItem(image)
        images.append(image)
    view.show()
    QApplication.processEvents()
    shared = [True]

    def toggle() -> None:
        shared[0] = not shared[0]
        for image, own in zip(images, OWN, strict=True):
            image.setLevels(SHARED if shared[0] else own)
        QApplication.processEvents()

    return view, toggle


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.benchmark(group="toggle the shared scale of 24 tiles")
def test_bench_tiles(benchmark: BenchmarkFixture, qtbot: QtBot, side: int) -> None:
    grid = tiles(qtbot, maps(side))
    benchmark.pedantic(toggle_tiles(grid), setup=lambda: settle(qtbot, grid), rounds=30)
    settle(qtbot, grid)
    assert {grid.tile(key).limits for key in grid.keys} in ({SHARED}, set(OWN))


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.benchmark(group="toggle the shared scale of 24 tiles")
def test_bench_stock_items(benchmark: BenchmarkFixture, qtbot: QtBot, side: int) -> None:
    view, toggle = stock(qtbot, maps(side))
    benchmark.pedantic(toggle, rounds=30)
    assert view.isVisible()
