"""Bumps and hollows: how many there are for each area, how high, and what the surface is without them."""

from core.fitness.bumps.census import Census, Mark, census, pooled
from core.fitness.bumps.counting import Counted, count_all, median_height
from core.fitness.bumps.side_by_side import SideBySide, with_and_without

__all__ = [
    "Census",
    "Counted",
    "Mark",
    "SideBySide",
    "census",
    "count_all",
    "median_height",
    "pooled",
    "with_and_without",
]
