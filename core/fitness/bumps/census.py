"""The census: bumps (or hollows) of one scan, or of all spots of a specimen, with their density and its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from core.errors import LowreliefError
from core.fitness.poisson import Rate, difference, rate
from core.heightmap import HeightMap
from core.relief import PARTICLE, PROBE_RADIUS, Eye, find, probe_radius_of
from core.relief.find import MERGED, Found, K
from core.units import format_length, percent

HEIGHT_SHARE = 0.7
"""A mean height is told only when the threshold is below this share of it: otherwise only the lucky ones passed."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One feature, ready to be drawn on a tile or put into a table.

    Attributes
    ----------
    y, x : float
        Its centre, metres from the outer corner of the first point (top left).
    radius : float
        Of its base, metres.
    height : float
        Over the ring around it, metres; of a hollow its depth.
    diameter : float
        Of the disc as large as the area above half the height, metres.
    volume : float or None
        m³; None where it would not be honest.
    elongation : float
        Longer by shorter axis, 1 or more.
    counted : bool
        Whether it enters the density: not in the guard frame or beside an opening.
    """

    y: float
    x: float
    radius: float
    height: float
    diameter: float
    volume: float | None
    elongation: float
    counted: bool


@dataclass(frozen=True, slots=True, eq=False)
class Census:
    """What was counted.

    Attributes
    ----------
    what : {"bumps", "hollows"}
        Which way they stand.
    rate : Rate or None
        Density with its interval; None when nothing could be counted, and `note` says why.
    threshold, sigma : float or None
        Least height over the ground and robust standard deviation of the particle-eye map, metres; of several spots
        the largest threshold and the median sigma.
    half_width : float or None
        Half the base of the smallest wanted feature, metres.
    marks : tuple of Mark
        All features of a scan, row by row; those of a pool stay with its scans.
    merging : float
        Share of features that were probably taken for one with a neighbour.
    note : str
        Conditions, or why there is no count.
    """

    what: str
    rate: Rate | None
    threshold: float | None = None
    sigma: float | None = None
    half_width: float | None = None
    marks: tuple[Mark, ...] = ()
    merging: float = 0.0
    note: str = ""

    @property
    def count(self) -> int | None:
        """Number counted."""
        return None if self.rate is None else int(self.rate.count)

    @property
    def crowded(self) -> bool:
        """Whether so many stand so close that the count is too low by more than 2 %."""
        return self.merging > MERGED

    @property
    def mean_height(self) -> float | None:
        """Mean height of those counted, metres; None without any, or where the threshold picked the high ones."""
        heights = [mark.height for mark in self.marks if mark.counted]
        mean = float(np.mean(heights)) if heights else 0.0
        return mean if heights and self.threshold is not None and self.threshold <= HEIGHT_SHARE * mean else None

    def less(self, blank: Census) -> Rate | None:
        """The density less that of a blank, with the interval of a difference; None when either was not counted."""
        return None if self.rate is None or blank.rate is None else difference(self.rate, blank.rate)


def census(
    scan: HeightMap,
    *,
    particle: float = PARTICLE,
    probe_radius: float | None = None,
    k: float | None = K,
    height: float | None = None,
    hollows: bool = False,
) -> Census:
    """Count the bumps of one map, or its hollows. Never raises on a map that cannot be counted: the note says why.

    Parameters
    ----------
    scan : HeightMap
        A treated map.
    particle : float, default 20 nm
        Diameter of the smallest particle that matters, metres: it sets what is ground and what is bump.
    probe_radius : float, optional
        Metres; that of file or sidecar by default, else 10 nm.
    k : float, optional
        Threshold in robust sigma, default 5.
    height : float, optional
        Threshold in metres; with `k` the higher of both holds.
    hollows : bool, default False
        Hollows instead. A probe reaches only those wider than itself.

    Returns
    -------
    Census

    Examples
    --------
    >>> flat = HeightMap(np.random.default_rng(1).normal(0, 1e-10, (256, 256)), pitch=(4e-9, 4e-9))
    >>> seen = census(flat)
    >>> seen.count, f"{seen.rate.upper * 1e-12:.1f} per square micrometre at most"
    (0, '3.4 per square micrometre at most')
    """
    what = "hollows" if hollows else "bumps"
    radius = probe_radius or probe_radius_of(scan)
    try:
        eye = Eye.of(particle, radius or PROBE_RADIUS, scan.pitch)
        return of_found(find(scan, eye, k=k, height=height, down=hollows), note=_note(radius, particle, eye))
    except LowreliefError as error:
        return Census(what, None, note=str(error))


def of_found(found: Found, note: str = "") -> Census:
    """The census of what was found on one map."""
    if found.area <= 0:
        return Census("hollows" if found.down else "bumps", None, note="The guard frame leaves no area to count in.")
    notes = [note] if note else []
    if found.merging > MERGED:
        notes.append(f"crowded: about {percent(found.merging)} of them stand too close to a neighbour and count as one")
    return Census(
        what="hollows" if found.down else "bumps",
        rate=rate(found.count, found.area),
        threshold=found.threshold,
        sigma=found.sigma,
        half_width=found.seen.eye.half_width,
        marks=marks(found),
        merging=found.merging,
        note="; ".join(notes),
    )


def marks(found: Found) -> tuple[Mark, ...]:
    """The features as marks, row by row."""
    bodies = found.bodies
    order = np.lexsort((bodies.places[:, 1], bodies.places[:, 0]))
    return tuple(
        Mark(
            y=float(bodies.centres[i, 0]),
            x=float(bodies.centres[i, 1]),
            radius=float(bodies.radii[i]),
            height=float(bodies.heights[i]),
            diameter=float(bodies.diameters[i]),
            volume=None if np.isnan(bodies.volumes[i]) else float(bodies.volumes[i]),
            elongation=float(bodies.elongations[i]) if np.isfinite(bodies.elongations[i]) else 1.0,
            counted=bool(found.counted[i]),
        )
        for i in order
    )


def pooled(spots: Sequence[Census]) -> Census:
    """The census of a specimen: counts and areas of its spots added.

    Parameters
    ----------
    spots : sequence of Census
        Independent spots; those that could not be counted are left out, and said.

    Returns
    -------
    Census
        Its interval holds if bumps fall at random and alike over all spots. Where the spots scatter more than that
        (index of dispersion beyond its 97.5 % point), the note says so.
    """
    good = [spot for spot in spots if spot.rate is not None]
    what = spots[0].what if spots else "bumps"
    if not good:
        return Census(what, None, note=spots[0].note if spots else "There is no scan.")
    rates = [spot.rate for spot in good if spot.rate is not None]
    counts, areas = np.array([one.count for one in rates]), np.array([one.area for one in rates])
    notes = [f"{len(spots) - len(good)} of {len(spots)} scans could not be counted"] if len(good) < len(spots) else []
    notes += list(dict.fromkeys(note for spot in good for note in spot.note.split("; ") if note))
    if scattered(counts, areas):
        notes.append("the spots differ by more than chance: bumps come in patches, and the interval is too narrow")
    thresholds = [spot.threshold for spot in good if spot.threshold is not None]
    return Census(
        what=what,
        rate=rate(int(counts.sum()), float(areas.sum())),
        threshold=max(thresholds),
        sigma=float(np.median([spot.sigma for spot in good if spot.sigma is not None])),
        half_width=max(spot.half_width for spot in good if spot.half_width is not None),
        merging=float(np.average([spot.merging for spot in good], weights=areas)),
        note="; ".join(notes),
    )


def scattered(counts: np.ndarray, areas: np.ndarray) -> bool:
    """Whether counts scatter about one density by more than Poisson's law allows, at 2.5 %."""
    if len(counts) < 2 or counts.sum() < 5:
        return False
    from scipy.special import chdtrc

    wanted = counts.sum() * areas / areas.sum()
    return bool(chdtrc(len(counts) - 1, float(((counts - wanted) ** 2 / wanted).sum())) < 0.025)


def _note(radius: float | None, particle: float, eye: Eye) -> str:
    notes = []
    if radius is None:
        notes.append(f"probe radius not stated, {format_length(PROBE_RADIUS)} assumed")
    if eye.half_width > (2 * (radius or PROBE_RADIUS) * particle) ** 0.5 * (1 + 1e-9):
        notes.append(f"pixels are coarse: features narrower than {format_length(2 * eye.half_width)} may be missed")
    return "; ".join(notes)
