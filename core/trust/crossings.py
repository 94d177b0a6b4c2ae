"""Which neighbours in the standing change places at other window sizes, in numbers and in plain words.

A standing holds at the size of the scans. Where the window curves of two neighbours cross, the other one is the
smoother of the two in smaller windows.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from core.measures.window_curve import WindowCurve
from core.trust.crossover import Crossover, crossover
from core.units import display_unit, format_number, metres_per

NONE = "Neighbours in the standing keep their places in windows of all sides."
DIGITS = 2


@dataclass(frozen=True, slots=True, eq=False)
class Crossing:
    """Two neighbours in the standing that change places.

    Attributes
    ----------
    first, second : str
        Names of the specimens, in the order of the standing.
    at : Crossover
        Where, with its interval.
    """

    first: str
    second: str
    at: Crossover

    @property
    def below(self) -> str:
        """The specimen that is the smoother one in windows below the crossing."""
        return self.first if self.at.first_below else self.second

    @property
    def above(self) -> str:
        """The specimen that is the smoother one in windows above the crossing."""
        return self.second if self.at.first_below else self.first

    @property
    def told(self) -> str:
        """The crossing as a sentence that claims no more than the spots show."""
        low, high = self.at.low, self.at.high
        side = _length(self.at.side)
        if low is not None and high is not None:
            said = f"Below windows of {side} ({_range(low, high)}) {self.below} is smoother, above it {self.above}."
        elif high is not None:
            said = (
                f"Above windows of {side} (at most {_length(high)}) {self.above} is smoother than {self.below}; "
                "below, their spots do not tell them apart."
            )
        elif low is not None:
            said = (
                f"Below windows of {side} (at least {_length(low)}) {self.below} is smoother than {self.above}; "
                "above, their spots do not tell them apart."
            )
        elif self.at.ratio_low is None:
            said = (
                f"Below windows of {side} {self.below} is smoother, above it {self.above}; with one spot of a specimen "
                "this place has no interval."
            )
        else:
            said = (
                f"The curves of {self.first} and {self.second} cross at windows of {side}, but their spots do not "
                "tell them apart on either side."
            )
        return f"{said} Of {self.at.crossings} crossings this one parts the sides best." if self._several else said

    @property
    def _several(self) -> bool:
        return self.at.crossings > 1


def crossings(
    curves: Mapping[str, Sequence[WindowCurve]], order: Sequence[str], *, confidence: float = 0.95
) -> tuple[Crossing, ...]:
    """All crossovers of neighbours in the standing.

    Parameters
    ----------
    curves : mapping of str to sequence of WindowCurve
        The window curves of the treated spots of each specimen.
    order : sequence of str
        Specimens in the order of the standing; those without a curve are passed over.
    confidence : float, default 0.95
        Of the intervals.

    Returns
    -------
    tuple of Crossing
        In the order of the standing; only neighbours that cross.

    Raises
    ------
    BenchError
        If the confidence does not lie between 0 and 1.

    Examples
    --------
    >>> from core.heightmap import HeightMap
    >>> from core.measures.window_curve import window_curve
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> wave = np.sin(2 * np.pi * np.arange(128) / 100)
    >>> def spots(noise, height):
    ...     maps = (noise * rng.standard_normal((128, 128)) + height * wave for _ in range(3))
    ...     return [window_curve(HeightMap(z, (1e-8, 1e-8))) for z in maps]
    >>> found = crossings({"glass": spots(2e-9, 0), "film": spots(1e-9, 9e-9)}, ["glass", "film"])
    >>> [crossing.told for crossing in found]
    ['Below windows of 450 nm (440–460 nm) film is smoother, above it glass.']
    """
    there = [name for name in order if any(len(curve) for curve in curves.get(name, ()))]
    found = []
    for first, second in itertools.pairwise(there):
        at = crossover(curves[first], curves[second], confidence=confidence)
        if at is not None:
            found.append(Crossing(first, second, at))
    return tuple(found)


def sentences(found: Sequence[Crossing]) -> list[str]:
    """What to say of the crossings of a standing with at least two specimens; also when there are none."""
    return [crossing.told for crossing in found] or [NONE]


def _length(metres: float) -> str:
    unit = display_unit(metres)
    return f"{_number(metres, unit)} {unit}"


def _range(low: float, high: float) -> str:
    """Both ends in the unit of the upper one, an en dash between them."""
    unit = display_unit(high)
    return f"{_number(low, unit)}–{_number(high, unit)} {unit}"


def _number(metres: float, unit: str) -> str:
    """A window side is known to two digits at best; more would only look exact."""
    return format_number(float(f"{metres / metres_per(unit):.{DIGITS - 1}e}"), digits=DIGITS)
