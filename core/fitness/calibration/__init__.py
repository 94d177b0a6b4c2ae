"""Calibration: factors of heights and pixel sizes from standards, and the record of them."""

from core.fitness.calibration.evaluate import KINDS, Evaluated, evaluate
from core.fitness.calibration.grating import Grating, gratings
from core.fitness.calibration.record import Calibration
from core.fitness.calibration.step_height import StepHeight, StepProfile, step_height, step_profile

__all__ = [
    "KINDS",
    "Calibration",
    "Evaluated",
    "Grating",
    "StepHeight",
    "StepProfile",
    "evaluate",
    "gratings",
    "step_height",
    "step_profile",
]
