"""Drawing a composed figure: the largest type that leaves the maps a decent size, then every row in its place.

Text stays text and lines stay lines in PDF and SVG; maps keep their own points, up to 600 for each inch of the page.
"""

from __future__ import annotations

import io
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from core.atomic import atomic
from core.colours import height_table, specimen_colour
from core.errors import FigureError, UnknownFormat
from core.figure.composed import ranking
from core.figure.composed.caption import caption_of, heading
from core.figure.composed.chosen import Chosen, chosen, own_ranges, values
from core.figure.composed.fairness import Fairness, fairness
from core.figure.composed.place import METER, Need, Placement, place
from core.figure.composed.plan import KEY, MM, PAGES, FigurePlan
from core.figure.composed.plots import draw_legend, draw_plot, plot_of
from core.figure.layout import HEAD, LINE, TEXT, TITLE, Box, box_aspect
from core.figure.parts import DARK, LIGHT, Pen, badge, badge_width, coloured, fits_scale_bar, height_bar, scale_bar
from core.figure.slide import RC, SUFFIXES
from core.figure.text import SEMIBOLD, shorten, width, wrap
from core.figure.told import warnings
from core.oblique import Stage, oblique, stage
from core.results import Comparison
from core.sheet.record import PROGRAM, carried
from core.sheet.words import clean

if TYPE_CHECKING:
    from matplotlib.figure import Figure

SHRINK = 0.93  # from one size of type that is tried to the next
DECENT = 0.75  # type gets smaller only if that makes the maps larger than by this
LETTERS = "abcdefgh"
RELIEF_DPI = 300.0


@dataclass(frozen=True, slots=True, eq=False)
class Composed:
    """A figure worked out for its page, before it is drawn.

    Attributes
    ----------
    plan : FigurePlan
        As asked for.
    size_mm : (float, float)
        Width and height of the page, millimetres.
    points : float
        Size of type on it.
    meters : tuple of Fairness
        How every panel uses its colours.
    caption : str
        All of it, also where the plan leaves it off the page.
    """

    plan: FigurePlan
    size_mm: tuple[float, float]
    points: float
    meters: tuple[Fairness, ...]
    caption: str
    comparison: Comparison
    shown: tuple[Chosen, ...]
    placement: Placement
    lines: tuple[tuple[str, ...], tuple[str, ...]]
    stage: Stage

    @property
    def scale(self) -> float:
        """Points to a talk point."""
        return self.points / TEXT


def compose(comparison: Comparison, plan: FigurePlan) -> Composed:
    """Work out what a plan gives on its page.

    Parameters
    ----------
    comparison : Comparison
        With at least one scan.
    plan : FigurePlan
        What to show.

    Returns
    -------
    Composed
        With page, size of type, caption and the fairness of every panel.

    Raises
    ------
    FigureError
        If there is nothing to show, or it finds no room on the page even in the smallest type that can be read.
    """
    shown = tuple(chosen(comparison, plan))
    meters = tuple(
        fairness(one.scan.treated, row, *limits)
        for row in plan.rows
        if row in ("shared", "own")
        for one in shown
        for limits in (comparison.shared_range if row == "shared" else one.scan.own_range,)
    )
    page = PAGES[plan.page]
    wish = plan.points or page.points
    tries = [wish * SHRINK**k for k in range(40) if wish * SHRINK**k >= min(page.least, wish)]
    on = stage([one.scan.treated for one in shown], *comparison.shared_range)
    found = [made for size in tries if (made := _composed(comparison, plan, shown, meters, size, on)) is not None]
    if not found:
        raise FigureError(
            f"{len(shown)} scans in {len(plan.rows)} rows do not fit on this page",
            fix="Leave out a row or the caption, choose fewer scans, or take a larger page.",
        )
    sizes = [made.placement.map_width * made.scale for made in found]
    best = max(sizes)
    return next(made for made, size in zip(found, sizes, strict=True) if size >= DECENT * best or math.isinf(best))


def draw(comparison: Comparison, plan: FigurePlan) -> Figure:
    """The composed figure, maps at their own resolution.

    Parameters
    ----------
    comparison, plan
        As for `compose`.

    Returns
    -------
    matplotlib.figure.Figure
        Not known to any plotting state, so nothing has to be closed.

    Raises
    ------
    FigureError
        As `compose`.
    """
    return _drawn(compose(comparison, plan), snap=False)


def save(comparison: Comparison, plan: FigurePlan, path: str | Path) -> Composed:
    """The composed figure as a file, by suffix: .png, .svg or .pdf. It carries the plan and the recipe.

    Parameters
    ----------
    comparison, plan
        As for `compose`.
    path : str or Path
        Replaced whole or not at all.

    Returns
    -------
    Composed
        What was drawn.

    Raises
    ------
    FigureError
        As `compose`.
    UnknownFormat
        If the suffix is another.
    FileProblem
        If the file cannot be written.
    """
    kind = Path(path).suffix.lower()
    if kind not in SUFFIXES:
        raise UnknownFormat(
            f"A figure cannot be written as “{kind or 'no suffix'}”", where=str(path), fix="Use .png, .svg or .pdf."
        )
    made = compose(comparison, plan)
    with atomic(path) as temporary:
        temporary.write_bytes(rendered(made, kind))
    return made


def rendered(made: Composed, kind: str = ".png") -> bytes:
    """The bytes of the file, for a preview that is the file."""
    from matplotlib import rc_context

    figure = _drawn(made, snap=kind == ".png")
    out = io.BytesIO()
    with rc_context(RC):
        figure.savefig(
            out,
            format=kind[1:],
            dpi=figure.dpi,
            metadata=_metadata(kind, made),
            transparent=made.plan.look == "transparent",
        )
    return out.getvalue()


def _metadata(kind: str, made: Composed) -> dict[str, Any]:
    made_by = f"{PROGRAM} {made.comparison.version}"
    told = json.dumps(carried(made.comparison) | {KEY: made.plan.to_table()}, allow_nan=False)
    name = _title(made.comparison, made.plan) or made_by
    if kind == ".png":
        return {"Title": name, "Software": made_by, PROGRAM: told}
    if kind == ".svg":
        return {"Title": name, "Creator": [made_by], "Description": told, "Date": None}
    return {"Title": name, "Creator": made_by, "Producer": made_by, "Keywords": told, "CreationDate": None}


def _title(comparison: Comparison, plan: FigurePlan) -> str:
    if plan.title is not None:
        return clean(plan.title).strip()
    return clean(comparison.title).strip() if PAGES[plan.page].titled else ""


def _composed(
    comparison: Comparison,
    plan: FigurePlan,
    shown: tuple[Chosen, ...],
    meters: tuple[Fairness, ...],
    points: float,
    on: Stage,
) -> Composed | None:
    """With type of one size; written out scale bars change the caption, so it is made twice if need be."""
    for written in (True, False):
        made = _with_bars(comparison, plan, shown, meters, points, on, written=written)
        if made is None or not written or _bars_fit(made):
            return made
    return None


def _with_bars(
    comparison: Comparison,
    plan: FigurePlan,
    shown: tuple[Chosen, ...],
    meters: tuple[Fairness, ...],
    points: float,
    on: Stage,
    *,
    written: bool,
) -> Composed | None:
    page, scale = PAGES[plan.page], points / TEXT
    wide, high, margin = page.width * MM / scale, page.height * MM / scale, page.margin / scale
    room = wide - 2 * margin
    told = caption_of(comparison, plan, shown, meters, bars_written=written)
    red = tuple(wrap(warnings(comparison), room, TEXT, SEMIBOLD, lines=3))
    under = tuple(wrap(told, room, TEXT)) if plan.caption else ()
    if any(width(line, HEAD, SEMIBOLD) > room for line in _heads(comparison, plan, on).values()):
        return None
    ranges = own_ranges(shown) if "own" in plan.rows else []
    need = Need(
        rows=plan.rows,
        count=len(shown),
        aspect=box_aspect([one.scan.treated.size[0] / one.scan.treated.size[1] for one in shown]),
        text_room=max(width(line, TEXT) for line in (*values(shown), *ranges)) + 1,
        name_width=max(width(one.name, TEXT, SEMIBOLD) + _badge_room(one) for one in shown) + 1,
        panes=len(plan.curves),
        entries=len(ranking.entries(comparison)),
        meter=plan.meter,
        titled=bool(_title(comparison, plan)),
        caption_lines=len(red) + len(under),
    )
    found = place(need, wide, high, margin, fixed=page.fixed)
    if found is None:
        return None
    height = page.height if page.fixed else found.height * scale / MM
    return Composed(
        plan, (page.width, height), points, meters, told, comparison, shown, found, (red, under), on
    )  # fmt: skip


def _heads(comparison: Comparison, plan: FigurePlan, on: Stage) -> dict[str, str]:
    """Headings of the rows with their letters."""
    rows = [(row, heading(row, comparison, on.exaggeration)) for row in plan.rows]
    if not plan.letters or len(rows) == 1:
        return {row: f"{told[:1].upper()}{told[1:]}" for row, told in rows}
    return {row: f"{letter} {told}" for letter, (row, told) in zip(LETTERS, rows, strict=False)}


def _bars_fit(made: Composed) -> bool:
    return all(
        fits_scale_bar(box.fitted(_aspect(made.shown[number])), made.shown[number].scan.treated.size[1])
        for (row, number), box in made.placement.maps.items()
        if row != "oblique"
    )


def _drawn(made: Composed, *, snap: bool) -> Figure:
    from matplotlib import rc_context
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    plan, at = made.plan, made.placement
    inks = DARK if plan.look == "dark" else LIGHT
    inches = made.size_mm[0] / 25.4, made.size_mm[1] / 25.4
    with rc_context(RC):
        figure = Figure(figsize=inches, dpi=plan.dpi, facecolor="none" if plan.look == "transparent" else inks.page)
        FigureCanvasAgg(figure)
        pen = Pen(figure, made.scale, inks, snap=snap)
        title = _title(made.comparison, plan)
        margin = at.title[0]
        if title:
            pen.text(*at.title, shorten(title, pen.page[0] - 2 * margin, TITLE, SEMIBOLD), size=TITLE, weight=SEMIBOLD)
        for row, head in _heads(made.comparison, plan, made.stage).items():
            pen.text(*at.heads[row], head, size=HEAD, weight=SEMIBOLD)
        _maps(pen, made)
        if at.panes:
            for kind, box in zip(plan.curves, at.panes, strict=True):
                draw_plot(pen, box, plot_of(kind, made.shown), [one.colour for one in made.shown])
            draw_legend(pen, at.legend, made.shown)
        if at.ranking:
            ranking.draw_ranking(pen, at.ranking, made.comparison)
        x, y = at.caption
        for line in made.lines[0]:
            pen.text(x, y, line, colour=inks.warning, weight=SEMIBOLD)
            y += LINE
        for line in made.lines[1]:
            pen.text(x, y, line, colour=inks.muted)
            y += LINE
    return figure


def _maps(pen: Pen, made: Composed) -> None:
    at = made.placement
    if at.bar is not None:
        height_bar(pen, at.bar, made.comparison.shared_range)
    ranges = own_ranges(made.shown)
    for one, text, value in zip(made.shown, at.texts, values(made.shown), strict=False):
        _name(pen, one, text, at.name_lines, value)
    for (row, number), box in at.maps.items():
        one = made.shown[number]
        if row == "oblique":
            _relief(pen, box, one, made.stage, number)
            continue
        limits = made.comparison.shared_range if row == "shared" else one.scan.own_range
        fitted = box.fitted(_aspect(one))
        pen.picture(fitted, coloured(pen.level(fitted, one.scan.treated), limits), f"{row} {number}")
        scale_bar(pen, fitted, one.scan.treated.size[1])
        y = box.y + box.h
        if made.plan.meter:
            meter = next(m for m in made.meters if (m.scan, m.row) == (one.scan.treated.name, row))
            _strip(pen, Box(box.x, y + 4, box.w, 5), meter, f"meter {row} {number}")
            y += METER
        if row == "own":  # never without its range: the place reserves the room, and nothing may cut it
            _range(pen, box, at.texts[number].w, y, ranges[number])


def _name(pen: Pen, one: Chosen, box: Box, lines: int, value: str) -> None:
    indent, y = _badge_room(one), box.y
    names: Sequence[str] = wrap(one.name, box.w, TEXT, SEMIBOLD, lines=lines, indent=indent) or ["–"]
    y += (lines - len(names)) * LINE
    if one.rank is not None:
        badge(pen, box.x, y, one.rank, specimen_colour(one.colour), hollow=one.aside or not one.proven)
    for line in names:
        pen.text(box.x + indent, y, line, weight=SEMIBOLD)
        y, indent = y + LINE, 0.0
    pen.text(box.x, y, value, colour=pen.inks.muted if one.aside else "")


def _badge_room(one: Chosen) -> float:
    return 0.0 if one.rank is None else badge_width(one.rank) + 6


def _strip(pen: Pen, box: Box, meter: Fairness, label: str) -> None:
    """All the colours, faint, and the used ones as they are."""
    pen.box(Box(box.x, box.y + 1.5, box.w, 2), pen.inks.edge)
    used = max(meter.used * box.w, 1.0)
    table = height_table()
    first, last = (round(share * (len(table) - 1)) for share in (meter.first, meter.last))
    pen.picture(
        Box(box.x + min(meter.first * box.w, box.w - used), box.y, used, box.h),
        np.ascontiguousarray(table[None, first : last + 1, :]),
        label,
    )


def _range(pen: Pen, box: Box, room: float, y: float, told: str) -> None:
    if width(told, TEXT) <= box.w:
        pen.text(box.x + box.w / 2, y + 3, told, colour=pen.inks.muted, align="center")
    elif width(told, TEXT) <= room:
        pen.text(box.x, y + 3, told, colour=pen.inks.muted)
    else:
        raise FigureError("A map on its own scale has no room for its range", fix="Choose fewer scans.")


def _relief(pen: Pen, box: Box, one: Chosen, on: Stage, number: int) -> None:
    dots = (pen.figure.dpi if pen.snap else RELIEF_DPI) * pen.scale / 72
    shape = max(16, round(box.h * dots)), max(16, round(box.w * dots))
    pen.picture(box, oblique(one.scan.treated, on, shape=shape), f"oblique {number}")


def _aspect(one: Chosen) -> float:
    high, wide = one.scan.treated.size
    return high / wide
