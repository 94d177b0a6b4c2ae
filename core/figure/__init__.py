"""The figure: all maps on one scale, each on its own, with what belongs beside them, in millimetres and points."""

from core.figure.slide import draw, save

__all__ = ["draw", "save"]
