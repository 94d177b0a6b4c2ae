"""Where the window curves of two specimens cross: below this side the one is smoother, above it the other.

A vendor's number at one scan size says nothing about another size; two surfaces whose curves cross change places. The
interval turns the question round: a side belongs to it when the spots do not tell the two specimens apart there, by
Student's t on the logarithm of the ratio. So it holds the true crossing as often as t holds the true ratio at it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.errors import BenchError
from core.heightmap import FloatArray, frozen
from core.measures.window_curve import WindowCurve
from core.trust.interval import student

STEPS = 16
"""Sides in each octave at which the curves are compared; between the sides of a curve its logarithm runs straight."""


@dataclass(frozen=True, slots=True, eq=False)
class SpecimenCurve:
    """RMS against window side of a specimen: the typical spot and its 95 % interval, ready to be drawn.

    Attributes
    ----------
    side : ndarray, shape (k,)
        Window sides that all spots reach, metres, evenly spaced on the logarithm.
    rms : ndarray, shape (k,)
        Geometric mean over the spots, metres.
    low, high : ndarray, shape (k,), or None
        Ends of the 95 % interval by t on the logarithm, metres; None from one spot.
    spots : int
        Number of spots.
    """

    side: FloatArray
    rms: FloatArray
    low: FloatArray | None
    high: FloatArray | None
    spots: int


@dataclass(frozen=True, slots=True, eq=False)
class Crossover:
    """The window side at which the RMS curves of two specimens cross.

    Attributes
    ----------
    side : float
        Metres.
    low, high : float or None
        Ends of its interval, metres; None where the spots leave it open: the specimens are not told apart up to the
        smallest (or largest) side that both have.
    rms : float
        RMS of both at the crossing, metres.
    first_below : bool
        Whether the first specimen is the smoother one below the crossing (and the rougher one above).
    crossings : int
        How often the curves cross; of several, the one is reported that best parts the sides.
    sides : ndarray, shape (k,)
        The sides that were compared, metres.
    ratio : ndarray, shape (k,)
        RMS of the first over RMS of the second.
    ratio_low, ratio_high : ndarray, shape (k,), or None
        Interval of the ratio; None when a specimen has one spot only.
    confidence : float
        Of the interval, 0 to 1.
    note : str
        Why an interval is open or missing.
    """

    side: float
    low: float | None
    high: float | None
    rms: float
    first_below: bool
    crossings: int
    sides: FloatArray
    ratio: FloatArray
    ratio_low: FloatArray | None
    ratio_high: FloatArray | None
    confidence: float
    note: str = ""


def specimen_curve(spots: Sequence[WindowCurve], *, confidence: float = 0.95) -> SpecimenCurve | None:
    """The window curve of a specimen from those of its spots.

    Parameters
    ----------
    spots : sequence of WindowCurve
        At least one; they may differ in pixel size and scan size.
    confidence : float, default 0.95
        Of the interval.

    Returns
    -------
    SpecimenCurve or None
        On the sides that all spots reach; None when there are none.

    Raises
    ------
    BenchError
        If there is no spot.
    """
    sides = _common_sides(spots)
    if sides is None:
        return None
    logs = _logs(spots, sides)
    mean, spread = logs.mean(axis=0), None
    if len(spots) > 1:
        spread = student((1 + confidence) / 2, len(spots) - 1) * logs.std(axis=0, ddof=1) / math.sqrt(len(spots))
    low, high = (None, None) if spread is None else (frozen(np.exp(mean - spread)), frozen(np.exp(mean + spread)))
    return SpecimenCurve(sides, frozen(np.exp(mean)), low, high, len(spots))


def crossover(
    first: Sequence[WindowCurve], second: Sequence[WindowCurve], *, confidence: float = 0.95
) -> Crossover | None:
    r"""The window side at which two specimens change places.

    With :math:`r(s) = \overline{\ln R_1(s)} - \overline{\ln R_2(s)}`, means over the spots, the crossing is where r
    changes its sign. Its interval holds the sides around it at which

    .. math:: |r(s)| \le t_{\nu}\,\sqrt{s_1^2/n_1 + s_2^2/n_2},

    with Welch's degrees of freedom ν.

    Parameters
    ----------
    first, second : sequence of WindowCurve
        The curves of the spots of each specimen.
    confidence : float, default 0.95
        Of the interval.

    Returns
    -------
    Crossover or None
        None when the curves do not cross on the sides that all spots reach.

    Raises
    ------
    BenchError
        If a specimen has no spot, or the confidence does not lie between 0 and 1.

    References
    ----------
    B. L. Welch, Biometrika 34 (1947) 28-35, doi:10.1093/biomet/34.1-2.28. A test inverted for the place of a crossing:
    E. C. Fieller, J. R. Stat. Soc. B 16 (1954) 175-185, doi:10.1111/j.2517-6161.1954.tb00159.x.

    Examples
    --------
    >>> from core.heightmap import HeightMap
    >>> from core.measures.window_curve import window_curve
    >>> rng = np.random.default_rng(1)
    >>> x = np.sin(2 * np.pi * np.arange(128) / 100)
    >>> def scan(noise, wave):
    ...     return window_curve(HeightMap(noise * rng.standard_normal((128, 128)) + wave * x, (1e-8, 1e-8)))
    >>> found = crossover([scan(2e-9, 0) for _ in range(3)], [scan(1e-9, 9e-9) for _ in range(3)])
    >>> bool(2e-7 < found.low < found.side < found.high < 9e-7), found.first_below
    (True, False)
    """
    if not 0 < confidence < 1:
        raise BenchError(f"A confidence lies between 0 and 1, not at {confidence}")
    if not first or not second:
        raise BenchError("A crossover needs the window curve of at least one spot of each specimen")
    sides = _common_sides([*first, *second])
    if sides is None:
        return None
    logs = _logs(first, sides), _logs(second, sides)
    ratio = logs[0].mean(axis=0) - logs[1].mean(axis=0)
    crossings = _crossings(np.log(sides), ratio)
    if not crossings:
        return None
    place, rising = crossings[0]
    half = _half_width(logs, confidence)
    low, high, note = _interval(np.log(sides), ratio, half, place)
    level = np.mean([np.interp(place, np.log(sides), log.mean(axis=0)) for log in logs])
    return Crossover(
        side=math.exp(place),
        low=low,
        high=high,
        rms=math.exp(float(level)),
        first_below=rising,
        crossings=len(crossings),
        sides=sides,
        ratio=frozen(np.exp(ratio)),
        ratio_low=None if half is None else frozen(np.exp(ratio - half)),
        ratio_high=None if half is None else frozen(np.exp(ratio + half)),
        confidence=confidence,
        note=note,
    )


def _common_sides(curves: Sequence[WindowCurve]) -> FloatArray | None:
    """Evenly spaced on the logarithm, within what all curves reach and read more than 0."""
    if not curves:
        raise BenchError("A specimen needs the window curve of at least one spot")
    if any(len(curve) == 0 or not (curve.rms > 0).all() for curve in curves):
        return None
    low, high = max(float(curve.side[0]) for curve in curves), min(float(curve.side[-1]) for curve in curves)
    if low > high:
        return None
    return frozen(np.geomspace(low, high, 1 + math.ceil(STEPS * math.log2(high / low))))


def _logs(curves: Sequence[WindowCurve], sides: FloatArray) -> FloatArray:
    """Logarithm of the RMS, shape (spots, sides)."""
    return np.stack([np.interp(np.log(sides), np.log(curve.side), np.log(curve.rms)) for curve in curves])


def _crossings(along: FloatArray, ratio: FloatArray) -> list[tuple[float, bool]]:
    """All crossings and whether the ratio rises there, the best first.

    The best parts the sides so that the area of the ratio's logarithm on the right side of zero, less that on the wrong
    side, is greatest.
    """
    area = np.concatenate([[0.0], np.cumsum(np.diff(along) * (ratio[1:] + ratio[:-1]) / 2)])
    apart = np.flatnonzero(ratio)  # where the curves just touch, the points beside decide
    found = []
    for before, after in itertools.pairwise(apart.tolist()):
        if ratio[before] * ratio[after] < 0:
            share = ratio[before] / (ratio[before] - ratio[after])
            place = along[before] + share * (along[after] - along[before])
            direction = 1.0 if ratio[after] > 0 else -1.0
            left = area[before] + ratio[before] * (place - along[before]) / 2
            found.append((direction * (area[-1] - 2 * left), float(place), direction > 0))
    return [(place, rising) for _, place, rising in sorted(found, reverse=True)]


def _half_width(logs: tuple[FloatArray, FloatArray], confidence: float) -> FloatArray | None:
    """Half the interval of the log ratio at each side, by Welch's t; None when a specimen has one spot."""
    if min(len(log) for log in logs) < 2:
        return None
    parts = [log.var(axis=0, ddof=1) / len(log) for log in logs]
    variance = parts[0] + parts[1]
    # where all spots agree to the last digit there is no width, and any number of degrees of freedom will do
    doubt = sum(part**2 / (len(log) - 1) for part, log in zip(parts, logs, strict=True))
    freedom = np.divide(variance**2, doubt, out=np.ones_like(variance), where=doubt > 0)
    t = [student((1 + confidence) / 2, df) for df in freedom.tolist()]
    return np.asarray(t * np.sqrt(variance))


def _interval(
    along: FloatArray, ratio: FloatArray, half: FloatArray | None, place: float
) -> tuple[float | None, float | None, str]:
    """The sides about the crossing at which the ratio's interval holds 1; None for an end that stays open."""
    if half is None:
        return None, None, "one spot of a specimen: spot-to-spot variation unknown, no interval"
    told_apart = np.abs(ratio) - half
    after = int(np.searchsorted(along, place))
    here = -float(np.interp(place, along, half))
    low = _first_above(np.append(along[:after], place)[::-1], np.append(told_apart[:after], here)[::-1])
    high = _first_above(np.append(place, along[after:]), np.append(here, told_apart[after:]))
    ends = [name for name, end in (("below", low), ("above", high)) if end is None]
    note = f"the spots do not tell the specimens apart {' or '.join(ends)}" if ends else ""
    return None if low is None else math.exp(low), None if high is None else math.exp(high), note


def _first_above(along: FloatArray, told_apart: FloatArray) -> float | None:
    """Where, going away from the crossing (the first entry, not above 0), the specimens are first told apart."""
    beyond = np.flatnonzero(told_apart > 0)
    if not beyond.size:
        return None
    k = int(beyond[0])
    share = told_apart[k] / (told_apart[k] - told_apart[k - 1])
    return float(along[k] + share * (along[k - 1] - along[k]))
