"""The trial: virtual spheres dropped on the measured map, imaged, and searched for by the same census.

The measured map is the surface *as the probe drew it*: it is dilated already and is never dilated again. Dilation
distributes over maxima, dil(max(z, ball)) = max(dil z, dil ball), so the image of a surface with a particle is the
greater of the measured map and the particle's own image, which has a closed form.
"""

from core.fitness.trial.bench import trial_bench
from core.fitness.trial.landing import Landing, landing_areas
from core.fitness.trial.record import ByDiameter, Plan, Reliable, Trial
from core.fitness.trial.run import trial, trials
from core.fitness.trial.sweep import sweep

__all__ = [
    "ByDiameter",
    "Landing",
    "Plan",
    "Reliable",
    "Trial",
    "landing_areas",
    "sweep",
    "trial",
    "trial_bench",
    "trials",
]
