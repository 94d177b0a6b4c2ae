"""What the standing says, in sentences: who is lowest, who is tied, what is not proven, and what more spots give.

Sheet, figure and window say the same words. A probability and the letters answer different questions: the sentence
names a winner only where the letters separate it, and gives the probability beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from core.power import SPOTS, Power
from core.standing import Ranking
from core.units import percent

SMOOTH = frozenset({"Sq", "Sa", "Sdq", "Sdr"})
"""Readings whose lowest is called the smoothest."""


def sentences(ranking: Ranking, symbol: str) -> tuple[str, ...]:
    """The standing in words, the most important first.

    Parameters
    ----------
    ranking : Ranking
        As `core.standing.rank` made it.
    symbol : str
        Of the ranking reading.

    Examples
    --------
    >>> import numpy as np
    >>> from core.standing import rank
    >>> spots = {"mica": [1.0, 1.1, 1.05], "film": [3.0, 3.3, 3.1], "gold": [2.0]}
    >>> said = sentences(rank(spots, positive=True, rng=np.random.default_rng(1)), "Sq")
    >>> said[0]
    'mica is the smoothest (P > 0.99, told apart from all).'
    >>> said[1]
    'gold rests on a single scan: spot-to-spot variation unknown, its place is not proven. Scan at least three spots.'
    """
    return (*_lowest(ranking, symbol), *_bounds(ranking), *_aside(ranking), *_unproven(ranking, symbol),
            *_power(ranking))  # fmt: skip


def chance_digits(share: float) -> str:
    """A probability by two digits for tables; never a certainty, which draws cannot give.

    >>> chance_digits(0.974), chance_digits(0.9999), chance_digits(0.0)
    ('0.97', '> 0.99', '< 0.01')
    """
    return "> 0.99" if share > 0.995 else "< 0.01" if share < 0.005 else f"{share:.2f}"


def chance_text(share: float) -> str:
    """The same behind a P in a sentence.

    >>> chance_text(0.974), chance_text(0.9999)
    ('= 0.97', '> 0.99')
    """
    digits = chance_digits(share)
    return f"= {digits}" if digits[0].isdigit() else digits


def listed(names: Sequence[str]) -> str:
    """Names in a sentence.

    >>> listed(["A"]), listed(["A", "B"]), listed(["A", "B", "C"])
    ('A', 'A and B', 'A, B and C')
    """
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _lowest(ranking: Ranking, symbol: str) -> list[str]:
    if len(ranking.tested) < 2:
        return []
    first = ranking.tested[0]
    chances = {place.specimen: place.probability_best or 0.0 for place in ranking.places}
    tied = ranking.tied_with(first)
    if tied:
        likeliest = max((first, *tied), key=lambda name: chances[name])
        return [
            f"{listed([first, *tied])} are tied for the lowest {symbol}; the lowest is most likely {likeliest} "
            f"(P {chance_text(chances[likeliest])})."
        ]
    what = "is the smoothest" if symbol in SMOOTH else f"has the lowest {symbol}"
    whom = "all" if all(place.comparable for place in ranking.places) else "all that are comparable"
    return [f"{first} {what} (P {chance_text(chances[first])}, told apart from {whom})."]


def _bounds(ranking: Ranking) -> list[str]:
    names = [place.specimen for place in ranking.places if place.limited]
    if not names:
        return []
    is_, its = (
        ("is", "its reading is an upper bound") if len(names) == 1 else ("are", "their readings are upper bounds")
    )
    return [f"{listed(names)} {is_} at the limit of the instrument: {its}, tied with everything that reads lower."]


def _aside(ranking: Ranking) -> list[str]:
    gone = [place for place in ranking.places if not place.comparable and place.not_comparable_with]
    if not gone:
        return []
    if len(gone) == 1:
        others = gone[0].not_comparable_with
        that = "that" if len(others) == 1 else "those"
        return [f"{gone[0].specimen} is set aside: its reading may not stand beside {that} of {listed(others)}."]
    names = listed([place.specimen for place in gone])
    if all(not place.comparable for place in ranking.places):
        return [f"{names} are set aside: no reading may stand beside another as they are."]
    return [f"{names} are set aside: their readings may not stand beside those of the others."]


def _unproven(ranking: Ranking, symbol: str) -> list[str]:
    alone = [place.specimen for place in ranking.places if not place.proven and place.value is not None]
    unread = [place.specimen for place in ranking.places if place.value is None]
    said = []
    if len(alone) == 1:
        said.append(f"{alone[0]} rests on a single scan: spot-to-spot variation unknown, its place is not proven. "
                    "Scan at least three spots.")  # fmt: skip
    elif alone:
        said.append(f"{listed(alone)} rest on a single scan each: spot-to-spot variation unknown, their places are "
                    "not proven. Scan at least three spots.")  # fmt: skip
    if unread:
        said.append(f"{symbol} could not be had for {listed(unread)}.")
    return said


def _power(ranking: Ranking) -> list[str]:
    """What the spots can tell apart, and how many would be needed; silent when all is told apart already."""
    found = ranking.power
    if found is None or (found.spots > 2 and found.tied is None):
        return []
    said = []
    if found.spots == 2:
        said.append("Two spots cannot rank: with their single degree of freedom hardly any difference is found.")
    if math.isfinite(found.ratio_five):
        said.append(
            f"From spot to spot the readings scatter by {percent(found.scatter)}"
            + f"; so {'five' if SPOTS == 5 else SPOTS} spots of each would separate a factor of {found.ratio_five:.2f} "
            "(in four of five benches)."
        )
    return [*said, *_needed(ranking, found)]


def _needed(ranking: Ranking, found: Power) -> list[str]:
    if found.tied is None:
        return []
    first, second = found.tied
    values = {place.specimen: place.value for place in ranking.places}
    low, high = values[first], values[second]
    if not low or not high:
        return []
    told = f"the factor of {high / low:.2f} between {first} and {second}, if it is real"
    if found.needed is None:
        return [f"No reasonable number of spots would separate {told}."]
    return [f"Separating {told}, takes {found.needed} spots of each."]
