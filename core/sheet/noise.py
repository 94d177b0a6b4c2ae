"""Noise on the sheet: one record and one row for each specimen, so that all sheets say the same."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from core.results import SpecimenResult
from core.sheet.words import NONE, clean
from core.trust.noise.floor import NoiseFloor, told_method
from core.trust.noise.judged import MeasuredNoise, RepeatedSpot, SpecimenNoise
from core.trust.noise.quadrature import Corrected
from core.trust.noise.reality import RealitySpectrum
from core.units import format_length

HEADS = ("Specimen", "Sq as read", "Noise N", "N/S", "Sq without noise", "95 % interval", "Real above", "N from")
"""Headings of the table of noise."""

Record = dict[str, Any]


def measured_record(measured: MeasuredNoise | None) -> Record | None:
    """What repeats and references of the whole bench say; None where there are none."""
    if measured is None:
        return None
    return {
        "repeats": [list(group) for group in measured.groups],
        "references": [name for floor in measured.references for name in floor.scans],
        "spots": [_spot(spot) for spot in measured.spots],
    }


def noise_record(noise: SpecimenNoise | None) -> Record | None:
    """The noise of one specimen in SI; None where nothing on the bench says anything about noise.

    Parameters
    ----------
    noise : SpecimenNoise or None
        Of `core.results.SpecimenResult`.

    Returns
    -------
    dict or None
        ``floor`` (value, interval, method, scans, band), ``raw_m``, ``ratio`` (N/S), ``limited``, ``value_m`` with
        ``low_m`` and ``high_m`` (without noise; None when limited), ``bound_m``, ``amplification``, ``real_above_m``,
        ``note``.
    """
    if noise is None:
        return None
    return {
        "floor": None if noise.floor is None else _floor(noise.floor),
        "limited": noise.limited,
        "real_above_m": real_above(noise),
        "note": clean(noise.note),
    } | _corrected(noise.corrected)


def noise_row(specimen: SpecimenResult) -> tuple[str, ...]:
    """One line of the table of noise, by `HEADS`."""
    noise = specimen.noise
    if noise is None or noise.corrected is None or noise.floor is None:
        return (clean(specimen.name), *[NONE] * (len(HEADS) - 1))
    found, floor, real = noise.corrected, noise.floor, real_above(noise)
    interval = NONE if found.low is None else f"{_length(found.low)} to {_length(found.high)}"
    corrected = f"≤ {_length(found.bound)}, instrument-limited" if found.limited else _length(found.value)
    return (
        clean(specimen.name),
        _length(found.raw),
        f"{'≤ ' if floor.upper_limit else ''}{_length(floor.value)}",
        f"{found.ratio:.2f}",
        corrected,
        interval,
        _length(real),
        told_method(floor),
    )


def noise_notes(specimen: SpecimenResult) -> Iterator[str]:
    """What else is to be known of the noise of a specimen: how repeats lay, conditions, why there is no floor."""
    if specimen.noise is None:
        return
    for spot in specimen.noise.spots:
        yield clean(f"{' and '.join(spot.scans)}: {spot.note}")
    notes = [specimen.noise.note, specimen.noise.corrected.note if specimen.noise.corrected else ""]
    yield from (clean(f"{specimen.name}: {note}") for note in notes if note)


def real_above(noise: SpecimenNoise) -> float | None:
    """The longest of the wavelengths above which the repeated spots are real, metres; None where one is nowhere."""
    spectra = [spot.reality for spot in noise.spots if spot.reality is not None]
    found = [spectrum.real_above for spectrum in spectra]
    known = [wavelength for wavelength in found if wavelength is not None]
    return max(known) if known and len(known) == len(found) else None


def _length(metres: float | None) -> str:
    return NONE if metres is None else format_length(metres)


def _corrected(found: Corrected | None) -> Record:
    return {
        "raw_m": found.raw if found else None,
        "ratio": found.ratio if found else None,
        "value_m": found.value if found else None,
        "low_m": found.low if found else None,
        "high_m": found.high if found else None,
        "bound_m": found.bound if found else None,
        "amplification": found.amplification if found else None,
        "correction": clean(found.note) if found else "",
    }


def _floor(floor: NoiseFloor) -> Record:
    return {
        "value_m": floor.value,
        "low_m": floor.low,
        "high_m": floor.high,
        "relative_uncertainty": floor.u,
        "method": floor.method,
        "scans": list(floor.scans),
        "band": {"shortest_m": floor.band[0], "longest_m": floor.band[1]},
        "white": floor.white,
        "upper_limit": floor.upper_limit,
        "note": clean(floor.note),
    }


def _spot(spot: RepeatedSpot) -> Record:
    return {
        "scans": list(spot.scans),
        "shifts": [
            {
                "down_m": shift.metres[0],
                "across_m": shift.metres[1],
                "z": shift.z,
                "registered": shift.registered,
                "mirrored": shift.mirrored,
            }
            for shift in spot.shifts
        ],
        "signal_m2": spot.found.signal if spot.found else None,
        "noise_m2": spot.found.noise if spot.found else None,
        "reality": None if spot.reality is None else _reality(spot.reality),
        "note": clean(spot.note),
    }


def _reality(spectrum: RealitySpectrum) -> Record:
    return {
        "wavelength_m": spectrum.wavelength.tolist(),
        "share": spectrum.share.tolist(),
        "low": spectrum.low.tolist(),
        "high": spectrum.high.tolist(),
        "coherence": spectrum.coherence.tolist(),
        "real_above_m": spectrum.real_above,
    }
