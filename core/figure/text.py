"""Type on the figure: the bundled typeface, the width of a line before it is drawn, wrapping and shortening."""

from __future__ import annotations

import re
from bisect import bisect_right
from dataclasses import replace
from functools import cache, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.font_manager import FontProperties

REGULAR, SEMIBOLD = 400, 600
ELLIPSIS = "…"
UNKNOWN = "□"

_BREAK = re.compile(r" |(?<=\w\w)-(?=\w)|$")  # where a line may end

FILES = {REGULAR: "Inter-Regular.ttf", SEMIBOLD: "Inter-SemiBold.ttf"}
FAMILY = "Inter of Lowrelief"
FALLBACK = "DejaVu Sans"  # comes with the plotting library; holds Greek, Cyrillic, Hebrew, Arabic and many signs
EASTERN = (
    "Noto Sans CJK SC", "Noto Sans CJK JP", "Source Han Sans SC", "Microsoft YaHei", "Yu Gothic", "Malgun Gothic",
    "PingFang SC", "Hiragino Sans", "Apple SD Gothic Neo", "WenQuanYi Micro Hei", "Droid Sans Fallback",
)  # fmt: skip
"""Typefaces of common systems with Chinese, Japanese and Korean signs, in which Inter has none."""


def font(text: str, size: float, weight: int = REGULAR) -> FontProperties:
    """The bundled typeface at `size` points, with another one behind it for signs that it lacks.

    Such text is set in the regular weight: the typefaces behind have no semi-bold.
    """
    return _font(size, weight) if covered(text) else _font(size, REGULAR, (FALLBACK, *_eastern()))


def covered(text: str) -> bool:
    """Whether the bundled typeface alone can draw the text."""
    return text.isascii() or all(ord(sign) in _signs(()) for sign in text)


def width(text: str, size: float, weight: int = REGULAR) -> float:
    """Width of a line in points, from the outlines: the same at every resolution."""
    return 0.0 if not text else _width(drawable(text), weight) * size / 100.0


def wrap(
    text: str, room: float, size: float, weight: int = REGULAR, *, lines: int = 99, indent: float = 0.0
) -> list[str]:
    """The text in lines not wider than `room` points, the last one shortened if there are more than `lines`.

    The first line is narrower by `indent`.

    Examples
    --------
    >>> wrap("annealed sapphire", 70, 14)
    ['annealed', 'sapphire']
    """
    rows: list[str] = []
    rest = re.sub(r"[ \t\r\n]+", " ", text).strip(" ")
    while rest:
        left = room - (0.0 if rows else indent)
        if len(rows) == lines - 1:
            return [*rows, shorten(rest, left, size, weight)]
        places = [match.end() for match in _BREAK.finditer(rest)]
        taken = bisect_right(places, left, key=lambda end: width(rest[:end].rstrip(), size, weight))
        # A word wider than the line is cut where the line ends.
        end = places[taken - 1] if taken else max(1, _fitting(rest, left, size, weight))
        rows.append(rest[:end].rstrip())
        rest = rest[end:].lstrip()
    return rows


def shorten(text: str, room: float, size: float, weight: int = REGULAR) -> str:
    """The text, with its middle left out if it is wider than `room` points: names often differ at their ends.

    Examples
    --------
    >>> shorten("sapphire annealed at 1200 °C, wafer 7", 120, 14)
    'sapphire…wafer 7'
    """
    if width(text, size, weight) <= room:
        return text
    low, high = 0, len(text) - 1
    while low < high:
        kept = (low + high + 1) // 2
        if width(_middle_out(text, kept), size, weight) <= room:
            low = kept
        else:
            high = kept - 1
    return _middle_out(text, low)


def drawable(text: str) -> str:
    """The text with a box for each sign that no typeface at hand can draw."""
    if covered(text):
        return text
    known = _signs((FALLBACK, *_eastern()))
    return "".join(sign if ord(sign) in known else UNKNOWN for sign in text)


def _middle_out(text: str, kept: int) -> str:
    head = (kept + 1) // 2
    tail = kept - head
    end = text[len(text) - tail :].lstrip() if tail else ""
    return f"{text[:head].rstrip()}{ELLIPSIS}{end}"


def _fitting(text: str, room: float, size: float, weight: int) -> int:
    return bisect_right(range(1, len(text) + 1), room, key=lambda count: width(text[:count], size, weight))


@lru_cache(maxsize=4096)
def _width(text: str, weight: int) -> float:
    from matplotlib.textpath import TextToPath

    return float(TextToPath().get_text_width_height_descent(text, font(text, 100.0, weight), ismath=False)[0])


@cache
def _font(size: float, weight: int, behind: tuple[str, ...] = ()) -> FontProperties:
    from matplotlib.font_manager import FontProperties

    _register()
    return FontProperties(family=[FAMILY, *behind], size=size, weight=weight)


@cache
def _register() -> None:
    """Tell the plotting library of the bundled files, under a name of our own.

    Under its own name another edition that is installed would come first, and the figure would be set in other widths
    than on the next machine. The library's table of typefaces is per process, so once is enough.
    """
    from matplotlib.font_manager import fontManager, get_font, ttfFontProperty

    for file in FILES.values():
        entry = ttfFontProperty(get_font(Path(__file__).parent.parent / "fonts" / file))
        fontManager.ttflist.append(replace(entry, name=FAMILY))


@cache
def _eastern() -> tuple[str, ...]:
    from matplotlib.font_manager import fontManager

    installed = {entry.name for entry in fontManager.ttflist}
    return tuple(name for name in EASTERN if name in installed)[:1]


@cache
def _signs(behind: tuple[str, ...]) -> frozenset[int]:
    """Code points that the bundled typeface, or one of those behind it, can draw."""
    from matplotlib.font_manager import FontProperties, fontManager, get_font

    _register()
    found: set[int] = set()
    for family in (FAMILY, *behind):
        try:
            path = fontManager.findfont(FontProperties(family=family), fallback_to_default=False)
        except ValueError:
            continue  # not installed: what it would have drawn becomes boxes
        found.update(get_font(path).get_charmap())
    return frozenset(found)
