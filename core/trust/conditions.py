"""Under what conditions a reading was taken: all that may make two of them differ beside the surface itself.

What is not recorded stays None here and is said to be not recorded; nothing counts as alike because nothing is known.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Self

from core.heightmap import EMPTY, HeightMap
from core.measures.reading import Reading
from core.trust.blunting import blunting
from core.trust.doubts import Doubt

SAL_OF_LENGTH = math.sqrt(math.log(5))
"""Sal (autocorrelation 0.2) over the correlation length (1/e) of a Gaussian texture: closed form."""


@dataclass(frozen=True, slots=True)
class Conditions:
    """What is known of one scan.

    Attributes
    ----------
    size, pitch : (float, float)
        Of the treated map, down and across, metres.
    missing, masked : float
        Shares of its points, 0 to 1.
    radius : float or None
        Of the probe, metres.
    probe : str
        Its name; empty when not recorded.
    blunted : float or None
        Share of the RMS that a probe of this radius takes from this texture; None without radius or texture.
    loss : float or None
        Share of the RMS that the levelling took.
    noise : float or None
        RMS of the noise over that of the map, in one band.
    flattened : bool
        Whether the file shows signs of levelling before.
    """

    size: tuple[float, float]
    pitch: tuple[float, float]
    missing: float = 0.0
    masked: float = 0.0
    radius: float | None = None
    probe: str = ""
    blunted: float | None = None
    loss: float | None = None
    noise: float | None = None
    flattened: bool = False

    @classmethod
    def of(
        cls,
        treated: HeightMap,
        readings: Mapping[str, Reading] = EMPTY,
        doubts: Iterable[Doubt] = (),
        *,
        loss: float | None = None,
        noise: float | None = None,
    ) -> Self:
        """The conditions of a scan.

        Parameters
        ----------
        treated : HeightMap
            Its metadata may hold ``probe_radius`` and ``noise_floor`` (metres) and ``probe`` (a name).
        readings : mapping of str to Reading, optional
            ``Sq`` and ``Sal`` say what a blunt probe takes from this texture.
        doubts : iterable of Doubt, optional
            ``already-levelled`` among them marks a file that was levelled before.
        loss, noise : float, optional
            As measured by the levelling meter and from repeats. Noise is taken from the metadata otherwise.

        Examples
        --------
        >>> scan = HeightMap([[0.0, 1e-9]], pitch=(1e-8, 1e-8), metadata={"probe_radius": 8e-9, "noise_floor": 3e-11})
        >>> found = Conditions.of(scan, {"Sq": Reading("Sq", 5e-10, "m", ""), "Sal": Reading("Sal", 6e-8, "m", "")})
        >>> found.radius, found.noise, round(found.blunted, 4)
        (8e-09, 0.06, 0.0002)
        """
        radius = _number(treated.metadata.get("probe_radius"))
        sq, sal = (readings[symbol].value if symbol in readings else None for symbol in ("Sq", "Sal"))
        floor = _number(treated.metadata.get("noise_floor"))
        if noise is None and floor is not None and sq:
            noise = floor / sq
        return cls(
            treated.size,
            treated.pitch,
            treated.missing_fraction,
            treated.masked_fraction,
            radius,
            str(treated.metadata.get("probe") or ""),
            None if radius is None or sq is None or not sal else blunting(radius, sq, sal / SAL_OF_LENGTH),
            loss,
            noise,
            any(doubt.code == "already-levelled" for doubt in doubts),
        )


@dataclass(frozen=True, slots=True)
class Span:
    """The conditions of several scans: the least and the most of each.

    Attributes
    ----------
    size, pitch : ((float, float), (float, float))
        Least and most, down and across, metres.
    missing, masked : (float, float)
        Shares of points.
    radius, blunted, loss, noise : (float, float) or None
        None as soon as it is not known of one scan.
    probes : frozenset of str
        Names of the probes; an empty one stands for those not recorded.
    flattened : frozenset of bool
        Whether some files, all or none show signs of levelling before.
    """

    size: tuple[tuple[float, float], tuple[float, float]]
    pitch: tuple[tuple[float, float], tuple[float, float]]
    missing: tuple[float, float]
    masked: tuple[float, float]
    radius: tuple[float, float] | None
    blunted: tuple[float, float] | None
    loss: tuple[float, float] | None
    noise: tuple[float, float] | None
    probes: frozenset[str]
    flattened: frozenset[bool]

    @classmethod
    def over(cls, scans: Sequence[Conditions]) -> Self:
        """The span of these scans, at least one."""
        return cls(
            size=(_ends(scan.size[0] for scan in scans), _ends(scan.size[1] for scan in scans)),
            pitch=(_ends(scan.pitch[0] for scan in scans), _ends(scan.pitch[1] for scan in scans)),
            missing=_ends(scan.missing for scan in scans),
            masked=_ends(scan.masked for scan in scans),
            radius=_known(scan.radius for scan in scans),
            blunted=_known(scan.blunted for scan in scans),
            loss=_known(scan.loss for scan in scans),
            noise=_known(scan.noise for scan in scans),
            probes=frozenset(scan.probe for scan in scans),
            flattened=frozenset(scan.flattened for scan in scans),
        )

    def joined(self, other: Span) -> Span:
        """The span of the scans of both."""
        return Span(
            size=(_both(self.size[0], other.size[0]), _both(self.size[1], other.size[1])),
            pitch=(_both(self.pitch[0], other.pitch[0]), _both(self.pitch[1], other.pitch[1])),
            missing=_both(self.missing, other.missing),
            masked=_both(self.masked, other.masked),
            radius=_maybe(self.radius, other.radius),
            blunted=_maybe(self.blunted, other.blunted),
            loss=_maybe(self.loss, other.loss),
            noise=_maybe(self.noise, other.noise),
            probes=self.probes | other.probes,
            flattened=self.flattened | other.flattened,
        )


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) and math.isfinite(value) and value > 0 else None


def _ends(values: Iterable[float]) -> tuple[float, float]:
    known = list(values)
    return min(known), max(known)


def _known(values: Iterable[float | None]) -> tuple[float, float] | None:
    found: list[float] = []
    for value in values:
        if value is None:
            return None
        found.append(value)
    return _ends(found)


def _both(one: tuple[float, float], other: tuple[float, float]) -> tuple[float, float]:
    return min(one[0], other[0]), max(one[1], other[1])


def _maybe(one: tuple[float, float] | None, other: tuple[float, float] | None) -> tuple[float, float] | None:
    return None if one is None or other is None else _both(one, other)
