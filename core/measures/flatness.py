"""Flatness: departures from the plane of best fit, the minimum zone, and peak to valley without the extremes.

Departures are vertical distances. Normal to the plane they are smaller by the factor 1/√(1 + slope²), which heights of
nanometres over micrometres do not feel; where it matters the note says it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from core.buckets import Buckets
from core.errors import TreatmentError
from core.heightmap import FloatArray, HeightMap
from core.measures.minimum_zone import Zone, minimum_zone
from core.measures.outcome import Outcome
from core.measures.quantity import Quantity
from core.measures.surface import Surface
from core.polynomials.fit import Fit, fit_polynomial

TRIMMED = 0.005
"""Share of the points that PV99 leaves out at either end."""

FORM_DEGREE = 7
"""Total degree of the form in PVr: 36 terms, as many as the Zernike polynomials that the definition takes on a disc."""

SLOPE_FELT = 1e-3
"""From this slope on the note gives the factor to normal distances: it is 5e-7 there."""


@dataclass(frozen=True, eq=False)
class Flatness:
    """Departures of a map from its least-squares plane.

    Attributes
    ----------
    scan : HeightMap
        The map; its points that count determine the plane.
    plane : Fit
        The plane; its residual are the departures, metres.
    """

    scan: HeightMap
    plane: Fit

    @cached_property
    def departures(self) -> FloatArray:
        """The departures that count, flat, metres."""
        residual = self.plane.residual
        return residual.reshape(-1) if self.scan.complete else residual[self.scan.used]

    @cached_property
    def peak(self) -> float:
        """Greatest departure upwards, metres."""
        return max(0.0, float(self.departures.max()))

    @cached_property
    def valley(self) -> float:
        """Greatest departure downwards, metres, counted positive."""
        return max(0.0, -float(self.departures.min()))

    @cached_property
    def rms(self) -> float:
        """Root mean square departure, metres."""
        return math.sqrt(float(np.dot(self.departures, self.departures)) / self.departures.size)

    @cached_property
    def zone(self) -> Zone:
        """The minimum zone; its slope is that against the least-squares plane."""
        return minimum_zone(self.plane.residual, None if self.scan.complete else self.scan.used)

    @cached_property
    def trimmed_range(self) -> float:
        """Range of the departures without 0.5 % of the points at either end, metres."""
        left_out = math.floor(TRIMMED * self.departures.size)
        buckets = Buckets(self.departures)
        return buckets.at(self.departures.size - 1 - left_out) - buckets.at(left_out)

    @cached_property
    def form(self) -> Fit:
        """The polynomial surface of 36 terms through the departures.

        Raises
        ------
        TreatmentError
            If the points that count do not determine it.
        """
        return fit_polynomial(self.scan.with_(z=self.plane.residual), FORM_DEGREE)

    @cached_property
    def robust_range(self) -> float:
        """PV of the form plus three times the RMS of what it leaves, metres."""
        used = self.scan.used
        surface, rest = self.form.evaluate()[used], self.form.residual[used]
        return float(np.ptp(surface)) + 3 * math.sqrt(float(np.dot(rest, rest)) / rest.size)

    def normal_note(self, slope: tuple[float, float] = (0.0, 0.0)) -> str:
        """The factor to distances normal to the plane, tilted further by `slope` (rise for a step), if it matters."""
        down, across = (
            tilt + rise / step for tilt, rise, step in zip(self.plane.tilt, slope, self.scan.pitch, strict=True)
        )
        steepness = math.hypot(down, across)
        if steepness < SLOPE_FELT:
            return ""
        factor = 1 / math.hypot(1, steepness)
        return f"Vertical distances: times {factor:.6g} for those normal to the plane, which rises by {steepness:.3g}."


def flatness_of(scan: HeightMap) -> Flatness:
    """Departures of a map from its least-squares plane.

    Parameters
    ----------
    scan : HeightMap
        The map. Missing and masked points do not count.

    Returns
    -------
    Flatness

    Raises
    ------
    TreatmentError
        If the points that count do not determine a plane.

    Examples
    --------
    >>> flat = flatness_of(HeightMap([[0.0, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, 0.0, 1e-9]], pitch=(1e-6, 1e-6)))
    >>> round(1e9 * (flat.peak + flat.valley), 6), round(1e9 * flat.zone.width, 6)
    (0.833333, 0.75)
    """
    return Flatness(scan, fit_polynomial(scan, 1))


def total_departure(surface: Surface) -> Outcome:
    """FLTt: peak to valley about the least-squares plane, FLTp + FLTv; metres."""
    flat = surface.flatness
    return Outcome(flat.peak + flat.valley, flat.normal_note()) if isinstance(flat, Flatness) else flat


def peak_departure(surface: Surface) -> Outcome:
    """FLTp: greatest height above the least-squares plane; metres."""
    flat = surface.flatness
    return Outcome(flat.peak, flat.normal_note()) if isinstance(flat, Flatness) else flat


def valley_departure(surface: Surface) -> Outcome:
    """FLTv: greatest depth below the least-squares plane, counted positive; metres."""
    flat = surface.flatness
    return Outcome(flat.valley, flat.normal_note()) if isinstance(flat, Flatness) else flat


def rms_departure(surface: Surface) -> Outcome:
    r"""FLTq: :math:`\sqrt{\overline{r^2}}`, r the height above the least-squares plane; metres."""
    flat = surface.flatness
    return Outcome(flat.rms, flat.normal_note()) if isinstance(flat, Flatness) else flat


def zone_width(surface: Surface) -> Outcome:
    """FLTt(MZ): width of the minimum zone; metres."""
    flat = surface.flatness
    if not isinstance(flat, Flatness):
        return flat
    zone = flat.zone
    proof = "" if zone.certain else f"Not proved the least: between {zone.least:.6g} m and {zone.width:.6g} m."
    return Outcome(zone.width, " ".join(filter(None, (proof, flat.normal_note(zone.slope)))))


def trimmed_range(surface: Surface) -> Outcome:
    """PV99: range of the departures without 0.5 % of the points at either end; metres."""
    flat = surface.flatness
    return Outcome(flat.trimmed_range) if isinstance(flat, Flatness) else flat


def robust_range(surface: Surface) -> Outcome:
    """PVr: peak to valley of the form plus three times the RMS of the rest; metres."""
    flat = surface.flatness
    if not isinstance(flat, Flatness):
        return flat
    try:
        return Outcome(flat.robust_range)
    except TreatmentError as error:
        return _undetermined(error)


def reference(scan: HeightMap) -> Flatness | Outcome:
    """Departures of a map from its plane, or why it has none."""
    try:
        return flatness_of(scan)
    except TreatmentError as error:
        return _undetermined(error)


def _undetermined(error: TreatmentError) -> Outcome:
    return Outcome(None, f"{error.what}.")


_AREA = "A scan shows the flatness of its own area only, which is far smaller than a part's face."
_PLANE = "Heights are taken from the least-squares plane of the points that count, whether the map was levelled or not."

ENTRIES = (
    Quantity(
        "FLTt",
        "peak-to-valley flatness",
        "m",
        "ISO 12781-1:2011, 3.3",
        f"From the lowest to the highest point about the plane. {_PLANE}",
        "FLTt = FLTp + FLTv",
        "Two points decide, and the plane of best fit is not that of the narrowest zone: FLTt(MZ) is never larger. "
        f"{_AREA}",
        True,
        total_departure,
    ),
    Quantity(
        "FLTp",
        "peak-to-reference flatness",
        "m",
        "ISO 12781-1:2011, 3.3",
        f"The highest point above the plane. {_PLANE}",
        "FLTp = max r, r = height above the least-squares plane",
        f"One point decides: dust, or a spike of the feedback. {_AREA}",
        True,
        peak_departure,
    ),
    Quantity(
        "FLTv",
        "reference-to-valley flatness",
        "m",
        "ISO 12781-1:2011, 3.3",
        f"The lowest point below the plane, counted positive. {_PLANE}",
        "FLTv = −min r",
        f"One point decides, and a blunt tip does not reach the bottom of a narrow pit. {_AREA}",
        True,
        valley_departure,
    ),
    Quantity(
        "FLTq",
        "root mean square flatness",
        "m",
        "ISO 12781-1:2011, 3.3",
        f"The spread of the heights about the plane. {_PLANE}",
        "FLTq = √( mean of r² )",
        f"As Sq: it grows with the scan size. {_AREA}",
        True,
        rms_departure,
    ),
    Quantity(
        "FLTt(MZ)",
        "flatness by minimum zone",
        "m",
        "ISO 12781-1:2011, minimum zone reference",
        "The distance of the two parallel planes closest together that hold all points between them: the flatness that "
        "a tolerance on a drawing means.",
        "FLTt(MZ) = min over planes of (max r − min r), a linear programme solved over all points",
        f"Three or four points decide. {_AREA}",
        True,
        zone_width,
    ),
    Quantity(
        "PV99",
        "trimmed peak to valley",
        "m",
        "no standard: common practice",
        f"Peak to valley without the highest and the lowest 0.5 % of the points. {_PLANE}",
        "PV99 = range of r without 0.5 % of the points at either end",
        "Features that cover less than 0.5 % of the area do not show in it.",
        True,
        trimmed_range,
    ),
    Quantity(
        "PVr",
        "robust peak to valley",
        "m",
        "C. J. Evans, Opt. Eng. 48 (2009) 043605 (from memory), with another polynomial set",
        "Peak to valley of the smooth form, and three times the RMS of what it leaves. The form is the least-squares "
        "sum of the 36 products of Legendre polynomials in x and y of total degree up to 7, in place of the 36 Zernike "
        f"polynomials of a disc: a map is a rectangle. {_PLANE}",
        "PVr = PV(form) + 3 · RMS(r − form)",
        "Not the same number as with Zernike polynomials on a disc. On a small scan there is no form to speak of, and "
        "it is three times the roughness.",
        True,
        robust_range,
    ),
)
