"""Readings with bumps and without them, side by side: how much of the roughness is dirt."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from core.heightmap import HeightMap
from core.measures import readings
from core.measures.reading import Reading
from core.relief import PARTICLE, PROBE_RADIUS, Eye, K, find, probe_radius_of

SYMBOLS = ("Sq", "Sa", "Ssk", "Sku")


@dataclass(frozen=True, slots=True, eq=False)
class SideBySide:
    """The same readings twice.

    Attributes
    ----------
    with_bumps, without_bumps : mapping of str to Reading
        By symbol.
    masked_fraction : float
        Share of the points that the bumps and their flanks take.
    """

    with_bumps: Mapping[str, Reading]
    without_bumps: Mapping[str, Reading]
    masked_fraction: float


def with_and_without(
    scan: HeightMap,
    symbols: Iterable[str] = SYMBOLS,
    *,
    particle: float = PARTICLE,
    probe_radius: float | None = None,
    k: float | None = K,
    height: float | None = None,
    hollows: bool = False,
) -> SideBySide:
    """Readings of a map, and of the same map with its bumps masked.

    Parameters
    ----------
    scan : HeightMap
        A treated map; it is not levelled anew (a mask step before levelling does that).
    symbols : iterable of str
        Which readings.
    particle, probe_radius, k, height : optional
        What a bump is, as in `core.fitness.bumps.census.census`.
    hollows : bool, default False
        Mask the hollows as well.

    Returns
    -------
    SideBySide

    Raises
    ------
    MapError
        If the map is too small or too empty to tell bumps.
    """
    symbols = tuple(symbols)
    eye = Eye.of(particle, probe_radius or probe_radius_of(scan) or PROBE_RADIUS, scan.pitch)
    found = find(scan, eye, k=k, height=height)
    mask = found.mask()
    if hollows:
        mask |= find(found.seen, k=k, height=height, down=True).mask()
    left_out = scan.with_(mask=mask if scan.mask is None else mask | scan.mask)
    share = np.count_nonzero(mask & scan.used) / scan.z.size
    return SideBySide(readings(scan, symbols), readings(left_out, symbols), float(share))
