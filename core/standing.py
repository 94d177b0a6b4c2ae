"""The standing: specimens in order of one reading, with ties.

Pairs are tested by Welch's t on the logarithm (on the value for readings that are not positive by nature), with one
degree of freedom as soon as one of the two has only two spots, and Holm's adjustment over all pairs at 5 %. Letters by
insert-and-absorb: two specimens share a letter if and only if they were not told apart.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

LEVEL = 0.05


@dataclass(frozen=True, slots=True)
class Place:
    """One line of the standing.

    Attributes
    ----------
    rank : int
        1 is the lowest reading. Order alone; `tie` says what is proven.
    specimen : str
        Its name.
    tie : str or None
        Letters; specimens that share one are not told apart. None when a single scan stands for the specimen.
    probability_best : float or None
        Probability that this specimen is truly the lowest; None when a single scan stands for it.
    proven : bool
        Whether the place rests on at least two spots.
    value : float or None
        The ranking reading, SI; None when it could not be had (such specimens come last).
    """

    rank: int
    specimen: str
    tie: str | None
    probability_best: float | None
    proven: bool
    value: float | None
