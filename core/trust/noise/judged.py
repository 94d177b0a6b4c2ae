"""Noise on a bench: floors from repeats and references, and what is left of each specimen without them."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from core.errors import MapError
from core.heightmap import HeightMap
from core.measures.reading import Reading
from core.measures.surface import Surface
from core.trust import interval
from core.trust.noise.alignment import align
from core.trust.noise.covariance import Covariance, covariance
from core.trust.noise.floor import (
    OTHER_SPECIMEN,
    RANKS,
    NoiseFloor,
    carried,
    from_reference,
    from_repeats,
    pooled,
)
from core.trust.noise.quadrature import ONE_SIDED, Corrected, corrected
from core.trust.noise.reality import RealitySpectrum, reality_spectrum
from core.trust.noise.registration import Shift
from core.trust.noise.repeats import Groups
from core.trust.noise.share import Limits
from core.units import format_length

READING = "Sq"
"""The reading that noise is taken off: noise adds to it in quadrature, to no other exactly."""

COPY = 1e-12
"""Share of the mean square below which a difference is rounding, so that one file is a copy of the other."""

WITHIN = "within this scan only; spot-to-spot variation unknown, not rankable"


@dataclass(frozen=True, slots=True, eq=False)
class RepeatedSpot:
    """What the repeats of one place gave.

    Attributes
    ----------
    scans : tuple of str
        The repeats; the first stands for the spot.
    shifts : tuple of Shift
        Of the second, third ... against the first; empty where they could not be laid on each other.
    found : Covariance or None
        Surface and noise, over the area that the repeats share.
    raw : float
        RMS of the first of them over its whole area, metres.
    floor : NoiseFloor or None
        From them.
    reality : RealitySpectrum or None
        What repeats, by wavelength.
    note : str
        Why there is none, or how they were registered.
    """

    scans: tuple[str, ...]
    shifts: tuple[Shift, ...] = ()
    found: Covariance | None = None
    raw: float = 0.0
    floor: NoiseFloor | None = None
    reality: RealitySpectrum | None = None
    note: str = ""

    @property
    def square(self) -> float:
        """S², m²: the share of the mean square that repeats, of the whole area of the first scan; of either sign."""
        if self.found is None or self.found.raw == 0:
            return 0.0
        return self.raw**2 * self.found.signal / self.found.raw**2


@dataclass(frozen=True, slots=True, eq=False)
class MeasuredNoise:
    """All that repeats and references of a bench say, before any specimen is judged.

    Attributes
    ----------
    spots : tuple of RepeatedSpot
        One for each group of repeats.
    references : tuple of NoiseFloor
        One for each reference scan.
    band : (float or None, float or None)
        Wavelengths that filters left, metres.
    """

    spots: tuple[RepeatedSpot, ...]
    references: tuple[NoiseFloor, ...]
    band: Limits

    @property
    def groups(self) -> Groups:
        """The groups of repeats."""
        return tuple(spot.scans for spot in self.spots)

    @property
    def reference_scans(self) -> frozenset[str]:
        """Names of the reference scans: no candidates."""
        return frozenset(name for floor in self.references for name in floor.scans)


@dataclass(frozen=True, slots=True, eq=False)
class SpecimenNoise:
    """The noise of one specimen.

    Attributes
    ----------
    floor : NoiseFloor or None
        The best that is known, in the band and on the lattice of its scans.
    corrected : Corrected or None
        Its Sq without noise, or the bound.
    spots : tuple of RepeatedSpot
        Its own places with repeats.
    note : str
        Conditions, or why there is no floor.
    """

    floor: NoiseFloor | None
    corrected: Corrected | None
    spots: tuple[RepeatedSpot, ...] = ()
    note: str = ""

    @property
    def limited(self) -> bool:
        """Whether its Sq is limited by the instrument."""
        return self.corrected is not None and self.corrected.limited


def measure_noise(
    treated: Mapping[str, HeightMap],
    groups: Groups,
    references: Collection[str] = (),
    *,
    band: Limits = (None, None),
    retraces: Collection[tuple[str, ...]] = (),
    earlier: Mapping[tuple[str, ...], RepeatedSpot] | None = None,
    between: Callable[[], None] | None = None,
) -> MeasuredNoise | None:
    """Floors from the repeats and references of a bench.

    Parameters
    ----------
    treated : mapping of str to HeightMap
        Treated maps by scan name; groups lose the scans that are not among them.
    groups : tuple of tuple of str
        Of `core.trust.noise.repeats.pairs_of_repeats`.
    references : collection of str, optional
        Reference scans.
    band : (float or None, float or None), optional
        Wavelengths that the filters of the treatment left, metres.
    retraces : collection of tuple of str, optional
        Those of `groups` that are trace and retrace.
    earlier : mapping, optional
        Spots by group, of the very same maps, that need not be measured again.
    between : callable, optional
        Called before each group; it may raise to stop (cancelling).

    Returns
    -------
    MeasuredNoise or None
        None where there are neither repeats nor references: nothing is computed then.
    """
    spots = []
    for group in groups:
        present = tuple(name for name in group if name in treated)
        if between is not None:
            between()
        if len(present) > 1:
            known = (earlier or {}).get(present)
            spots.append(known or _repeated([treated[name] for name in present], present, band, group in retraces))
    floors = [replace(from_reference(treated[name], band), scans=(name,)) for name in references if name in treated]
    return MeasuredNoise(tuple(spots), tuple(floors), band) if spots or floors else None


def judge(
    measured: MeasuredNoise | None,
    specimens: Mapping[str, Sequence[str]],
    treated: Mapping[str, HeightMap],
    readings: Mapping[str, Reading],
) -> dict[str, SpecimenNoise]:
    """The noise of every specimen and its Sq without it.

    Parameters
    ----------
    measured : MeasuredNoise or None
        As `measure_noise` found it.
    specimens : mapping of str to sequence of str
        Scans of each specimen that count as spots of their own.
    treated : mapping of str to HeightMap
        Treated maps by scan name.
    readings : mapping of str to Reading
        Sq of each specimen from its spots, with noise: typical spot, interval, n.

    Returns
    -------
    dict of str to SpecimenNoise
        Empty where nothing was measured. A floor measured on the specimen itself goes before one of another specimen,
        repeats before trace and retrace before a reference. Where every spot was repeated, the corrected reading is
        Student's t on the logarithms of the covariances (96 % cover for Gaussian texture, 95 % for exponential:
        simulated for this program); else the raw reading is corrected in quadrature.
    """
    if measured is None:
        return {}
    return {
        name: _judged(measured, spots, treated, readings[name])
        for name, spots in specimens.items()
        if not measured.reference_scans.issuperset(spots) and readings[name].value is not None
    }


def limited_specimens(judged: Mapping[str, SpecimenNoise], rank_by: str) -> frozenset[str]:
    """Specimens that are upper bounds in a standing by this reading: only of Sq the noise is known."""
    return frozenset(name for name, noise in judged.items() if noise.limited) if rank_by == READING else frozenset()


def _repeated(maps: Sequence[HeightMap], names: tuple[str, ...], band: Limits, retrace: bool) -> RepeatedSpot:
    try:
        aligned = align([scan.named(name) for scan, name in zip(maps, names, strict=True)])
        found = covariance(aligned)
    except MapError as error:
        return RepeatedSpot(names, note=f"{error.what}. {error.fix}".strip())
    if found.noise <= COPY * found.raw**2:
        return RepeatedSpot(
            names, aligned.shifts, note="the scans agree point for point: copies say nothing about noise"
        )
    return RepeatedSpot(
        names,
        aligned.shifts,
        found,
        math.sqrt(Surface(maps[0]).moments.second),
        from_repeats(aligned, found, band, retrace=retrace),
        reality_spectrum(aligned),
        note="; ".join(shift.describe() for shift in aligned.shifts),
    )


def _judged(
    measured: MeasuredNoise, spots: Sequence[str], treated: Mapping[str, HeightMap], raw: Reading
) -> SpecimenNoise:
    own = tuple(spot for spot in measured.spots if set(spot.scans) & set(spots))
    lattice = treated[spots[0]]
    floor, note = _best_floor(measured, own, lattice)
    if floor is None:
        return SpecimenNoise(None, None, own, note)
    of_spots = {name for spot in own if spot.found is not None for name in spot.scans}
    value = float(raw)
    result = corrected(value, floor.value, u_noise=floor.u, low=raw.low, high=raw.high, n=raw.n)
    if floor.upper_limit:
        result = _unknown(result, floor)
    elif of_spots.issuperset(spots):
        result = _from_covariance(result, [spot for spot in own if spot.found is not None], raw)
    elif raw.n < 2 and not result.limited:
        result = replace(result, note=WITHIN)
    return SpecimenNoise(floor, result, own, note)


def _best_floor(
    measured: MeasuredNoise, own: Sequence[RepeatedSpot], lattice: HeightMap
) -> tuple[NoiseFloor | None, str]:
    """The floor in the specimen's band: its own, else that of others, else a reference's; and why there is none."""
    mine = [spot.floor for spot in own if spot.floor is not None]
    if mine:
        return pooled(mine), ""
    others = [spot.floor for spot in measured.spots if spot.floor is not None and not spot.floor.upper_limit]
    refusals = [spot.note for spot in own if spot.note]
    usable: list[NoiseFloor] = []
    for floor in (*others, *measured.references):
        try:
            usable.append(carried(floor, lattice, measured.band))
        except MapError as error:
            refusals.append(error.what)
    if not usable:
        return None, "; ".join(dict.fromkeys(refusals)) or "no floor was measured"
    best = min(RANKS[floor.method] for floor in usable)
    floor = pooled([floor for floor in usable if RANKS[floor.method] == best])
    if floor.method == "reference":
        return floor, "floor of a reference scan"
    return replace(floor, u=max(floor.u, OTHER_SPECIMEN)), "floor measured on another specimen"


def _from_covariance(result: Corrected, repeated: Sequence[RepeatedSpot], raw: Reading) -> Corrected:
    """Where every spot was repeated the surface is known from what repeats, without a floor taken off."""
    squares = [spot.square for spot in repeated]
    if len(repeated) == 1:
        low, high = _interval_of_one(repeated[0])
        rms = math.sqrt(squares[0]) if squares[0] > 0 else None
        told = WITHIN
    elif all(square > 0 for square in squares):
        typical = interval.of_spots(
            [Reading(READING, math.sqrt(square), "m", raw.clause) for square in squares], positive=True
        )
        rms, low, high, told = typical.value, typical.low or 0.0, typical.high or 0.0, typical.note
    else:
        mean = interval.of_spots([Reading(READING, square, "m²", "") for square in squares], positive=False)
        low, high = (math.sqrt(max(0.0, end or 0.0)) for end in (mean.low, mean.high))
        rms, told = None, "nothing above the noise in some spots: mean of the squares"
    if result.limited:
        beside = "nothing above noise" if rms is None or low == 0 else f"what repeats reads {format_length(rms)}"
        bound = result.bound if len(repeated) > 1 else _bound_of_one(repeated[0])
        return replace(
            result,
            bound=bound,
            note=f"{result.note}; {beside}, 95 % interval {format_length(low)} to {format_length(high)}",
        )
    if rms is None:
        return result
    return replace(result, value=rms, low=low, high=high, note=told)


def _interval_of_one(spot: RepeatedSpot) -> tuple[float, float]:
    """95 % interval of the texture's S from one spot, carried from the shared area to the whole."""
    if spot.found is None or spot.found.raw == 0:
        return 0.0, 0.0
    low, high = spot.found.interval()
    factor = spot.raw / spot.found.raw
    return low * factor, high * factor


def _bound_of_one(spot: RepeatedSpot) -> float:
    """One-sided 95 % upper limit of the raw reading of one spot, from the spread of surface and noise."""
    if spot.found is None:
        return spot.raw
    u = math.hypot(spot.found.u_signal, 2 * spot.found.noise * spot.found.u_noise)
    return math.sqrt(spot.raw**2 + ONE_SIDED * u)


def _unknown(result: Corrected, floor: NoiseFloor) -> Corrected:
    """An upper limit of the noise corrects nothing: the reading stands as it is, with a word of warning."""
    note = f"not corrected: {floor.note or 'the floor is an upper limit'}"
    return replace(result, limited=False, value=None, low=None, high=None, bound=None, note=note)
