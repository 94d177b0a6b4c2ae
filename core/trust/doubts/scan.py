"""All doubts that one map gives rise to, in the order in which they are told."""

from __future__ import annotations

from collections.abc import Callable

from core.heightmap import HeightMap
from core.trust.doubts.already_levelled import already_levelled
from core.trust.doubts.clipped import clipped
from core.trust.doubts.coarse_pixels import coarse_pixels
from core.trust.doubts.doubt import Doubt
from core.trust.doubts.drift import drift
from core.trust.doubts.fringes import fringes
from core.trust.doubts.hum import hum
from core.trust.doubts.imprint import Imprint
from core.trust.doubts.line_jumps import line_jumps
from core.trust.doubts.look import Look
from core.trust.doubts.missing import missing, sparse
from core.trust.doubts.noise_floor import noise_floor
from core.trust.doubts.not_judged import not_judged
from core.trust.doubts.oscillation import oscillation
from core.trust.doubts.quantised import quantised
from core.trust.doubts.streaks import streaks
from core.trust.doubts.tip_change import tip_change

DETECTORS: tuple[Callable[[Look], Doubt | None], ...] = (
    clipped,
    quantised,
    already_levelled,
    noise_floor,
    oscillation,
    hum,
    fringes,
    streaks,
    line_jumps,
    drift,
    tip_change,
    coarse_pixels,
    not_judged,
)
"""What is looked for on every raw map, in the order in which it is told."""


def doubts_of_scan(raw: HeightMap, treated: HeightMap) -> tuple[Doubt, ...]:
    """The doubts that one map gives rise to.

    Parameters
    ----------
    raw, treated : HeightMap
        The map as recorded and after the treatment.
    """
    return looked_at(raw, treated)[0]


def looked_at(raw: HeightMap, treated: HeightMap) -> tuple[tuple[Doubt, ...], Imprint]:
    """The doubts that one map gives rise to, and what is needed of it to compare it with others.

    Parameters
    ----------
    raw, treated : HeightMap
        The map as recorded and after the treatment.
    """
    look = Look(raw)
    found = (missing(raw), sparse(treated), *(detector(look) for detector in DETECTORS))
    return tuple(doubt for doubt in found if doubt is not None), Imprint.of(look)
