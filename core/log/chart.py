"""A series of the log with its limits: what is still the instrument of yesterday, and what is not.

Chart for individual values: the centre is the mean, the limits stand 2.66 mean moving ranges away (3 σ with
σ = mean moving range / 1.128; d₂ of two values, ISO 7870-2:2013, factors from memory). Readings that are positive by
nature are charted on their logarithm, so that the limits are factors. The first values set the limits, later ones are
held against them, else a slow drift would widen its own limits.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.heightmap import FloatArray
from core.log.entry import LogEntry

FACTOR = 2.66
BASE = 20  # entries that set the limits
LEAST = 5  # fewer say nothing about limits
RUN = 8  # in a row on one side of the centre: the mean has moved (chance 0.8 % in 8, common practice)


@dataclass(frozen=True, slots=True)
class Chart:
    """A series with limits.

    Attributes
    ----------
    entries : tuple of LogEntry
        Oldest first.
    centre, low, high : float or None
        Centre line and limits, in the unit of the entries; None while there are fewer than five entries.
    outside : tuple of bool
        By entry: beyond a limit.
    shifted : tuple of bool
        By entry: at the end of eight in a row on one side of the centre.
    sentence : str
        What the latest entry says.
    """

    entries: tuple[LogEntry, ...]
    centre: float | None
    low: float | None
    high: float | None
    outside: tuple[bool, ...]
    shifted: tuple[bool, ...]
    sentence: str


def chart(entries: Sequence[LogEntry]) -> Chart:
    """The chart of one series.

    Parameters
    ----------
    entries : sequence of LogEntry
        Of one subject and symbol, oldest first.

    Examples
    --------
    >>> days = [LogEntry(at=f"2024-05-{day:02}", kind="floor", subject="mica", symbol="noise", value=v, unit="m")
    ...         for day, v in enumerate([4.0e-11, 4.1e-11, 3.9e-11, 4.0e-11, 4.1e-11, 9e-11], start=1)]
    >>> chart(days[:5]).outside, chart(days).outside[-1], chart(days[:5] + days[5:]).sentence
    ((False, False, False, False, False), True, 'The latest value is above the upper limit.')
    """
    values = np.array([entry.value for entry in entries])
    if len(values) < LEAST:
        none = (False,) * len(values)
        return Chart(tuple(entries), None, None, None, none, none, f"Limits need {LEAST} entries.")
    on_log = bool((values > 0).all())
    scaled = np.log(values) if on_log else values
    centre, half = limits(scaled[: min(BASE, max(LEAST, len(scaled) - 1))])  # the latest does not judge itself
    back = math.exp if on_log else float
    outside = tuple(bool(value) for value in np.abs(scaled - centre) > half * (1 + 1e-12))
    shifted = _shifted(scaled - centre)
    return Chart(
        tuple(entries),
        back(centre),
        back(centre - half),
        back(centre + half),
        outside,
        shifted,
        _sentence(outside[-1], shifted[-1], bool(scaled[-1] > centre)),
    )


def limits(values: FloatArray) -> tuple[float, float]:
    """Centre of a chart for individual values, and how far from it the limits stand.

    Parameters
    ----------
    values : ndarray, shape (n,)
        At least two, in the order in which they came.

    Examples
    --------
    >>> centre, half = limits(np.array([1.0, 2.0, 1.0]))
    >>> round(centre, 4), half
    (1.3333, 2.66)
    """
    return float(values.mean()), FACTOR * float(np.abs(np.diff(values)).mean())


def _shifted(above: FloatArray) -> tuple[bool, ...]:
    found, run, side = [], 0, 0.0
    for value in above:
        sign = float(np.sign(value))
        run = run + 1 if sign == side and sign != 0 else int(sign != 0)
        side = sign
        found.append(run >= RUN)
    return tuple(found)


def _sentence(outside: bool, shifted: bool, above: bool) -> str:
    if outside:
        return f"The latest value is {'above the upper' if above else 'below the lower'} limit."
    if shifted:
        return f"The last {RUN} values all lie {'above' if above else 'below'} the centre: the mean has moved."
    return "The latest value is within the limits."
