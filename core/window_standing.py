"""The standing at every window side: who is lowest when roughness is read in windows of this size.

A number at one scan size says nothing about another; the window curves of the spots say what each specimen reads at
every side up to the common one, a plane removed in every window. All sides use the same draws, so that a slider shows
what the side does and not the luck of other random numbers. Windows of one side are also the fair way to compare scans
of different size without a filter: the larger scan is read as the mean over all its windows of the common area.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from core.errors import BenchError
from core.heightmap import FloatArray, frozen
from core.measures.window_curve import WindowCurve
from core.probability import Dice
from core.standing import Ranking, entrants, rank

STEPS = 4
"""Sides in each octave."""


@dataclass(frozen=True, slots=True)
class Change:
    """Two specimens change places.

    Attributes
    ----------
    side : float
        Window side at which the typical spots of both read alike, metres.
    below, above : str
        The lower one in smaller and in larger windows.
    leading : bool
        Whether it is the first place that changes hands.
    """

    side: float
    below: str
    above: str
    leading: bool


@dataclass(frozen=True, slots=True, eq=False)
class WindowStanding:
    """The standing for each of several window sides; arrays are read-only.

    Attributes
    ----------
    side : ndarray, shape (m,)
        Window sides, smallest first, metres.
    specimens : tuple of str
        In bench order.
    rms : ndarray, shape (m, k)
        Geometric mean over the spots, metres.
    chance : ndarray, shape (m, k)
        Probability of being truly the lowest; NaN for specimens with one spot and those set aside.
    rankings : tuple of Ranking
        One for each side, with letters and pairs.
    changes : tuple of Change
        Where specimens change places, smallest side first.
    """

    side: FloatArray
    specimens: tuple[str, ...]
    rms: FloatArray
    chance: FloatArray
    rankings: tuple[Ranking, ...]
    changes: tuple[Change, ...]

    def at(self, side: float) -> Ranking:
        """The standing at the side nearest to this one, on the logarithm."""
        return self.rankings[int(np.argmin(np.abs(np.log(self.side / side))))]


def window_standing(
    curves: Mapping[str, Sequence[WindowCurve]],
    *,
    rng: np.random.Generator,
    sides: Sequence[float] | None = None,
    limited: Collection[str] = (),
    set_aside: Collection[str] = (),
) -> WindowStanding | None:
    """The standing at every window side that all spots reach.

    Parameters
    ----------
    curves : mapping of str to sequence of WindowCurve
        Of the independent spots of each specimen; they may differ in scan size and pixel size.
    rng : numpy.random.Generator
        For the probabilities; its numbers are thrown once for all sides.
    sides : sequence of float, optional
        Window sides, metres; by default four in each octave of what all spots reach.
    limited, set_aside : collection of str, optional
        As for `core.standing.rank`.

    Returns
    -------
    WindowStanding or None
        None where there is no side that all spots reach.

    Raises
    ------
    BenchError
        If a side is beyond what a spot reaches.

    Notes
    -----
    Between the sides of a curve the logarithm of the RMS runs straight along the logarithm of the side. Waves shorter
    than the pixels of the coarsest scan are in the finer scans only: scans of unlike pixels need a band first.

    Examples
    --------
    >>> from core.heightmap import HeightMap
    >>> from core.measures.window_curve import window_curve
    >>> rng = np.random.default_rng(1)
    >>> wave = np.sin(2 * np.pi * np.arange(128) / 100)
    >>> def spots(noise, height):
    ...     return [window_curve(HeightMap(noise * rng.standard_normal((128, 128)) + height * wave, (1e-8, 1e-8)))
    ...             for _ in range(3)]
    >>> found = window_standing({"fine": spots(2e-9, 0), "wavy": spots(1e-9, 9e-9)}, rng=rng)
    >>> found.at(1e-7).places[0].specimen, found.at(1e-6).places[0].specimen
    ('wavy', 'fine')
    >>> [(change.below, change.above, change.leading) for change in found.changes]
    [('wavy', 'fine', True)]
    """
    read = {name: spots for name, spots in curves.items() if spots}
    along = _sides([curve for spots in read.values() for curve in spots], sides)
    if along is None:
        return None
    logs = {name: _logs(spots, along) for name, spots in read.items()}
    among = entrants({name: [0.0] * len(spots) for name, spots in read.items()}, set_aside)
    dice = Dice.thrown([len(read[name]) for name in among], rng=rng) if len(among) > 1 else None
    rankings = tuple(
        rank(
            {name: np.exp(log[:, number]).tolist() for name, log in logs.items()},
            positive=True,
            dice=dice,
            limited=limited,
            set_aside=set_aside,
        )
        for number in range(along.size)
    )
    means = np.stack([log.mean(axis=0) for log in logs.values()], axis=1)
    return WindowStanding(
        side=along,
        specimens=tuple(read),
        rms=frozen(np.exp(means)),
        chance=frozen(np.array([_chances(ranking, tuple(read)) for ranking in rankings])),
        rankings=rankings,
        changes=_changes(np.log(along), means, tuple(read)),
    )


def _chances(ranking: Ranking, specimens: Sequence[str]) -> list[float]:
    known = {place.specimen: place.probability_best for place in ranking.places}
    return [math.nan if (chance := known[name]) is None else chance for name in specimens]


def _sides(curves: Sequence[WindowCurve], wanted: Sequence[float] | None) -> FloatArray | None:
    if not curves or any(len(curve) == 0 or not (curve.rms > 0).all() for curve in curves):
        return None
    low, high = max(float(curve.side[0]) for curve in curves), min(float(curve.side[-1]) for curve in curves)
    if wanted is None:
        if low > high:
            return None
        return frozen(np.geomspace(low, high, 1 + math.ceil(STEPS * math.log2(high / low))))
    sides = np.sort(np.asarray(wanted, np.float64))
    if sides.size == 0 or not (low * (1 - 1e-9) <= sides[0] and sides[-1] <= high * (1 + 1e-9)):
        raise BenchError("A window side lies beyond what every spot reaches", fix="Leave `sides` out to see the range.")
    return frozen(sides)


def _logs(spots: Sequence[WindowCurve], sides: FloatArray) -> FloatArray:
    """Logarithm of the RMS, shape (spots, sides)."""
    return np.stack([np.interp(np.log(sides), np.log(curve.side), np.log(curve.rms)) for curve in spots])


def _changes(along: FloatArray, means: FloatArray, specimens: Sequence[str]) -> tuple[Change, ...]:
    """Every crossing of two typical curves; straight between the sides."""
    found = []
    for i, j in itertools.combinations(range(len(specimens)), 2):
        ratio = means[:, i] - means[:, j]
        apart = np.flatnonzero(ratio)  # where the curves just touch, the sides beside decide
        for before, after in itertools.pairwise(apart.tolist()):
            if ratio[before] * ratio[after] > 0:
                continue
            share = ratio[before] / (ratio[before] - ratio[after])
            place = along[before] + share * (along[after] - along[before])
            below, above = (i, j) if ratio[before] < 0 else (j, i)
            level = means[before, below] + share * (means[after, below] - means[before, below])
            others = [np.interp(place, along, means[:, k]) for k in range(len(specimens)) if k not in (i, j)]
            leading = all(level <= other for other in others)
            found.append(Change(math.exp(place), specimens[below], specimens[above], leading))
    return tuple(sorted(found, key=lambda change: change.side))
