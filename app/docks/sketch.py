"""A small drawing for each reading: where on a profile, a curve or a map its number is found. A picture, no data."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.theme import colour, theme
from core.heightmap import FloatArray
from core.measures import CATALOGUE

HEIGHT = 104
X = np.linspace(0, 1, 241)
_WAVES = ((2.0, 0.30, 0.4), (5.0, 0.22, 1.9), (9.0, 0.14, 0.2), (17.0, 0.06, 2.6))
_SUM = np.sum([a * np.sin(2 * np.pi * f * X + p) for f, a, p in _WAVES], axis=0)
PROFILE: FloatArray = _SUM - _SUM.mean()


class Sketch(QWidget):
    """The drawing of one reading, in the colours of the theme."""

    def __init__(self) -> None:
        super().__init__()
        self._symbol = ""
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        theme().changed.connect(self.update)

    def sizeHint(self) -> QSize:
        return QSize(260, HEIGHT)

    def show_reading(self, symbol: str) -> None:
        """Draw this reading."""
        self._symbol = symbol
        self.setAccessibleName(f"Sketch of {symbol}, {CATALOGUE[symbol].name}")
        self.update()

    def paintEvent(self, _event: QPaintEvent) -> None:
        if self._symbol:
            with QPainter(self) as painter:
                painter.setRenderHint(QPainter.RenderHint.Antialiasing)
                SKETCHES.get(self._symbol, _hills)(_Pen(painter, QRectF(self.rect()).adjusted(4, 8, -4, -8)))


class _Pen:
    """Draws in a box where x runs from 0 to 1 and y from −1 at the bottom to 1 at the top."""

    def __init__(self, painter: QPainter, box: QRectF) -> None:
        self.painter, self.box = painter, box

    def at(self, x: float, y: float) -> QPointF:
        return QPointF(self.box.left() + x * self.box.width(), self.box.center().y() - y * self.box.height() / 2)

    def curve(self, x: FloatArray, y: FloatArray, role: str = "text", width: float = 1.6) -> None:
        self._ink(role, width)
        self.painter.drawPolyline(QPolygonF([self.at(a, b) for a, b in zip(x, y, strict=True)]))

    def line(self, x0: float, y0: float, x1: float, y1: float, role: str = "accent", *, dashed: bool = False) -> None:
        self._ink(role, 1.4, dashed)
        self.painter.drawLine(self.at(x0, y0), self.at(x1, y1))

    def level(self, y: float, role: str = "accent", *, dashed: bool = True) -> None:
        self.line(0, y, 1, y, role, dashed=dashed)

    def fill(self, x: FloatArray, top: FloatArray, bottom: FloatArray | float, role: str = "accent") -> None:
        under = np.broadcast_to(bottom, top.shape)
        ink = QColor(colour(role))
        ink.setAlpha(70)
        self.painter.setPen(Qt.PenStyle.NoPen)
        self.painter.setBrush(ink)
        points = [self.at(a, b) for a, b in zip(x, top, strict=True)]
        points += [self.at(a, b) for a, b in zip(x[::-1], under[::-1], strict=True)]
        self.painter.drawPolygon(QPolygonF(points))

    def span(self, x: float, low: float, high: float) -> None:
        """An arrow with two heads, upright."""
        self.line(x, low, x, high)
        for end, sign in ((high, 1.0), (low, -1.0)):
            tip = self.at(x, end)
            for side in (-4.0, 4.0):
                self.painter.drawLine(tip, tip + QPointF(side, 6.0 * sign))

    def reach(self, y: float, left: float, right: float) -> None:
        """An arrow with two heads, level."""
        self.line(left, y, right, y)
        for end, sign in ((right, -1.0), (left, 1.0)):
            tip = self.at(end, y)
            for side in (-4.0, 4.0):
                self.painter.drawLine(tip, tip + QPointF(6.0 * sign, side))

    def _ink(self, role: str, width: float, dashed: bool = False) -> None:
        pen = QPen(colour(role), width)
        if dashed:
            pen.setStyle(Qt.PenStyle.DashLine)
        self.painter.setPen(pen)
        self.painter.setBrush(Qt.BrushStyle.NoBrush)


def _spread(pen: _Pen) -> None:
    sq = float(np.sqrt(np.mean(PROFILE**2)))
    pen.fill(X, np.full_like(X, sq), -sq)
    pen.level(0, "muted")
    pen.curve(X, PROFILE)
    pen.span(0.97, 0, sq)


def _between(low: float, high: float) -> Callable[[_Pen], None]:
    def draw(pen: _Pen) -> None:
        pen.level(low)
        pen.level(high)
        pen.level(0, "muted")
        pen.curve(X, PROFILE)
        pen.span(0.97, low, high)

    return draw


def _distribution(skew: float, tails: float) -> Callable[[_Pen], None]:
    """A height distribution beside the Gaussian one."""

    def draw(pen: _Pen) -> None:
        u = (X - 0.5) * 7
        gauss = np.exp(-(u**2) / 2)
        peak = u / (1 + skew * np.tanh(u))
        shape = np.exp(-(np.abs(peak) ** tails) / 2)
        pen.fill(X, 1.7 * shape - 0.9, -0.9)
        pen.curve(X, 1.7 * gauss - 0.9, "muted", 1.2)
        pen.curve(X, 1.7 * shape - 0.9)

    return draw


def _slope(pen: _Pen) -> None:
    pen.curve(X, PROFILE)
    steep = int(np.argmax(np.gradient(PROFILE)))
    rise = np.gradient(PROFILE, X)[steep]
    x, y, run = X[steep], PROFILE[steep], 0.022
    pen.line(x - run, y - rise * run, x + run, y - rise * run, "muted")
    pen.line(x + run, y - rise * run, x + run, y + rise * run, "muted")
    pen.line(x - run, y - rise * run, x + run, y + rise * run)


def _area(pen: _Pen) -> None:
    pen.level(-0.9, "muted", dashed=False)
    pen.curve(X, PROFILE, "accent", 2.2)


def _correlation(pen: _Pen) -> None:
    fall = 1.8 * np.exp(-((X / 0.22) ** 1.4)) * np.cos(2.2 * X) - 0.8
    threshold = 0.2 * 1.8 - 0.8
    pen.level(-0.8, "muted", dashed=False)
    pen.level(threshold)
    pen.curve(X, fall)
    pen.reach(-0.95, 0, float(X[np.argmax(fall < threshold)]))


def _lobe(pen: _Pen) -> None:
    """The lobe of the autocorrelation from above: its shortest over its longest reach."""
    turn = np.linspace(0, 2 * np.pi, 121)
    long, short, angle = 0.85, 0.42, 0.5
    aspect = pen.box.height() / pen.box.width()
    a, b = long * np.cos(turn), short * np.sin(turn)
    x, y = a * math.cos(angle) - b * math.sin(angle), a * math.sin(angle) + b * math.cos(angle)
    pen.curve(0.5 + x * aspect / 2, y)
    for reach, way, role in ((long, angle, "muted"), (short, angle + math.pi / 2, "accent")):
        dx, dy = reach * math.cos(way), reach * math.sin(way)
        pen.line(0.5, 0, 0.5 + dx * aspect / 2, dy, role)


def _lay(pen: _Pen) -> None:
    """Ridges, and square to them the direction in which heights change most."""
    aspect = pen.box.height() / pen.box.width()
    lean = 0.45
    for place in np.linspace(0.1, 0.9, 9):
        pen.line(place - lean * aspect / 2, 0.9, place + lean * aspect / 2, -0.9, "muted")
    pen.line(0.5, 0, 0.5 + 0.8 * aspect / 2, 0.8 * lean)
    pen.line(0.5, 0, 0.5 + 0.8 * aspect / 2, 0, "text", dashed=True)


def _ratio_curve() -> FloatArray:
    ordered = np.sort(PROFILE)[::-1]
    curve: FloatArray = 0.85 * ordered / np.abs(ordered).max()
    return curve


def _core_line() -> tuple[FloatArray, FloatArray]:
    curve = _ratio_curve()
    middle = slice(len(X) * 3 // 10, len(X) * 7 // 10)
    slope, level = np.polyfit(X[middle], curve[middle], 1)
    return curve, level + slope * X


def _core(pen: _Pen) -> None:
    curve, line = _core_line()
    pen.fill(X, np.clip(curve, line[-1], line[0]), line[-1])
    pen.curve(X, line, "accent", 1.2)
    pen.level(line[0], "muted")
    pen.level(line[-1], "muted")
    pen.curve(X, curve)
    pen.span(0.04, line[-1], line[0])


def _tail(upper: bool) -> Callable[[_Pen], None]:
    def draw(pen: _Pen) -> None:
        curve, line = _core_line()
        limit = line[0] if upper else line[-1]
        pen.fill(X, np.maximum(curve, limit) if upper else np.minimum(curve, limit), limit)
        pen.level(limit, "accent")
        pen.curve(X, curve)

    return draw


def _ratio(first: float, last: float) -> Callable[[_Pen], None]:
    """The height between two material ratios, or the height at one."""

    def draw(pen: _Pen) -> None:
        curve = _ratio_curve()
        heights = [float(np.interp(share, X, curve)) for share in (first, last)]
        for share, height in zip((first, last), heights, strict=True):
            pen.line(share, -0.95, share, height, "accent", dashed=True)
            pen.line(0, height, share, height, "accent", dashed=True)
        pen.curve(X, curve)
        if first != last:
            pen.span(0.03, heights[1], heights[0])

    return draw


def _volume(first: float, last: float, *, void: bool) -> Callable[[_Pen], None]:
    """What lies under the curve (material) or over it (void) between two ratios."""

    def draw(pen: _Pen) -> None:
        curve = _ratio_curve()
        here = (first <= X) & (last >= X)
        top, bottom = (float(np.interp(share, X, curve)) for share in (first, last))
        if void:
            pen.fill(X, np.full_like(X, top), np.clip(curve, bottom, top))
        else:
            pen.fill(X[here], curve[here], bottom)
        pen.curve(X, curve)

    return draw


def _hills(pen: _Pen) -> None:
    _features(pen, PROFILE)


def _dales(pen: _Pen) -> None:
    _features(pen, PROFILE, down=True)


def _features(pen: _Pen, profile: FloatArray, *, down: bool = False) -> None:
    """Hills (or dales) shaded above (below) their highest (lowest) saddle, summits marked."""
    z = -profile if down else profile
    inner = np.arange(1, len(z) - 1)
    summits = inner[(z[inner] > z[inner - 1]) & (z[inner] >= z[inner + 1])]
    for left, summit, right in zip([0, *summits[:-1]], summits, [*summits[1:], len(z) - 1], strict=True):
        saddle = max(z[left:summit].min(), z[summit : right + 1].min())
        if z[summit] - saddle < 0.25:
            continue
        here = np.flatnonzero((z >= saddle) & (np.arange(len(z)) >= left) & (np.arange(len(z)) <= right))
        here = here[(here >= left + np.argmin(z[left:summit])) & (here <= summit + np.argmin(z[summit : right + 1]))]
        pen.fill(X[here], profile[here], float(-saddle if down else saddle))
        pen.painter.setPen(Qt.PenStyle.NoPen)
        pen.painter.setBrush(colour("accent"))
        pen.painter.drawEllipse(pen.at(X[summit], float(profile[summit])), 3, 3)
    pen.curve(X, profile)


def _zone(tightest: bool) -> Callable[[_Pen], None]:
    """Two parallel planes that hold the surface: beside the fitted one, or as near to each other as can be."""

    def draw(pen: _Pen) -> None:
        bowed = PROFILE + 0.8 * (X - 0.2) ** 2 - 0.2
        slope, level = np.polyfit(X, bowed, 1)
        slope += 0.12 if tightest else 0.0
        rest = bowed - slope * X
        for offset in (rest.min(), rest.max()):
            pen.line(0, float(offset), 1, float(slope + offset), dashed=True)
        if not tightest:
            pen.line(0, float(level), 1, float(slope + level), "muted")
        pen.curve(X, bowed)

    return draw


_TOP, _BOTTOM = float(PROFILE.max()), float(PROFILE.min())
_LOW, _HIGH = (float(q) for q in np.quantile(PROFILE, [0.03, 0.97]))

SKETCHES: dict[str, Callable[[_Pen], None]] = {
    "Sq": _spread, "Sa": _spread,
    "Sz": _between(_BOTTOM, _TOP), "Sp": _between(0, _TOP), "Sv": _between(_BOTTOM, 0), "S99.8": _between(_LOW, _HIGH),
    "Ssk": _distribution(0.45, 2.0), "Sku": _distribution(0.0, 1.1),
    "Sdq": _slope, "Sdr": _area,
    "Sal": _correlation, "Str": _lobe, "Std": _lay,
    "Sk": _core, "Spk": _tail(True), "Svk": _tail(False), "Smr1": _tail(True), "Smr2": _tail(False),
    "Smr": _ratio(0.5, 0.5), "Smc": _ratio(0.1, 0.1), "Sxp": _ratio(0.025, 0.5),
    "Vmp": _volume(0, 0.1, void=False), "Vmc": _volume(0.1, 0.8, void=False),
    "Vvc": _volume(0.1, 0.8, void=True), "Vvv": _volume(0.8, 1, void=True),
    "S5v": _dales, "Sda": _dales, "Sdv": _dales,
    "FLTt": _zone(False), "FLTp": _zone(False), "FLTv": _zone(False), "FLTq": _spread, "FLTt(MZ)": _zone(True),
    "PV99": _between(_LOW, _HIGH), "PVr": _between(_LOW, _HIGH),
}  # fmt: skip
"""How each reading is drawn; those not named are read on hills."""
