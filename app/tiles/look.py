"""How the tiles draw heights: flat, lit, or as an oblique relief, and what all reliefs of one bench share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from app.tiles.state import Range
from core.oblique import Stage, room, staged

Mode = Literal["flat", "relief", "oblique"]

MODES: dict[Mode, str] = {"flat": "Flat", "relief": "Lit", "oblique": "Oblique"}
STEPS = (1.0, 2.0, 5.0)


@dataclass(frozen=True)
class Look:
    """What the user chose.

    Attributes
    ----------
    mode : {"flat", "relief", "oblique"}
        Colours alone; colours lit from the upper left; a block seen from the front and above.
    exaggeration : float or None
        Vertical over lateral scale; None: so that the shared range rises well.
    """

    mode: Mode = "flat"
    exaggeration: float | None = None


@dataclass(frozen=True)
class Cast:
    """What all reliefs share.

    Attributes
    ----------
    exaggeration : float
        Vertical over lateral scale.
    pixels : float or None
        Screen pixels to a metre along the near edge; None: every block fills its tile.
    """

    exaggeration: float = 1.0
    pixels: float | None = None


def common_cast(
    sizes: Sequence[tuple[float, float]],
    ranges: Sequence[Range],
    shared: Range,
    viewport: tuple[float, float],
    look: Look,
    *,
    one_scale: bool,
) -> Cast:
    """The exaggeration and the lateral scale at which every relief fits its tile.

    Parameters
    ----------
    sizes : sequence of (float, float)
        What is seen of each map, down and across, metres.
    ranges : sequence of (float, float)
        Colour range of each tile, metres.
    shared : (float, float)
        The shared range, from which the exaggeration is taken.
    viewport : (float, float)
        Width and height of the smallest picture, screen pixels.
    look : Look
        What the user chose.
    one_scale : bool
        Whether all maps have one lateral scale.
    """
    if not sizes:
        return Cast()
    exaggeration = look.exaggeration or staged([across for _, across in sizes], *shared).exaggeration
    if not one_scale:
        return Cast(exaggeration)
    wide, high = viewport
    fitting = []
    for size, limits in zip(sizes, ranges, strict=True):
        tall, broad = room(size, Stage(*limits, exaggeration))
        fitting.append(min((wide - 2) / broad, (high - 2) / tall))
    return Cast(exaggeration, max(min(fitting), 1e-9))


def stepped(exaggeration: float, up: bool) -> float:
    """The next round exaggeration, larger or smaller: 1, 2 or 5 times a power of ten.

    >>> stepped(100.0, True), stepped(100.0, False), stepped(130.0, True), stepped(1.0, False)
    (200.0, 50.0, 200.0, 0.5)
    """
    rounds = [step * 10.0**power for power in range(-3, 7) for step in STEPS]
    if up:
        return next((x for x in rounds if x > exaggeration * 1.001), rounds[-1])
    return next((x for x in reversed(rounds) if x < exaggeration * 0.999), rounds[0])


def times(exaggeration: float) -> str:
    """An exaggeration in text.

    >>> times(200.0), times(0.5), times(20000.0)
    ('200 ×', '0.5 ×', '20000 ×')
    """
    return f"{exaggeration:.6g} ×"
