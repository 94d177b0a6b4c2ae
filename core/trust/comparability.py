"""Comparability: may the readings of two specimens stand side by side?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True)
class Pair:
    """The verdict on one pair of specimens.

    Attributes
    ----------
    first, second : str
        The specimens.
    level : {"green", "amber", "red"}
        Comparable, with care, or not.
    reasons : tuple of str
        Short codes: ``"pixel"``, ``"area"``, ``"missing"``.
    cure : str
        The step that makes them comparable; empty when green.
    """

    first: str
    second: str
    level: Literal["green", "amber", "red"]
    reasons: tuple[str, ...] = ()
    cure: str = ""
