"""The talk figure: all specimens on one height scale, and each on its own, with numbers, scale bars and conditions.

Drawn off screen from the record of the comparison, in millimetres and points. Text in SVG is drawn as outlines,
because the bundled typeface is not on the machine that opens the file; in PDF the typeface is embedded, so text can be
searched. The same comparison gives the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from core.atomic import atomic
from core.colours import specimen_colour
from core.errors import BenchError, UnknownFormat
from core.figure.layout import HEAD, LINE, SIDE, TEXT, TITLE, TOP, Cell, Layout, Need, arrange, box_aspect
from core.figure.parts import DARK, LIGHT, Pen, badge, badge_width, coloured, fits_scale_bar, height_bar, scale_bar
from core.figure.text import SEMIBOLD, shorten, width, wrap
from core.figure.told import Panel, Told, caption_text, headings, panels, warnings, ways
from core.results import Comparison
from core.sheet.record import PROGRAM, carried
from core.sheet.words import NONE, clean

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SLIDE_MM = (338.7, 190.5)
DPI = 150
SUFFIXES = (".png", ".svg", ".pdf")
DECENT = 0.85  # words are cut only if that makes the maps larger than by this
LONGEST_CAPTION = 6

RC: Any = {
    "svg.fonttype": "path",
    "svg.hashsalt": PROGRAM,
    "pdf.fonttype": 42,
    "image.composite_image": False,
    "text.hinting": "none",  # a line is as wide as its outlines, which the layout reckons with, at every resolution
}


def draw(
    comparison: Comparison,
    *,
    size_mm: tuple[float, float] = SLIDE_MM,
    dpi: float = DPI,
    title: str | None = None,
    dark: bool = False,
) -> Figure:
    """The figure of a comparison, maps at their own resolution.

    Parameters
    ----------
    comparison : Comparison
        With at least one specimen. More than 24 are not shown: the best 24 are.
    size_mm : (float, float), default a 16:9 slide
        Width and height of the page, millimetres. Type is scaled with the page: 14 points or more on the slide.
    dpi : float, default 150
        Dots per inch of a picture made of pixels.
    title : str, optional
        Replaces the title of the bench.
    dark : bool, default False
        Light text on a dark page. Colours of data stay.

    Returns
    -------
    matplotlib.figure.Figure
        Not known to any plotting state, so nothing has to be closed.

    Raises
    ------
    BenchError
        If there is no specimen, or the page is too small for them.
    """
    return _draw(comparison, size_mm, dpi, title, dark, snap=False)


def save(
    comparison: Comparison,
    path: str | Path,
    *,
    size_mm: tuple[float, float] = SLIDE_MM,
    dpi: float = DPI,
    title: str | None = None,
    dark: bool = False,
) -> None:
    """The figure as a file, by suffix: .png (pixels, with their physical size), .svg or .pdf.

    In .svg and .pdf maps keep their own resolution, up to 600 points per inch of page (and 2048 a side). Where a pixel
    shows several points, as in .png, it is their mean, or the point itself where one stands out by more than six robust
    standard deviations. The file carries treatment, hashes of the raw files and all readings, so that the comparison
    can be repeated from it.

    Parameters
    ----------
    comparison, size_mm, dpi, title, dark
        As for `draw`.
    path : str or Path
        Replaced whole or not at all.

    Raises
    ------
    UnknownFormat
        If the suffix is another.
    BenchError
        If there is no specimen, or the page is too small for them.
    FileProblem
        If the file cannot be written.
    """
    kind = Path(path).suffix.lower()
    if kind not in SUFFIXES:
        raise UnknownFormat(
            f"A figure cannot be written as “{kind or 'no suffix'}”", where=str(path), fix="Use .png, .svg or .pdf."
        )
    figure = _draw(comparison, size_mm, dpi, title, dark, snap=kind == ".png")
    with atomic(path) as temporary:
        _write(figure, temporary, kind, comparison, title)


def _write(figure: Figure, path: Path, kind: str, comparison: Comparison, title: str | None) -> None:
    from matplotlib import rc_context

    with rc_context(RC):
        figure.savefig(path, format=kind[1:], dpi=figure.dpi, metadata=_metadata(kind, comparison, title))


def _metadata(kind: str, comparison: Comparison, title: str | None) -> dict[str, Any]:
    """What the file says about itself. No date but that of the comparison: the same figure has the same bytes."""
    made_by = f"{PROGRAM} {comparison.version}"
    told = json.dumps(carried(comparison), allow_nan=False)  # plain ASCII: every kind of file can hold it
    name = _title(comparison, title)
    if kind == ".png":
        return {"Title": name, "Software": made_by, PROGRAM: told}
    if kind == ".svg":
        return {"Title": name, "Creator": [made_by], "Description": told, "Date": None}
    return {"Title": name, "Creator": made_by, "Producer": made_by, "Keywords": told, "CreationDate": None}


def _draw(
    comparison: Comparison,
    size_mm: tuple[float, float],
    dpi: float,
    title: str | None,
    dark: bool,
    *,
    snap: bool,
) -> Figure:
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    shown = panels(comparison)
    if not shown:
        raise BenchError("There is no specimen to draw", fix="Add scans that can be read.")
    inks = DARK if dark else LIGHT
    with rc_context(RC):
        figure = Figure(figsize=(size_mm[0] / 25.4, size_mm[1] / 25.4), dpi=dpi, facecolor=inks.page)
        FigureCanvasAgg(figure)
        pen = Pen(figure, min(size_mm[0] / SLIDE_MM[0], size_mm[1] / SLIDE_MM[1]), inks, snap=snap)
        plan = _plan(comparison, shown, pen)
        room = pen.page[0] - 2 * SIDE
        pen.text(SIDE, TOP, shorten(_title(comparison, title), room, TITLE, SEMIBOLD), size=TITLE, weight=SEMIBOLD)
        for (x, y), head in zip((plan.layout.head_a, plan.layout.head_b), plan.heads, strict=True):
            pen.text(x, y, head, size=HEAD, weight=SEMIBOLD)
        height_bar(pen, plan.layout.bar, comparison.shared_range)
        for number, (panel, cell) in enumerate(zip(shown, plan.layout.cells, strict=True)):
            _specimen(pen, panel, cell, plan, number, comparison.shared_range)
        _caption(pen, plan)
    return figure


@dataclass(frozen=True, slots=True)
class _Plan:
    """Layout and words together: the layout needs to know how much the words need, and the words what fits."""

    layout: Layout
    told: Told
    heads: tuple[str, str]
    red: list[str]
    caption: list[str]


def _plan(comparison: Comparison, shown: Sequence[Panel], pen: Pen) -> _Plan:
    """The most telling words that leave the maps a decent size."""
    plans = [plan for told in ways(shown) if (plan := _planned(comparison, shown, pen, told)) is not None]
    if not plans:
        raise BenchError(
            f"{len(shown)} specimens do not fit on this page",
            fix="Draw on a page nearer to 16:9, or compare fewer specimens at once.",
        )
    plans = [plan for plan in plans if plan.layout.stacked] or plans
    largest = max(_map_width(plan.layout) for plan in plans)
    return next(plan for plan in plans if _map_width(plan.layout) >= DECENT * largest)


def _planned(comparison: Comparison, shown: Sequence[Panel], pen: Pen, told: Told) -> _Plan | None:
    """The layout for one way of writing the numbers; None if it does not fit.

    Whether scale bars have their length written on the maps changes the caption, and the caption the layout: so it is
    made with the lengths on the maps, and again if they find no room there.
    """
    plan = _laid_out(comparison, shown, pen, told, bars_written=True)
    if plan is not None and not _bars_fit(shown, plan.layout):
        plan = _laid_out(comparison, shown, pen, told, bars_written=False)
    return plan


def _laid_out(
    comparison: Comparison, shown: Sequence[Panel], pen: Pen, told: Told, *, bars_written: bool
) -> _Plan | None:
    red, caption = _caption_lines(comparison, shown, pen, bars_written)
    beside_b = headings(comparison, told.note, stacked=False)[0]
    layout = arrange(
        Need(
            specimens=len(shown),
            page=pen.page,
            aspect=box_aspect([_aspect(panel) for panel in shown]),
            names=tuple(_name_width(panel) for panel in shown),
            value_lines=told.lines,
            text_room=told.room + 0.5,
            caption_lines=len(red) + len(caption),
            head_b_x=width(beside_b, HEAD, SEMIBOLD) + 36,
        )
    )
    if layout is None:
        return None
    heads = headings(comparison, told.note, stacked=layout.stacked)
    places = zip(heads, (layout.head_a, layout.head_b), strict=True)
    if any(x + width(head, HEAD, SEMIBOLD) > pen.page[0] - SIDE for head, (x, _) in places):
        return None
    return _Plan(layout, told, heads, red, caption)


def _specimen(pen: Pen, panel: Panel, cell: Cell, plan: _Plan, number: int, shared: tuple[float, float]) -> None:
    """Name, value, the two maps and the range of the second."""
    x, y, room = cell.text.x, cell.text.y, cell.text.w
    indent = badge_width(panel.rank) + 6 if panel.rank is not None else 0.0
    names_room = room - 6 if plan.layout.stacked else room  # a badge follows closely there
    names = wrap(panel.name, names_room, TEXT, SEMIBOLD, lines=plan.layout.name_lines, indent=indent) or [NONE]
    if not cell.beside:  # short names stand next to the value, long ones begin a line higher
        y += (plan.layout.name_lines - len(names)) * LINE
    if panel.rank is not None:
        badge(pen, x, y, panel.rank, specimen_colour(panel.colour), hollow=panel.aside or not panel.proven)
    for line in names:
        pen.text(x + indent, y, line, weight=SEMIBOLD)
        y, indent = y + LINE, 0.0
    for line in plan.told.values[number]:
        pen.text(x, y, shorten(line, room, TEXT), colour=pen.inks.muted if panel.aside else "")
        y += LINE
    treated, aspect = panel.scan.treated, _aspect(panel)
    shown = pen.level(cell.a.fitted(aspect), treated)  # once for both: a and b are of one size
    for box, limits, row in ((cell.a, shared, "a"), (cell.b, panel.scan.own_range, "b")):
        fitted = box.fitted(aspect)
        pen.picture(fitted, coloured(shown, limits), f"{row} {number}")
        scale_bar(pen, fitted, treated.size[1])
    told = plan.told.ranges[number]
    if cell.beside:
        pen.text(x, y, told, colour=pen.inks.muted)
    else:
        _range(pen, cell, told)


def _range(pen: Pen, cell: Cell, told: str) -> None:
    """The range of the own scale below its map: in the middle if it is narrow enough, else as near as there is room."""
    wide, b = width(told, TEXT), cell.b
    y = b.y + b.h + 4
    if wide <= b.w:
        pen.text(b.x + b.w / 2, y, told, colour=pen.inks.muted, align="center")
    elif wide <= b.x + b.w - cell.text.x:
        pen.text(b.x + b.w, y, told, colour=pen.inks.muted, align="right")
    else:
        pen.text(cell.text.x, y, told, colour=pen.inks.muted)


def _caption(pen: Pen, plan: _Plan) -> None:
    x, y = plan.layout.caption
    for line in plan.red:
        pen.text(x, y, line, colour=pen.inks.warning, weight=SEMIBOLD)
        y += LINE
    for line in plan.caption:
        pen.text(x, y, line, colour=pen.inks.muted)
        y += LINE


def _caption_lines(
    comparison: Comparison, shown: Sequence[Panel], pen: Pen, bars_written: bool
) -> tuple[list[str], list[str]]:
    """Lines that warn, and the others."""
    room = pen.page[0] - 2 * SIDE
    red = wrap(warnings(comparison), room, TEXT, SEMIBOLD, lines=2)
    told = caption_text(comparison, shown, bars_written=bars_written)
    return red, wrap(told, room, TEXT, lines=LONGEST_CAPTION - len(red))


def _name_width(panel: Panel) -> float:
    badge_room = 0.0 if panel.rank is None else badge_width(panel.rank) + 6
    return width(panel.name, TEXT, SEMIBOLD) + badge_room + 1


def _map_width(layout: Layout) -> float:
    return layout.cells[0].a.w


def _bars_fit(shown: Sequence[Panel], layout: Layout) -> bool:
    cell = layout.cells[0]
    return all(fits_scale_bar(cell.a.fitted(_aspect(panel)), panel.scan.treated.size[1]) for panel in shown)


def _aspect(panel: Panel) -> float:
    high, wide = panel.scan.treated.size
    return high / wide


def _title(comparison: Comparison, title: str | None) -> str:
    given = title if title is not None else comparison.title
    count = len(comparison.specimens)
    return clean(given).strip() or f"{count} specimen{'' if count == 1 else 's'} by {comparison.rank_by}"
