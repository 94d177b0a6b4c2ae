"""The noise floor: how rough a perfectly smooth surface would read today, in one band, and how well that is known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from core.errors import MapError
from core.heightmap import HeightMap
from core.measures.surface import Surface
from core.treatment.frame import Lattice
from core.trust.doubts.periodogram import EXPONENTIAL_MEDIAN, periodogram
from core.trust.noise.alignment import Aligned
from core.trust.noise.covariance import NORMAL, Covariance
from core.trust.noise.share import Limits, is_white, noise_share
from core.units import format_length

Method = Literal["repeats", "trace and retrace", "reference", "plateau"]

RANKS: dict[Method, int] = {"repeats": 0, "trace and retrace": 1, "reference": 2, "plateau": 3}
"""Best first. The plateau of one map is an upper limit and corrects nothing."""

OTHER_SPECIMEN = 0.05
"""Least relative standard uncertainty of a floor that was measured on another specimen: noise of the feedback depends
on the surface (common practice, no source)."""

LOOSE = 0.15
"""The same of a single reference scan, and of a floor carried to another pixel size (common practice, no source)."""

LEAST = 0.025
"""Least relative standard uncertainty of any floor: N within 5 % in 97 % and more of simulated pairs of repeats."""


@dataclass(frozen=True, slots=True)
class NoiseFloor:
    """RMS of the noise of one scan in a stated band.

    Attributes
    ----------
    value : float
        N, metres.
    u : float
        Relative standard uncertainty; the 95 % interval is N exp(±1.96 u).
    method : {"repeats", "trace and retrace", "reference", "plateau"}
        Where it is known from.
    scans : tuple of str
        From which scans.
    band : (float or None, float or None)
        Shortest and longest wavelength that filters left, metres.
    shape : (int, int)
        Of the treated maps it was measured on.
    pitch : (float, float)
        The same, metres.
    white : bool
        Whether it is spread evenly over the waves, so that it can be carried to another lattice.
    upper_limit : bool
        Whether it may hold texture too: then nothing is corrected with it.
    note : str
        What else is to be known; may be empty.
    """

    value: float
    u: float
    method: Method
    scans: tuple[str, ...]
    band: Limits
    shape: tuple[int, int]
    pitch: tuple[float, float]
    white: bool = False
    upper_limit: bool = False
    note: str = ""

    @property
    def low(self) -> float:
        """Lower end of the 95 % interval, metres."""
        return 0.0 if self.upper_limit else self.value * math.exp(-NORMAL * self.u)

    @property
    def high(self) -> float:
        """Upper end of the 95 % interval, metres."""
        return self.value * math.exp(NORMAL * self.u)

    def describe(self) -> str:
        """Such as ``"N = 0.152 nm (± 5 %) from repeats"``."""
        size = f"N ≤ {format_length(self.value)}" if self.upper_limit else f"N = {format_length(self.value)}"
        return f"{size} (± {100 * NORMAL * self.u:.0f} %) from {told_method(self)}"


def told_method(floor: NoiseFloor) -> str:
    """The method in words."""
    names = {"reference": "a reference scan", "plateau": "the white plateau of the spectrum"}
    return names.get(floor.method, floor.method)


def from_repeats(aligned: Aligned, found: Covariance, band: Limits, *, retrace: bool = False) -> NoiseFloor:
    """The floor that repeats of one place show.

    Parameters
    ----------
    aligned : Aligned
        The repeats.
    found : Covariance
        Of them.
    band : (float or None, float or None)
        That their treatment left, metres.
    retrace : bool, default False
        Whether they are trace and retrace of one pass, which share slow drift and hum.

    Returns
    -------
    NoiseFloor
        An upper limit where the maps could not be registered and their difference is not white: then it may be texture
        of two places. A white difference without registration is noise: nothing of the surface stands above it.

    Notes
    -----
    The uncertainty holds the statistics of the difference and of the shift: a shift wrong by δ points turns
    ½ δ² ⟨(∂z)²⟩ of the texture into noise.
    """
    white = is_white(aligned, band)
    shift = _from_shift(aligned, found) if found.noise > 0 else 0.0
    notes = []
    if not aligned.registered:
        notes.append("not registered: " + ("nothing stands above the noise" if white else "perhaps of two places"))
    return NoiseFloor(
        found.floor,
        max(LEAST, math.hypot(found.u_noise, shift)),
        "trace and retrace" if retrace else "repeats",
        aligned.names,
        band,
        (aligned.maps[0].shape[0], aligned.maps[0].shape[1]),
        aligned.pitch,
        white,
        upper_limit=not aligned.registered and not white,
        note="; ".join(notes),
    )


def from_reference(treated: HeightMap, band: Limits) -> NoiseFloor:
    """The floor that a scan shows of what should be smooth: a scan of size zero, or of a freshly cleaved crystal.

    Parameters
    ----------
    treated : HeightMap
        Treated as the scans that it is to stand for.
    band : (float or None, float or None)
        That the treatment left, metres.

    Returns
    -------
    NoiseFloor
        The RMS of the map. What the crystal itself shows is in it, what the feedback does on a rough surface is not.

    Raises
    ------
    MapError
        If no point of the map counts.
    """
    if treated.heights().size == 0:
        raise MapError("No point of the reference scan counts", where=treated.name)
    return NoiseFloor(
        math.sqrt(Surface(treated).moments.second),
        LOOSE,
        "reference",
        (treated.name,),
        band,
        treated.shape,
        treated.pitch,
        white=True,
        note="holds what the reference itself shows",
    )


def from_plateau(treated: HeightMap, band: Limits) -> NoiseFloor | None:
    """Upper limit of white noise from the corner of one map's spectrum; None where filters leave no such waves.

    Notes
    -----
    N² = median of the power beyond 0.35 cycles per point on both axes over ln 2. Texture finer than 1.5 points looks
    the same, noise with a limited band along the line escapes: so it warns and corrects nothing.

    Examples
    --------
    >>> z = 1e-10 * np.random.default_rng(1).standard_normal((128, 128))
    >>> from_plateau(HeightMap(z, pitch=(1e-9, 1e-9)), (None, None)).describe()
    'N ≤ 0.104 nm (± 29 %) from the white plateau of the spectrum'
    """
    if band[0] is not None:
        return None
    unit = math.sqrt(Surface(treated).moments.second)
    corner = periodogram(np.where(treated.used, treated.z, np.nan), unit=unit).corner_median() if unit else 0.0
    if not corner:
        return None
    share = noise_share(treated.pitch, band)
    value = unit * math.sqrt(corner / EXPONENTIAL_MEDIAN * share)
    return NoiseFloor(value, LOOSE, "plateau", (treated.name,), band, treated.shape, treated.pitch, True, True)


def carried(floor: NoiseFloor, lattice: Lattice, band: Limits) -> NoiseFloor:
    """The floor on another lattice and in another band: white noise has the same RMS at every point before the filters.

    Parameters
    ----------
    floor : NoiseFloor
        As measured.
    lattice : HeightMap or Frame
        The map that it is wanted for.
    band : (float or None, float or None)
        That map's band, metres.

    Returns
    -------
    NoiseFloor
        The floor itself where lattice and band are the same.

    Raises
    ------
    MapError
        If the floor was measured in a narrower band, or its noise is not white and the lattice or band differs.
    """
    same_pitch = all(abs(a / b - 1) < 1e-3 for a, b in zip(floor.pitch, lattice.pitch, strict=True))
    if same_pitch and _same(floor.band, band):
        return floor
    _refuse_narrower(floor.band, band)
    if not floor.white:
        raise MapError(
            f"The noise of {_quoted(floor.scans)} is not white, so its floor holds only for its own pixel and band",
            fix="Repeat a scan with the pixel of this one.",
        )
    ratio = noise_share(lattice.pitch, band) / noise_share(floor.pitch, floor.band)
    note = f"white noise carried from pixels of {format_length(max(floor.pitch))}"
    return replace(
        floor,
        value=floor.value * math.sqrt(ratio),
        u=max(floor.u, LOOSE),
        band=band,
        shape=lattice.shape,
        pitch=lattice.pitch,
        note="; ".join(filter(None, (floor.note, note))),
    )


def pooled(floors: Sequence[NoiseFloor]) -> NoiseFloor:
    """One floor of the day from several of the same kind and band: the root of the mean of their squares.

    Its uncertainty is that of one more floor of the kind, s(ln N)·√(1 + 1/k), and never below the least of the parts'.
    """
    first = floors[0]
    if len(floors) == 1:
        return first
    values = np.array([floor.value for floor in floors])
    logs = np.log(values[values > 0])
    spread = float(logs.std(ddof=1)) * math.sqrt(1 + 1 / logs.size) if logs.size > 1 else 0.0
    return replace(
        first,
        value=float(np.sqrt(np.mean(values**2))),
        u=max(spread, min(floor.u for floor in floors)),
        scans=tuple(name for floor in floors for name in floor.scans),
        white=all(floor.white for floor in floors),
        upper_limit=any(floor.upper_limit for floor in floors),
        note="; ".join(dict.fromkeys(floor.note for floor in floors if floor.note)),
    )


def _from_shift(aligned: Aligned, found: Covariance) -> float:
    """Relative standard uncertainty of N from that of the shifts."""
    one, other = aligned.maps[:2]
    turned = 0.0
    for axis in (0, 1):
        slopes = max(0.0, float(np.mean(np.diff(one, axis=axis) * np.diff(other, axis=axis))))
        turned += 0.5 * slopes * max(shift.u[axis] for shift in aligned.shifts) ** 2
    return turned / found.noise / 2


def _same(one: Limits, other: Limits) -> bool:
    return all(
        a == b or (a is not None and b is not None and abs(a / b - 1) < 1e-3) for a, b in zip(one, other, strict=True)
    )


def _refuse_narrower(have: Limits, want: Limits) -> None:
    too_long = have[0] is not None and (want[0] is None or want[0] < have[0] * (1 - 1e-3))
    too_short = have[1] is not None and (want[1] is None or want[1] > have[1] * (1 + 1e-3))
    if too_long or too_short:
        side, limit = ("shorter", have[0]) if too_long else ("longer", have[1])
        raise MapError(
            f"The floor was measured in a narrower band: nothing is known of waves {side} than "
            f"{format_length(limit or 0.0)}",
            fix="Measure the floor in the band of the scans.",
        )


def _quoted(names: Sequence[str]) -> str:
    return ", ".join(f"“{name}”" for name in names)
