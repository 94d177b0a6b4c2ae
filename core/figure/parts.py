"""The pieces that the figure is drawn of: text, rectangles, a map with its scale bar, the bar of the shared scale."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from core.colours import OVER, UNDER, height_table
from core.display import Level, level, paint, pixel_table
from core.figure.layout import TEXT, Box
from core.figure.text import REGULAR, SEMIBOLD, drawable, font, width
from core.heightmap import HeightMap
from core.sheet.words import common_unit, range_ends
from core.units import format_length, metres_per

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

RGB = tuple[int, int, int]
BADGE = 18.0  # height of a rank badge
FINEST = 600  # points per inch of page that vector files keep of a map: finer than print or a projected slide shows
LEAST, LARGEST = 256, 2048  # points a side that a map keeps in any case, and at most; reduced with its peaks kept


@dataclass(frozen=True, slots=True)
class Inks:
    """The colours of everything that is not data."""

    page: str
    ink: str
    muted: str
    warning: str
    edge: str


LIGHT = Inks(page="#ffffff", ink="#1a2230", muted="#48546a", warning="#b3261e", edge="#c9d0da")
DARK = Inks(page="#12161c", ink="#eef2f7", muted="#aab5c4", warning="#ff8f85", edge="#3a4454")


def scale_bar_length(side: float) -> float:
    """Length of a scale bar: the largest of 1, 2, 5 × 10^k that is not above a quarter of the side.

    Parameters
    ----------
    side : float
        Width of the map, any unit of length.

    Returns
    -------
    float
        In the same unit.

    Examples
    --------
    >>> scale_bar_length(10.0), scale_bar_length(512.0), scale_bar_length(80.0)
    (2.0, 100.0, 20.0)
    """
    most = side / 4 * (1 + 1e-9)
    power = math.floor(math.log10(most))
    step = max(step for step in (1, 2, 5) if step * 10.0**power <= most)
    # By way of text, 1 × 10^-7 is the double nearest to 1e-7, as everybody writes it.
    return float(f"{step}e{power}")


def bar_text(side: float) -> str:
    """The length of the scale bar of a map, such as “2 µm”."""
    return format_length(scale_bar_length(side))


class Pen:
    """Draws on a matplotlib figure in talk points from the top left corner of the page.

    Parameters
    ----------
    figure : Figure
        Empty; its size is the page's.
    scale : float
        Points on this page for one talk point.
    inks : Inks
        Light or dark.
    snap : bool
        Place maps on whole pixels and reduce them to exactly these, for a picture made of pixels. Otherwise maps are
        kept at their own resolution and the reader's program scales them.
    """

    def __init__(self, figure: Figure, scale: float, inks: Inks, *, snap: bool) -> None:
        self.figure, self.scale, self.inks, self.snap = figure, scale, inks, snap
        wide, tall = figure.get_size_inches()
        self.page = wide * 72 / scale, tall * 72 / scale

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = TEXT,
        weight: int = REGULAR,
        colour: str = "",
        align: str = "left",
    ) -> None:
        """A line of text whose upper edge is at `y`. Nothing in it is read as a formula."""
        told = drawable(text)
        self.figure.text(
            x / self.page[0],
            1 - (y + size) / self.page[1],
            told,
            fontproperties=font(told, size * self.scale, weight),
            color=colour or self.inks.ink,
            ha=align,
            va="baseline",
            parse_math=False,
        )

    def box(self, box: Box, colour: str | RGB, *, alpha: float = 1.0, rounding: float = 0.0) -> None:
        """A filled rectangle, its corners rounded if wanted."""
        from matplotlib.patches import FancyBboxPatch, Rectangle

        x, y, w, h = self._share(box)
        face = colour if isinstance(colour, str) else _hex(colour)
        style: Any = {"facecolor": face, "edgecolor": "none", "linewidth": 0, "alpha": alpha}
        if rounding == 0:
            self.figure.add_artist(Rectangle((x, y), w, h, transform=self.figure.transFigure, **style))
            return
        # Rounded corners are round only where both directions have one scale: drawn in inches of the page.
        inch = self.scale / 72
        self.figure.add_artist(
            FancyBboxPatch(
                (box.x * inch, (self.page[1] - box.y - box.h) * inch),
                box.w * inch,
                box.h * inch,
                boxstyle=f"round,pad=0,rounding_size={rounding * inch}",
                transform=self.figure.dpi_scale_trans,
                **style,
            )
        )

    def picture(self, box: Box, pixels: NDArray[np.uint8], label: str) -> None:
        """An array of colours that fills a box, pixel by pixel."""
        axes = self.figure.add_axes(self._share(self._snapped(box)), label=label)
        axes.set_axis_off()
        axes.imshow(pixels, interpolation="none", aspect="auto", resample=False)

    def axes(self, box: Box, label: str) -> Axes:
        """Empty axes for lines that stay lines in vector files."""
        axes = self.figure.add_axes(self._share(box), label=label)
        axes.set_axis_off()
        return axes

    def level(self, box: Box, scan: HeightMap) -> Level:
        """A map reduced to what a box of this size can show, its peaks kept."""
        if self.snap:
            placed = self._snapped(box)
            dots = self.figure.dpi * self.scale / 72
            return level(scan, round(placed.h * dots), round(placed.w * dots))
        dots = FINEST * self.scale / 72
        rows, columns = (min(LARGEST, max(LEAST, round(side * dots))) for side in (box.h, box.w))
        return level(scan, rows, columns)

    def _snapped(self, box: Box) -> Box:
        """The box moved to whole pixels of the picture; boxes of one size stay of one size."""
        if not self.snap:
            return box
        dots = self.figure.dpi * self.scale / 72
        left, wide, high = round(box.x * dots), round(box.w * dots), round(box.h * dots)
        foot = round((self.page[1] - box.y - box.h) * dots)  # from below, where the picture's own lattice begins
        return Box(left / dots, self.page[1] - (foot + high) / dots, wide / dots, high / dots)

    def _share(self, box: Box) -> tuple[float, float, float, float]:
        wide, tall = self.page
        return box.x / wide, 1 - (box.y + box.h) / tall, box.w / wide, box.h / tall


def coloured(shown: Level, limits: tuple[float, float]) -> NDArray[np.uint8]:
    """The colours of a map, shape (rows, columns, 3): heights, under, over, missing; masked points tinted."""
    packed = paint(shown, *limits, pixel_table(height_table()))
    return np.stack([packed >> 16 & 0xFF, packed >> 8 & 0xFF, packed & 0xFF], axis=-1).astype(np.uint8)


def scale_bar(pen: Pen, box: Box, side: float) -> bool:
    """The scale bar of a map in its lower left corner; whether its length is written there, or was too wide to be.

    Parameters
    ----------
    pen : Pen
        To draw with.
    box : Box
        Where the map is.
    side : float
        Width of the map, metres.
    """
    length = scale_bar_length(side) / side * box.w
    told = bar_text(side)
    written = fits_scale_bar(box, side)
    x, foot = box.x + 6, box.y + box.h - 6
    if written:
        wide = max(length, width(told, TEXT, SEMIBOLD))
        pen.box(Box(x - 2, foot - 28, wide + 12, 30), "#0b1020", alpha=0.55, rounding=3)
        pen.box(Box(x + 4, foot - 23, length, 3), "#ffffff")
        pen.text(x + 4, foot - 18, told, weight=SEMIBOLD, colour="#ffffff")
    else:
        x, foot = box.x + 3, box.y + box.h - 3
        pen.box(Box(x, foot - 7, length + 4, 7), "#0b1020", alpha=0.55)
        pen.box(Box(x + 2, foot - 5, length, 3), "#ffffff")
    return written


def fits_scale_bar(box: Box, side: float) -> bool:
    """Whether the length of the scale bar can be written on the map without covering much of it."""
    return box.h >= 84 and width(bar_text(side), TEXT, SEMIBOLD) + 20 <= box.w * 0.75


def height_bar(pen: Pen, bar: Box, limits: tuple[float, float]) -> None:
    """The bar of the shared scale with its numbers, its unit, and the colours of what lies outside."""
    low, high = limits
    unit = common_unit([max(abs(low), abs(high))])
    pen.picture(bar, np.ascontiguousarray(height_table()[::-1, None, :]), "height bar")
    pen.box(Box(bar.x, bar.y - 9, bar.w, 7), OVER)
    pen.box(Box(bar.x, bar.y + bar.h + 2, bar.w, 7), UNDER)
    x = bar.x + bar.w + 6
    lowest, highest = range_ends(low / metres_per(unit), high / metres_per(unit))
    pen.text(x, bar.y - 1, highest)
    pen.text(x, bar.y + bar.h - TEXT - 1, lowest)
    if low < 0 < high:
        y = bar.y + bar.h * high / (high - low)
        if bar.y + 26 < y < bar.y + bar.h - 26:
            pen.text(x, y - TEXT / 2 - 1, "0")
    pen.text(bar.x, bar.y - 29, unit, weight=SEMIBOLD)


def badge(pen: Pen, x: float, y: float, rank: int, colour: str, *, hollow: bool = False) -> None:
    """The rank on the specimen's colour; in a frame of it where the place is not proven."""
    wide = badge_width(rank)
    pen.box(Box(x, y - 1, wide, BADGE), colour, rounding=4)
    if hollow:
        pen.box(Box(x + 2, y + 1, wide - 4, BADGE - 4), pen.inks.page, rounding=2)
        pen.text(x + wide / 2, y, str(rank), weight=SEMIBOLD, align="center")
        return
    pen.text(x + wide / 2, y, str(rank), weight=SEMIBOLD, colour=on_colour(colour), align="center")


def badge_width(rank: int) -> float:
    """Width of the badge of a rank."""
    return max(20.0, width(str(rank), TEXT, SEMIBOLD) + 9)


def on_colour(colour: str) -> str:
    """Black or white, whichever stands out more on a colour (relative luminance of WCAG 2).

    >>> on_colour("#332288"), on_colour("#DDCC77")
    ('#ffffff', '#101418')
    """
    linear = [_linear(int(colour[i : i + 2], 16) / 255) for i in (1, 3, 5)]
    luminance = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    return "#101418" if luminance > 0.179 else "#ffffff"


def _linear(share: float) -> float:
    return share / 12.92 if share <= 0.04045 else float(((share + 0.055) / 1.055) ** 2.4)


def _hex(colour: RGB) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)
