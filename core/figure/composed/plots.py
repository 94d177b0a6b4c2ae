"""The row of curves: section, RMS by window and spectrum of the shown scans, told apart by colour and dashes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from core.colours import specimen_colour
from core.figure.composed.chosen import Chosen
from core.figure.composed.place import LEFT
from core.figure.layout import LINE, TEXT, Box
from core.figure.parts import Pen
from core.figure.text import SEMIBOLD, shorten, width
from core.heightmap import FloatArray
from core.measures.window_curve import window_curve
from core.sections import section
from core.sheet.words import common_unit, signed
from core.spectrum import fast_axis_spectrum
from core.units import format_number, metres_per

if TYPE_CHECKING:
    from matplotlib.lines import Line2D

PER_DECADE = 20
DASHES: tuple[tuple[float, ...], ...] = ((), (5, 2), (1.5, 1.5), (6, 2, 1.5, 2), (9, 2), (3, 1, 1, 1, 1, 1))
"""Of the lines, by the number of the scan: in greyscale they are told apart by these."""


@dataclass(frozen=True, eq=False)
class Plot:
    """Curves over common axes, in the units of the axes.

    Attributes
    ----------
    title, x : str
        What stands upward and where it is from; label of the axis across. Both with units.
    curves : tuple of (ndarray, ndarray)
        One for each scan.
    logarithmic : bool
        Whether both axes are.
    """

    title: str
    x: str
    curves: tuple[tuple[FloatArray, FloatArray], ...]
    logarithmic: bool


def plot_of(kind: str, shown: Sequence[Chosen]) -> Plot:
    """The curves of one kind."""
    maps = [one.scan.treated for one in shown]
    if kind == "section":
        reach = max(scan.size[1] for scan in maps) / 2
        cut = [section(scan, (-reach, 0.0), (reach, 0.0)) for scan in maps]
        heights = [np.abs(z[np.isfinite(z)]) for _, z in cut]
        x_unit = common_unit([2 * reach])
        y_unit = common_unit([max((float(z.max()) for z in heights if z.size), default=1e-9)])
        curves = [(x / metres_per(x_unit), z / metres_per(y_unit)) for x, z in cut]
        return Plot(f"Height, {y_unit}, along the middle row", f"distance, {x_unit}", tuple(curves), False)
    if kind == "window":
        found = [window_curve(scan) for scan in maps]
        curves = [_positive(curve.side / 1e-6, curve.rms / 1e-9) for curve in found]
        return Plot("RMS, nm, a plane off each window", "window side, µm", tuple(curves), True)
    lines = [fast_axis_spectrum(scan).one_sided().joined(PER_DECADE) for scan in maps]
    curves = [_positive(*line.in_units("nm", "um")[:2]) for line in lines]
    return Plot("PSD, nm²·µm, along the fast axis", "spatial frequency, 1/µm", tuple(curves), True)


def _positive(x: FloatArray, y: FloatArray) -> tuple[FloatArray, FloatArray]:
    there = (x > 0) & (y > 0)
    return x[there], y[there]


def ticks(low: float, high: float, *, logarithmic: bool, most: int) -> list[float]:
    """A few round values within a range: 1, 2 or 5 × 10^k apart, or powers of ten and their parts.

    >>> ticks(0.0, 10.0, logarithmic=False, most=6), ticks(0.02, 300.0, logarithmic=True, most=4)
    ([0.0, 2.0, 4.0, 6.0, 8.0, 10.0], [0.1, 1.0, 10.0, 100.0])
    """
    if not (math.isfinite(low) and math.isfinite(high) and low < high):
        return []
    if not logarithmic:
        power = math.floor(math.log10(high - low)) - 1
        for step in (factor * 10.0**exponent for exponent in range(power, power + 4) for factor in (1, 2, 5)):
            first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
            if last - first + 1 <= most:
                return [float(f"{number * step:.12g}") for number in range(first, last + 1)]
        return []
    powers = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    for parts in ((1, 2, 5), (1, 3), (1,)):
        found = [float(f"{p}e{power}") for power in powers for p in parts if low <= float(f"{p}e{power}") <= high]
        if len(found) <= most:
            return found
    stride = math.ceil(len(found) / most)
    return found[::-stride][::-1]


def draw_plot(pen: Pen, box: Box, plot: Plot, colours: Sequence[int]) -> None:
    """Axes, numbers, labels and curves; the numbers are chosen so that they find room."""
    limits = [_limits([curve[axis] for curve in plot.curves], plot.logarithmic, pad=axis == 1) for axis in (0, 1)]
    pen.text(box.x - LEFT, box.y - LINE - 2, shorten(plot.title, box.w + LEFT, TEXT), colour=pen.inks.muted)
    pen.text(box.x + box.w, box.y + box.h + 22, plot.x, colour=pen.inks.muted, align="right")
    pen.box(Box(box.x, box.y + box.h, box.w, 1), pen.inks.muted)
    pen.box(Box(box.x, box.y, 1, box.h), pen.inks.muted)
    for x, told in _labels(limits[0], plot.logarithmic, box.w):
        at = box.x + x * box.w
        pen.box(Box(at - 0.5, box.y + box.h, 1, 4), pen.inks.muted)
        pen.text(at, box.y + box.h + 5, told, align="center")
    for y, told in _labels(limits[1], plot.logarithmic, box.h / 2, upright=True):
        at = box.y + (1 - y) * box.h
        pen.box(Box(box.x - 4, at - 0.5, 4, 1), pen.inks.muted)
        pen.text(box.x - 7, max(box.y + 3, min(at, box.y + box.h - 6) - TEXT / 2 - 1), told, align="right")
    axes = pen.axes(box, plot.title)
    axes.set_xlim(*limits[0])
    axes.set_ylim(*limits[1])
    if plot.logarithmic:
        axes.set_xscale("log")
        axes.set_yscale("log")
    for number, ((along, up), colour) in enumerate(zip(plot.curves, colours, strict=True)):
        line = axes.plot(along, up, color=specimen_colour(colour), linewidth=1.6 * pen.scale)[0]
        _dash(line, number)


def draw_legend(pen: Pen, columns: Sequence[Box], shown: Sequence[Chosen]) -> None:
    """A piece of each line with its name, column by column."""
    if not columns:
        return
    lines = math.ceil(len(shown) / len(columns))
    for number, one in enumerate(shown):
        box = columns[number // lines]
        y = box.y + number % lines * LINE
        axes = pen.axes(Box(box.x, y, 34, LINE), f"legend {number}")
        axes.set_xlim(0, 1)
        axes.set_ylim(0, 1)
        _dash(
            axes.plot([0.03, 0.97], [0.5, 0.5], color=specimen_colour(one.colour), linewidth=2 * pen.scale)[0], number
        )
        pen.text(box.x + 42, y, shorten(one.name, box.w - 46, TEXT, SEMIBOLD), weight=SEMIBOLD)


def _dash(line: Line2D, number: int) -> None:
    pattern = DASHES[number % len(DASHES)]
    if pattern:
        line.set_dashes(pattern)


def _limits(values: Sequence[FloatArray], logarithmic: bool, *, pad: bool) -> tuple[float, float]:
    """The range of all values, a little wider up and down; wide enough for a constant too."""
    finite = [value[np.isfinite(value)] for value in values]
    there = [value for value in finite if value.size]
    if not there:
        return (0.1, 1.0) if logarithmic else (0.0, 1.0)
    low, high = min(float(value.min()) for value in there), max(float(value.max()) for value in there)
    if logarithmic:
        room = max((high / low) ** 0.06, 1.1) if pad else 1.0 if high > low else 1.1
        return low / room, high * room
    room = max((high - low) * 0.06, abs(high) * 1e-6, 1e-12) if pad or high == low else 0.0
    return low - room, high + room


def _labels(
    limits: tuple[float, float], logarithmic: bool, room: float, *, upright: bool = False
) -> list[tuple[float, str]]:
    """Places, as shares of the axis, and numbers; as many as stand apart."""
    low, high = limits
    for most in (6, 5, 4, 3, 2, 1):
        found = ticks(low, high, logarithmic=logarithmic, most=most)
        told = [signed(format_number(value)) for value in found]
        places = [
            (math.log(v / low) / math.log(high / low)) if logarithmic else (v - low) / (high - low) for v in found
        ]
        sizes = [TEXT + 10 if upright else width(text, TEXT) + 10 for text in told]
        span = room * 2 if upright else room
        apart = all((places[i + 1] - places[i]) * span >= (sizes[i] + sizes[i + 1]) / 2 for i in range(len(places) - 1))
        inside = upright or all(
            place_ * span - size / 2 >= -30 and place_ * span + size / 2 <= span + 12
            for place_, size in zip(places, sizes, strict=True)
        )
        if apart and inside:
            return list(zip(places, told, strict=True))
    return []
