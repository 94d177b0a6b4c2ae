"""Treatment: from the map as recorded to a map that can be compared."""

from core.treatment.band import Band
from core.treatment.calibrate import Calibrate
from core.treatment.crop import Crop
from core.treatment.fill import Fill
from core.treatment.level import Level
from core.treatment.mask import Mask
from core.treatment.recipe import STEPS, Treatment
from core.treatment.resample import Resample
from core.treatment.rows import Rows
from core.treatment.step import Step
from core.treatment.zero import Zero

__all__ = [
    "STEPS",
    "Band",
    "Calibrate",
    "Crop",
    "Fill",
    "Level",
    "Mask",
    "Resample",
    "Rows",
    "Step",
    "Treatment",
    "Zero",
]
