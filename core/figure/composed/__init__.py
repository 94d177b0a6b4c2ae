"""The composed figure: a page, rows of maps and curves, a caption, as a plan says that can be kept and drawn again."""

from core.figure.composed.fairness import Fairness
from core.figure.composed.page import Composed, compose, draw, save
from core.figure.composed.plan import CURVES, LOOKS, PAGES, ROWS, FigurePlan, plan_in

__all__ = [
    "CURVES",
    "LOOKS",
    "PAGES",
    "ROWS",
    "Composed",
    "Fairness",
    "FigurePlan",
    "compose",
    "draw",
    "plan_in",
    "save",
]
