r"""The particle-eye map: heights over the ground that a particle of some size stands on. Long waves do not count."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Self

import numpy as np

from core.errors import MapError, QuantityError
from core.filters.weights import SIGMA
from core.heightmap import FloatArray, HeightMap, frozen
from core.relief.ground import ground, one_sided_sigmas

PARTICLE = 20e-9
"""Diameter of the smallest particle that is looked for unless said otherwise, metres."""

PROBE_RADIUS = 10e-9
"""Radius of a probe that nobody states, metres (common practice for a new silicon probe, no source)."""

FEWEST = 2.5
"""Pixels that half the base of the smallest feature must span: below that, pixels decide and not the surface."""

MAD_TO_SIGMA = 1.482602218505602  # 1 / Φ⁻¹(3/4)

WIDTH = 1.2
"""Standard deviation of the ground's Gaussian in half base widths (methods measured for this program)."""


@dataclass(frozen=True, slots=True)
class Eye:
    """The size of what is looked for.

    Attributes
    ----------
    half_width : float
        Half the base width of the smallest wanted feature in the image, metres.
    """

    half_width: float

    @classmethod
    def of(cls, diameter: float, probe_radius: float, pitch: tuple[float, float]) -> Self:
        r"""The eye for spheres of a diameter under a probe of a radius.

        A sphere of radius r is imaged with a base of about :math:`4\sqrt{Rr}`. Where the pixels are too coarse for
        that, half the base is `FEWEST` of the coarser pixel, and the smallest wanted feature is larger.

        Parameters
        ----------
        diameter : float
            Of the smallest wanted particle, metres.
        probe_radius : float
            Metres.
        pitch : (float, float)
            ``(dy, dx)`` of the map, metres.

        Raises
        ------
        QuantityError
            If a length is not positive.

        Examples
        --------
        >>> round(Eye.of(20e-9, 10e-9, (4e-9, 4e-9)).half_width * 1e9, 9)
        20.0
        >>> round(Eye.of(20e-9, 10e-9, (2e-8, 2e-8)).half_width * 1e9, 9)
        50.0
        """
        for length, what in ((diameter, "particle diameter"), (probe_radius, "probe radius")):
            if not 0 < length < math.inf:
                raise QuantityError(f"A {what} is a positive length, not {length}", fix="Write such as 20 nm.")
        return cls(max(math.sqrt(2 * probe_radius * diameter), FEWEST * max(pitch)))

    @property
    def smoothing(self) -> float:
        """Standard deviation of the Gaussian that makes the ground, metres."""
        return WIDTH * self.half_width

    @property
    def cutoff(self) -> float:
        """The same Gaussian as a cut-off wavelength of ISO 16610-61, metres."""
        return self.smoothing / SIGMA

    def guard(self, pitch: tuple[float, float]) -> float:
        """Width of the frame in which features are found but not counted: their ring would leave the map, metres."""
        inner = 1.15 * self.half_width + max(pitch)
        return inner + max(2.5 * max(pitch), 0.35 * inner)


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """A map as the eye sees it.

    Attributes
    ----------
    eye : Eye
        The size looked for.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    r : ndarray, shape (ny, nx), read-only
        Heights over the ground, metres; NaN where a point does not count.
    sigma : float
        Robust standard deviation of `r` by its lower side, metres: bumps cannot inflate it.
    upper_sigma : float
        The same by its upper side, for hollows.
    noise : float
        Standard deviation from point to point along the rows, metres: white noise and the finest texture.
    """

    eye: Eye
    pitch: tuple[float, float]
    r: FloatArray
    sigma: float
    upper_sigma: float
    noise: float


def see(scan: HeightMap, eye: Eye) -> Seen:
    r"""The particle-eye map of a map.

    Parameters
    ----------
    scan : HeightMap
        Levelled. Missing and masked points have weight 0.
    eye : Eye
        The size looked for.

    Returns
    -------
    Seen

    Raises
    ------
    MapError
        If the map is not at least six standard deviations of the ground's Gaussian wide and high, or if fewer than
        half of its points count.

    Notes
    -----
    :math:`r = z - G(zw)/G(w)`, G a Gaussian of standard deviation 1.2 a, a half the base of the smallest wanted
    feature, w the points that count less the bodies found (see `core.relief.ground`). sigma = q(50 %) - q(15.87 %).

    Examples
    --------
    >>> z = np.random.default_rng(1).normal(0, 1e-10, (128, 128))
    >>> seen = see(HeightMap(z, pitch=(4e-9, 4e-9)), Eye.of(20e-9, 10e-9, (4e-9, 4e-9)))
    >>> bool(0.95e-10 < seen.sigma < 1.05e-10), bool(0.95e-10 < seen.noise < 1.05e-10)
    (True, True)
    """
    if min(scan.size) < 6 * eye.smoothing:
        raise MapError(
            "The map is too small to tell bumps from their ground",
            fix=f"It should be at least {6 * eye.smoothing * 1e9:.0f} nm wide and high; scan wider or finer.",
        )
    used = None if scan.complete else scan.used
    if used is not None and np.count_nonzero(used) < used.size / 2:
        raise MapError("Fewer than half of the points count", fix="Mask less, or scan a cleaner spot.")
    r = scan.z - ground(scan, used, eye.cutoff)
    if used is not None:
        r[~used] = np.nan
    counted = r.reshape(-1) if used is None else r[used]
    return Seen(eye, scan.pitch, frozen(r), *one_sided_sigmas(counted), noise_of(r))


def noise_of(r: FloatArray, order: int = 2) -> float:
    """Standard deviation of a point by differences along the rows, robust, metres; 0 where a row is too short.

    Parameters
    ----------
    r : ndarray, shape (ny, nx)
        Heights, metres; NaN where a point does not count.
    order : int, default 2
        Of the differences. Texture enters less the higher it is: of a Gaussian texture whose autocorrelation falls to
        1/e over 5 points, 6 % of its RMS at order 2 and 0.8 % at order 4 (closed form).
    """
    if r.shape[1] <= order:
        return 0.0
    bend = np.diff(r[:: max(1, r.shape[0] // 128)], order, axis=1)
    bend = np.abs(bend[np.isfinite(bend)])
    return MAD_TO_SIGMA * float(np.median(bend)) / math.sqrt(math.comb(2 * order, order)) if bend.size else 0.0


def probe_radius_of(scan: HeightMap) -> float | None:
    """The probe radius that file or sidecar states, metres; None when they do not."""
    said = scan.metadata.get("probe_radius")
    return float(said) if isinstance(said, int | float) and 0 < said < math.inf else None
