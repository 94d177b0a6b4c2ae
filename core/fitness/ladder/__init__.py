"""Ladder: the steps of a crystal, as a check of the height scale."""

from core.fitness.ladder.crystals import CRYSTALS, Crystal, Match, matches
from core.fitness.ladder.find import Ladder, ladder

__all__ = ["CRYSTALS", "Crystal", "Ladder", "Match", "ladder", "matches"]
