"""The reductions of one map that a picture draws: the whole map, and a finer window of it when the view is closer."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from PySide6.QtGui import QPainter

from app.document.jobs import Jobs, Ticket
from app.tiles.raster import Raster, Shade, shaded
from app.tiles.state import Range
from app.tiles.view import MARGIN, View, Wanted, seen, whole_map
from core.display import Level, level
from core.heightmap import HeightMap


class Levels:
    """Whatever is there is drawn at once; a sharper level is worked out in the background and replaces it.

    Parameters
    ----------
    jobs : Jobs
        Where levels are worked out.
    changed : callable
        Called when there is something better to draw.
    """

    def __init__(self, jobs: Jobs, changed: Callable[[], None]) -> None:
        self._jobs, self._changed = jobs, changed
        self._scan: HeightMap | None = None
        self._whole: Raster | None = None
        self._window: Raster | None = None
        self._asked: dict[bool, tuple[Wanted, Ticket]] = {}  # by whether the whole map was asked for
        self._lighting: dict[bool, tuple[Raster, float, Ticket]] = {}

    @property
    def scan(self) -> HeightMap | None:
        """The map."""
        return self._scan

    def set_scan(self, scan: HeightMap | None) -> None:
        """Reduce this map from now on; the levels of the former one stay until the new ones are there."""
        self.drop()
        self._scan = scan
        if scan is None:
            self._whole = self._window = None

    @property
    def shown(self) -> Level | None:
        """The sharpest level that is drawn."""
        raster = self._window or self._whole
        return raster.level if raster is not None else None

    @property
    def waits(self) -> bool:
        """Whether a level or its light is being worked out."""
        return bool(self._asked or self._lighting)

    def drop(self) -> None:
        """Forget what was asked for."""
        for whole in (True, False):
            self._forget(whole=whole)
            self._unlight(whole)

    def request(self, view: View, exaggeration: float | None) -> None:
        """Ask for the level that a view needs, unless it is there or asked for; lit with this exaggeration, if any."""
        if self._scan is None or view.width < 1 or view.height < 1:
            return
        need = seen(self._scan, view)
        whole = whole_map(self._scan, view)
        fits = need is not None and (whole.rows, whole.columns) == (need.rows, need.columns)
        if fits or self._whole is None:
            self._ask(self._scan, whole, whole)
        if fits:
            self._window = None
            self._forget(whole=False)
            self._unlight(False)
        elif need is not None:
            self._ask(self._scan, need, seen(self._scan, view, MARGIN) or need)
        if exaggeration is not None:
            self._light(self._whole, exaggeration, True)
            self._light(self._window, exaggeration, False)

    def draw(self, painter: QPainter, view: View, limits: Range, *, lit: bool) -> None:
        """Draw what there is."""
        if self._whole is not None and not self._hidden(view):
            self._whole.draw(painter, view, limits, lit=lit)
        if self._window is not None:
            self._window.draw(painter, view, limits, lit=lit)

    @property
    def empty(self) -> bool:
        """Whether there is nothing to draw yet."""
        return self._whole is None

    def _hidden(self, view: View) -> bool:
        """Whether the finer window hides the whole map."""
        if self._window is None or self._scan is None:
            return False
        need = seen(self._scan, view)
        return need is not None and self._window.shows.covers(need)

    def _forget(self, *, whole: bool) -> None:
        if whole in self._asked:
            self._asked.pop(whole)[1].drop()

    def _unlight(self, whole: bool) -> None:
        if whole in self._lighting:
            self._lighting.pop(whole)[2].drop()

    def _ask(self, scan: HeightMap, need: Wanted, wanted: Wanted) -> None:
        raster = self._whole if wanted.whole else self._window
        if raster is not None and raster.scan_is(scan) and raster.shows.covers(need):
            self._forget(whole=wanted.whole)
            return
        asked = self._asked.get(wanted.whole)
        if asked is not None and asked[0].covers(need):
            return
        self._forget(whole=wanted.whole)
        ticket = self._jobs.start(
            partial(_reduce, scan, wanted),
            done=partial(self._take, scan, wanted.whole),
            failed=partial(self._lost, wanted.whole),
        )
        self._asked[wanted.whole] = wanted, ticket

    def _take(self, scan: HeightMap, whole: bool, made: Level) -> None:
        self._asked.pop(whole, None)
        raster = Raster(scan, made)
        if whole:
            self._whole = raster
            if self._window is not None and not self._window.scan_is(scan):
                self._window = None
        else:
            self._window = raster
        self._changed()

    def _lost(self, whole: bool, error: Exception) -> None:
        """Hand what went wrong in the background to the one place where the window hears of errors."""
        self._asked.pop(whole, None)
        raise error

    def _light(self, raster: Raster | None, exaggeration: float, whole: bool) -> None:
        if raster is None or raster.lit_at == exaggeration:
            return
        asked = self._lighting.get(whole)
        if asked is not None and asked[:2] == (raster, exaggeration):
            return
        self._unlight(whole)
        ticket = self._jobs.start(
            lambda _: shaded(raster.level, raster.size, exaggeration),
            done=partial(self._take_light, whole, raster),
            failed=partial(self._lost_light, whole),
        )
        self._lighting[whole] = raster, exaggeration, ticket

    def _take_light(self, whole: bool, raster: Raster, shade: Shade) -> None:
        self._lighting.pop(whole, None)
        raster.light(shade)
        self._changed()

    def _lost_light(self, whole: bool, error: Exception) -> None:
        self._lighting.pop(whole, None)
        raise error


def _reduce(scan: HeightMap, wanted: Wanted, _ticket: Ticket) -> Level:
    return level(scan, wanted.rows, wanted.columns, wanted.window)
