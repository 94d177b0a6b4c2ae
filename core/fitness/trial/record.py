"""What is asked of a trial, and what it answers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from core.errors import QuantityError
from core.fitness.poisson import Rate
from core.fitness.trial.landing import Landing
from core.relief import K

Light = Literal["green", "amber", "red"]

DIAMETERS = (20e-9, 30e-9, 50e-9)
TOLERATED = 1e10
"""False bumps per m² that are tolerated: 1 per 100 µm² (common practice, no source)."""

WANTED = 0.95
ONE_SIDED = 1.6448536269514722  # Φ⁻¹(0.95)


@dataclass(frozen=True, slots=True)
class Plan:
    """What is dropped and what is wanted.

    Attributes
    ----------
    diameters : tuple of float
        Mean diameters of the spheres that are judged, metres; by default 20, 30 and 50 nm.
    spread : float
        Standard deviation of the diameters in mean diameters, default 0.10.
    probe_radius : float or None
        Metres; that of file or sidecar by default, else 10 nm.
    k : float
        Least threshold in robust sigma, default 5.
    tolerated : float
        False bumps per m², default 1e10.
    spheres : int
        Dropped for each diameter, at least; default 400: recall at 0.95 is then known to ± 2 %.
    precision : float
        Wanted half width of the 95 % interval of the mean height, share of it; default 0.02.
    coverage : float
        Expected particles per m², default 1e12: 1 per µm².
    landing : float or None
        Side of the squares that are sought as landing areas, metres; a quarter of the shorter side by default.
    """

    diameters: tuple[float, ...] = DIAMETERS
    spread: float = 0.10
    probe_radius: float | None = None
    k: float = K
    tolerated: float = TOLERATED
    spheres: int = 400
    precision: float = 0.02
    coverage: float = 1e12
    landing: float | None = None

    def __post_init__(self) -> None:
        if not self.diameters:
            raise QuantityError("A trial needs a diameter", fix="Write such as 20 nm.")
        for value, what in (
            *((diameter, "diameter") for diameter in self.diameters),
            (self.k, "threshold k"),
            (self.tolerated, "tolerated rate"),
            (self.precision, "wanted precision"),
            (self.coverage, "coverage"),
            (1.0 if self.landing is None else self.landing, "side of a landing area"),
            (1.0 if self.probe_radius is None else self.probe_radius, "probe radius"),
        ):
            if not 0 < value < math.inf:
                raise QuantityError(f"The {what} is positive and finite, not {value}")
        if not 0 <= self.spread <= 0.3:
            raise QuantityError(f"The spread of the diameters is 0 to 0.3, not {self.spread}")
        if self.spheres < 50:
            raise QuantityError("Fewer than 50 spheres prove nothing", fix="Drop 400 or more.")


@dataclass(frozen=True, slots=True)
class ByDiameter:
    """What became of the spheres of one mean diameter.

    Attributes
    ----------
    diameter : float
        Mean, metres.
    dropped, found : int
        Spheres.
    recall : float or None
        Share found; None when none could be dropped.
    recall_low, recall_high : float or None
        Exact 95 % interval of it for this map (scatter between maps is not in it).
    false_rate : Rate or None
        Bumps of the blank map above the threshold, with interval.
    height_bias, height_spread : float or None
        Mean and standard deviation of the height found less the true diameter, metres; None when fewer than ten were
        found, or when the threshold is above 0.7 of the diameter: then only the lucky ones were.
    light : {"green", "amber", "red"}
        Green: recall at least 95 %, false bumps tolerable, bias and spread together below a quarter of the diameter.
        Red: recall below 50 %. Amber between.
    scans_needed : int or None
        Scans like these for the wanted precision of the mean height at the expected coverage.
    """

    diameter: float
    dropped: int
    found: int
    recall: float | None
    recall_low: float | None
    recall_high: float | None
    false_rate: Rate | None
    height_bias: float | None
    height_spread: float | None
    light: Light
    scans_needed: int | None


@dataclass(frozen=True, slots=True)
class Reliable:
    """The smallest diameter of which 95 % are found.

    Attributes
    ----------
    diameter : float or None
        Metres; None when it is not reached, and `note` says why.
    low, high : float or None
        95 % interval of it.
    curve : tuple of (float, int, int)
        Diameter, dropped, found: the recall curve behind it.
    expected : float or None
        From threshold and sigma alone, independent spreads (see `expected_diameter`).
    cautious : float or None
        The same with the spreads added, an upper bound.
    note : str
        "not reached", "pixel-limited", "not countable" and why.
    """

    diameter: float | None
    low: float | None
    high: float | None
    curve: tuple[tuple[float, int, int], ...]
    expected: float | None
    cautious: float | None
    note: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """The trial of one specimen.

    Attributes
    ----------
    specimen : str
        Its name.
    scans : tuple of str
        The maps that spheres were dropped on.
    plan : Plan
        What was asked.
    probe_radius : float or None
        Used, metres.
    threshold, sigma, noise : float or None
        Of the specimen, metres: the threshold held in all its scans, the largest sigma, the median noise.
    reliable : Reliable
        The smallest reliably counted diameter.
    by_diameter : tuple of ByDiameter
        One for each diameter of the plan.
    landing : tuple of Landing
        Best places for particles, the best first.
    note : str
        Conditions.
    """

    specimen: str
    scans: tuple[str, ...]
    plan: Plan
    probe_radius: float | None
    threshold: float | None
    sigma: float | None
    noise: float | None
    reliable: Reliable
    by_diameter: tuple[ByDiameter, ...]
    landing: tuple[Landing, ...] = ()
    note: str = ""


def expected_diameter(threshold: float, sigma: float, spread: float) -> float:
    r"""The diameter of which 95 % pass a threshold: :math:`d = t + 1.645\sqrt{\sigma^2 + (c d)^2}`, c the spread.

    Particle height and ground scatter independently. On Gaussian surfaces the trial gives 0.97 to 1.07 of it
    (simulated for this program).

    >>> round(expected_diameter(2.5e-9, 0.5e-9, 0.1) * 1e9, 2)
    3.5
    """
    z = ONE_SIDED
    a, b, c = 1 - (z * spread) ** 2, -2 * threshold, threshold**2 - (z * sigma) ** 2
    return (-b + math.sqrt(max(b * b - 4 * a * c, 0.0))) / (2 * a)


def cautious_diameter(threshold: float, sigma: float, spread: float) -> float:
    r"""The same with both spreads added, :math:`(t + 1.645\sigma)/(1 - 1.645 c)`: an upper bound.

    >>> round(cautious_diameter(2.5e-9, 0.5e-9, 0.1) * 1e9, 2)
    3.98
    """
    return (threshold + ONE_SIDED * sigma) / (1 - ONE_SIDED * spread)


def particles_needed(spread: float, precision: float) -> int:
    """Particles for a mean within `precision` (share, 95 %): (1.96 · spread / precision)², rounded up.

    >>> particles_needed(0.10, 0.02), particles_needed(0.20, 0.02), particles_needed(0.20, 0.01)
    (97, 385, 1537)
    """
    return math.ceil((1.959963984540054 * spread / precision) ** 2 - 1e-9)
