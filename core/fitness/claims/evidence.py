"""Evidence: what the scans of a specimen say about the quantity that is claimed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.errors import LowreliefError
from core.fitness.claims.claim import FLATNESS, PROFILE, Claim
from core.fitness.claims.form import without_power
from core.fitness.claims.reach import FINE_PIXELS, LONG_SHARE, Reach, covers, cropped
from core.heightmap import HeightMap
from core.measures import readings
from core.measures.flatness import Flatness, flatness_of
from core.measures.profile_texture import texture
from core.measures.profiles import Profiles
from core.measures.reading import Reading
from core.polynomials.fit import fit_polynomial
from core.treatment import Band
from core.trust import interval

FIRST_MEASUREMENT = 0.7
"""A single measurement is taken as proof of a limit from 70 % of it on (ISO 4288:1996, 5.2, from memory): what is
allowed here for the spread between spots when only one was measured."""

SCANNER = 0.5e-3
"""No piezo scanner reaches so far, metres: the bow of a larger map is not a scanner's."""

COVERAGE = 2.0
"""Coverage factor of U, about 95 %."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What was measured.

    Attributes
    ----------
    value : float or None
        Metres; None where nothing could be measured, then `note` says why.
    low, high : float or None
        Interval of about 95 %; None where unknown.
    n : int
        Scans behind it.
    bound : float or None
        For form seen in part and over the limit: the smaller of the values with and without bow, metres.
    peak, valley : float or None
        For PV: highest and lowest point against the mean plane, metres, both positive.
    band : (float or None, float or None)
        Wavelengths of texture that were measured.
    note : str
        Conditions.
    """

    value: float | None
    low: float | None = None
    high: float | None = None
    n: int = 0
    bound: float | None = None
    peak: float | None = None
    valley: float | None = None
    band: tuple[float | None, float | None] = (None, None)
    note: str = ""

    @property
    def half(self) -> float | None:
        """Half the interval, metres."""
        return None if self.low is None or self.high is None else (self.high - self.low) / 2


def form_evidence(claim: Claim, scans: Sequence[HeightMap], reach: Reach, limit: float | None) -> Evidence:
    """Form: on the maps that hold the aperture the typical value, else the worst of the parts.

    Parameters
    ----------
    claim : Claim
        Of form.
    scans : sequence of HeightMap
        Levelled or not: form is taken about its own plane.
    reach : Reach
    limit : float or None
        Metres; whether a lower bound is worth its time.

    Notes
    -----
    Every figure of flatness carries U from the noise of the pixels, estimated from second differences (an upper limit:
    they hold texture too), which moves either extreme by about 2 of its standard deviations: U = 2·√2·N. For RMS the
    noise adds in quadrature. The relative uncertainty of the height scale, where a calibration states it, is added in
    quadrature. What a part departs, the whole departs at least; but the bow of the scanner is not the specimen's (a sag
    of λ/20 over 25 mm leaves 0.005 pm over 10 µm): of a part, what a surface of degree 2 leaves must exceed as well.
    """
    whole = reach.cover == "whole" and claim.aperture is not None
    if whole and claim.aperture is not None:
        maps = [cropped(scan, claim.aperture) for scan in scans if covers(scan, claim.aperture)]
    else:
        maps = list(scans)
    found: list[Evidence] = []
    trouble = ""
    for scan in maps:
        try:
            found.append(_form_of(claim, scan, None if whole else limit))
        except LowreliefError as error:
            trouble = f"{error.what}."
    if not found:
        return Evidence(None, note=trouble)
    if whole and len(found) > 1:
        return _typical(found)
    return max(found, key=lambda one: (one.bound or 0.0, one.value or 0.0))


def _form_of(claim: Claim, scan: HeightMap, limit: float | None) -> Evidence:
    form = _formed(claim, scan)
    flat = flatness_of(form)
    value = _flatness_value(claim.quantity, form, flat)
    noise = pixel_noise(scan)
    if claim.quantity == "RMS":
        half = value - math.sqrt(max(value**2 - noise**2, 0.0))
    else:
        half = COVERAGE * math.sqrt(2) * noise
    half = math.hypot(half, COVERAGE * relative_scale(scan) * value)
    bound = None
    if limit is not None and claim.quantity in ("PV", "MZ") and value > limit:
        bound = value
        if max(scan.size) < SCANNER:
            bow_free = _bow_free(scan)
            bound = min(value, _flatness_value(claim.quantity, bow_free, flatness_of(bow_free)))
    return Evidence(
        value,
        max(value - half, 0.0),
        value + half,
        1,
        bound=bound,
        peak=flat.peak if claim.quantity == "PV" else None,
        valley=flat.valley if claim.quantity == "PV" else None,
    )


def _formed(claim: Claim, scan: HeightMap) -> HeightMap:
    if claim.removed == "power":
        return without_power(scan)
    return _bow_free(scan) if claim.removed == "bow" else scan


def _bow_free(scan: HeightMap) -> HeightMap:
    return scan.with_(z=fit_polynomial(scan, 2).residual)


def _flatness_value(quantity: str, form: HeightMap, flat: Flatness) -> float:
    if quantity == "PV":
        return flat.peak + flat.valley
    if quantity == "MZ":
        return flat.zone.width
    if quantity == "RMS":
        return flat.rms
    symbol = FLATNESS[quantity]
    reading = readings(form, [symbol])[symbol]
    if reading.value is None:
        raise LowreliefError(f"{quantity} cannot be had: {reading.note.rstrip('.')}")
    return reading.value


def _typical(found: Sequence[Evidence]) -> Evidence:
    """Several maps of one face: their typical value; the interval is never narrower than that of one map."""
    values = [Reading("PV", one.value, "m", "") for one in found]
    reading = interval.of_spots(values, positive=True)
    value = float(reading)
    middle = min(found, key=lambda one: abs((one.value or 0.0) - value))
    half = max(middle.half or 0.0, reading.uncertainty or 0.0)
    return Evidence(value, max(value - half, 0.0), value + half, len(found), peak=middle.peak, valley=middle.valley)


def texture_evidence(claim: Claim, scans: Sequence[HeightMap], reach: Reach) -> Evidence:
    """Texture in the claimed band, or in the part of it that the scans hold.

    Notes
    -----
    Every scan is filtered to the band (Gaussian, ISO 16610-61 and -21) and read. Two and more spots give Student's
    interval on the logarithm. One spot gives the interval of its finite area, widened by what ISO 4288 asks of a single
    measurement, a factor 0.7: its spread over the surface is unknown.
    """
    if claim.wavelengths is not None and reach.cover == "none":
        return Evidence(None)
    short, long = claim.wavelengths or (None, None)
    pixel, side = reach.scan
    low = FINE_PIXELS * pixel
    band = (
        short if short is not None and short >= low * (1 - 1e-9) else None,
        long if long is not None and long <= LONG_SHARE * side * (1 + 1e-9) else None,
    )
    found: list[Reading] = []
    maps: list[HeightMap] = []
    trouble = ""
    for scan in scans:
        try:
            value, filtered = _texture_of(claim.quantity, scan, band)
        except LowreliefError as error:
            trouble = f"{error.what}."
            continue
        maps.append(filtered)
        found.append(Reading(claim.quantity, value, "m", ""))
    if not found:
        return Evidence(None, band=band, note=trouble or "nothing could be measured")
    reading = interval.of_spots(found, positive=True)
    value = float(reading)
    if reading.n >= 2 and reading.low is not None and reading.high is not None and reading.low > 0:
        up, down = math.log(reading.high / value), math.log(value / reading.low)
    else:
        allowance = -math.log(FIRST_MEASUREMENT)
        down, up = (math.hypot(part, allowance) for part in _area_interval(maps[0]))
    scale = COVERAGE * relative_scale(scans[0])
    down, up = math.hypot(down, scale), math.hypot(up, scale)
    held = (band[0] or low, band[1] or side)
    return Evidence(value, value * math.exp(-down), value * math.exp(up), reading.n, band=held)


def _texture_of(quantity: str, scan: HeightMap, band: tuple[float | None, float | None]) -> tuple[float, HeightMap]:
    """The value, metres, and the filtered map."""
    if quantity in PROFILE:
        return _profile_value(quantity, scan, band), scan
    plane = scan.with_(z=fit_polynomial(scan, 1).residual)
    if band != (None, None):
        short, long = (None if end is None else f"{end!r} m" for end in band)
        plane = Band(shortest=short, longest=long).apply(plane)
    value = readings(plane, [quantity])[quantity].value
    if value is None or not value > 0:
        raise LowreliefError(f"{quantity} of {scan.name or 'the scan'} cannot be had")
    return value, plane


def _profile_value(quantity: str, scan: HeightMap, band: tuple[float | None, float | None]) -> float:
    """Of the rows: mean over all of them. Where λc is beyond the scan only the line of each row is taken off."""
    short, long = band
    family = "P" if long is None else "R"
    found = texture(Profiles.rows(scan), family="P" if long is None else "R", shortest=short, longest=long)
    value = found.values[f"{family}{quantity[1:]}"]
    if value is None or not value > 0:
        raise LowreliefError(f"{quantity} of {scan.name or 'the scan'} cannot be had")
    return value


def _area_interval(scan: HeightMap) -> tuple[float, float]:
    """How far the logarithm of the RMS may lie below and above for the finite area alone, 95 %.

    V = Σ c²(τ)/(A c²(0)) over all lags of the zero-padded biased autocovariance is the relative variance of the mean
    square, and ν = 2/V its degrees of freedom (methods measured for this program: 93–97 % coverage in a band).
    """
    from scipy import fft
    from scipy.special import gammaincinv

    used = scan.used
    z = np.where(used, scan.z, 0.0)
    z = np.where(used, z - z[used].mean(), 0.0)
    shape = [fft.next_fast_len(2 * n - 1, real=True) for n in z.shape]
    power = np.abs(fft.rfft2(z, shape)) ** 2
    covariance = fft.irfft2(power, shape) / np.count_nonzero(used)
    relative = float(np.sum(covariance**2) / covariance[0, 0] ** 2) / np.count_nonzero(used)
    freedom = 2 / relative
    low, high = (2 * float(gammaincinv(float(freedom) / 2, share)) / freedom for share in (0.025, 0.975))
    return 0.5 * math.log(high), -0.5 * math.log(low)


def pixel_noise(scan: HeightMap) -> float:
    """Standard deviation of the noise from pixel to pixel along the rows, metres: an upper limit, texture counts too.

    The median of absolute second differences over 0.6745·√6; unequal heights far apart do not enter it.
    """
    heights = np.where(scan.used, scan.z, np.nan)
    second = np.diff(heights, 2, axis=1)
    there = np.abs(second[~np.isnan(second)])
    return float(np.median(there)) / (0.674489750196082 * math.sqrt(6)) if there.size else 0.0


def relative_scale(scan: HeightMap) -> float:
    """Relative standard uncertainty of the height scale that a calibration states; 0 where none does."""
    stated = [float(entry.figures.get("u_z_rel", 0.0)) for entry in scan.history]
    return max(stated, default=0.0)
