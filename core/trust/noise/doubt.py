"""The doubt that measured noise casts on a specimen."""

from __future__ import annotations

from core.trust.doubts import Doubt
from core.trust.noise.judged import SpecimenNoise
from core.trust.noise.quadrature import GATE
from core.units import format_length

AMBER = 0.5
"""N/S from which the correction needs care: it multiplies the uncertainty by 1.3."""

ADVICE = "Scan slower, tune the gain again, damp acoustics, take a fresh probe; then repeat one scan at once."


def noise_doubts(noise: SpecimenNoise) -> tuple[Doubt, ...]:
    """One doubt where the measured noise is half of the reading or more, or where repeats are no repeats."""
    found, floor = noise.corrected, noise.floor
    if found is None or floor is None:
        return ()
    if floor.upper_limit:
        return (
            Doubt(
                "noise-floor",
                "amber",
                f"The repeats could not be laid on each other, so nothing was taken off: {floor.note}.",
                "Repeat the scan at once, in the same frame, after the drift has died out.",
            ),
        )
    if not found.limited and found.ratio < AMBER:
        return ()
    told = f"Sq reads {format_length(found.raw)}, of which {floor.describe()}: N/S = {found.ratio:.2f}."
    if found.limited:
        told += f" Limited by the instrument: Sq ≤ {format_length(found.bound or found.raw)}."
    return (
        Doubt(
            "noise-floor",
            "red" if found.limited else "amber",
            told,
            ADVICE,
            figures={"floor_m": floor.value, "ratio": found.ratio, "gate": GATE},
        ),
    )
