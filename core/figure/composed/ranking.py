"""The ranking: a line for each specimen with its badge, name, dot and interval on one axis, value and letters."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from core.colours import specimen_colour
from core.figure.composed.place import ENTRY
from core.figure.layout import LINE, TEXT, Box
from core.figure.parts import Pen, badge, badge_width
from core.figure.text import SEMIBOLD, shorten, width
from core.measures.reading import Reading
from core.results import Comparison
from core.sheet.whisker import MARGIN, WIDTH, Axis
from core.sheet.words import clean, column_scaling, interval_text
from core.standing import Place

SHOWN = 24


def entries(comparison: Comparison) -> tuple[Place, ...]:
    """The places that are shown."""
    return comparison.standing[:SHOWN]


def draw_ranking(pen: Pen, columns: Sequence[Box], comparison: Comparison) -> None:
    """All columns over axes of one scaling."""
    places = entries(comparison)
    readings = [_reading(comparison, place) for place in places]
    factor, unit = column_scaling(readings)
    told = [_value(place, reading, unit) for place, reading in zip(places, readings, strict=True)]
    axis = Axis.over(readings)
    lines = math.ceil(len(places) / len(columns))
    value_room = max(width(text, TEXT) for text in told) + 8
    letters_room = max(width(place.tie or "", TEXT, SEMIBOLD) for place in places) + 8
    badges = max(badge_width(place.rank) for place in places) + 6
    for number, box in enumerate(columns):
        part = range(number * lines, min((number + 1) * lines, len(places)))
        if not part:
            break
        names = max(width(clean(places[i].specimen), TEXT, SEMIBOLD) for i in part)
        left = box.w - badges - value_room - letters_room
        name_room = min(names + 10, max(left * 0.5, 40.0))
        field = Box(box.x + badges + name_room, box.y, max(30.0, left - name_room - 10), len(part) * ENTRY)
        _grid(pen, field, axis, factor, f"{comparison.rank_by}, {unit}" if unit else comparison.rank_by)
        for line, i in enumerate(part):
            y = box.y + line * ENTRY
            _entry(pen, y, box, field, places[i], readings[i], comparison, axis, name_room, badges)
            x = field.x + field.w + 10
            pen.text(x, y, told[i], colour="" if places[i].comparable else pen.inks.muted)
            pen.text(x + value_room, y, places[i].tie or "", weight=SEMIBOLD)


def _entry(
    pen: Pen,
    y: float,
    box: Box,
    field: Box,
    place: Place,
    reading: Reading,
    comparison: Comparison,
    axis: Axis,
    name_room: float,
    badges: float,
) -> None:
    colour = specimen_colour(comparison.colour_index(place.specimen))
    hollow = not place.proven or not place.comparable
    badge(pen, box.x, y, place.rank, colour, hollow=hollow)
    name = shorten(clean(place.specimen), name_room - 6, TEXT, SEMIBOLD)
    pen.text(box.x + badges, y, name, weight=SEMIBOLD, colour="" if place.comparable else pen.inks.muted)
    whisker = axis.whisker(reading)
    middle = y + TEXT / 2 + 1
    if whisker.low is not None and whisker.high is not None:
        low, high = _at(field, whisker.low), _at(field, whisker.high)
        pen.box(Box(low, middle - 1.25, high - low, 2.5), colour)
        for end in (low, high):
            pen.box(Box(end - 0.75, middle - 5, 1.5, 10), colour)
    if whisker.dot is not None:
        dot = _at(field, whisker.dot)
        pen.box(Box(dot - 5, middle - 5, 10, 10), colour, rounding=4.99)
        if hollow:
            pen.box(Box(dot - 3, middle - 3, 6, 6), pen.inks.page, rounding=2.99)


def _grid(pen: Pen, field: Box, axis: Axis, factor: float, label: str) -> None:
    """Lines and numbers of the axis, and what it shows."""
    foot = field.y + field.h
    end = -math.inf
    for place, told in axis.ticks(factor):
        x = _at(field, place)
        pen.box(Box(x - 0.5, field.y - 2, 1, field.h + 4), pen.inks.edge)
        wide = width(told, TEXT)
        if x - wide / 2 > end + 6:
            pen.text(x, foot + 4, told, align="center")
            end = x + wide / 2
    pen.text(field.x + field.w / 2, foot + 4 + LINE, label, colour=pen.inks.muted, align="center")


def _at(field: Box, place: float) -> float:
    return field.x + (place - MARGIN / 2) / (WIDTH - MARGIN) * field.w


def _reading(comparison: Comparison, place: Place) -> Reading:
    missing = Reading(comparison.rank_by, None, "1", "")
    specimen = comparison.specimens_by_name.get(place.specimen)
    return specimen.readings.get(comparison.rank_by, missing) if specimen else missing


def _value(place: Place, reading: Reading, unit: str) -> str:
    told = interval_text(replace(reading, n=0), unit)
    return f"≤ {told}" if place.limited else told
