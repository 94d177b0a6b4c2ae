"""The bumps of all specimens with other settings than those of the comparison."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np

from core.fitness.bumps.census import Census, census, pooled
from core.heightmap import HeightMap
from core.progress import Cancel, Progress, Report, silent
from core.relief import PARTICLE, K
from core.workers import worker_count


@dataclass(frozen=True, slots=True, eq=False)
class Counted:
    """What was counted on a bench.

    Attributes
    ----------
    scans : mapping of str to Census
        By name of the scan.
    specimens : mapping of str to Census
        By specimen, its spots together.
    heights : mapping of str to float
        Median height of the counted features by specimen, metres; without those where none was counted.
    """

    scans: Mapping[str, Census]
    specimens: Mapping[str, Census]
    heights: Mapping[str, float] = field(default_factory=dict)


def count_all(
    specimens: Mapping[str, Sequence[HeightMap]],
    *,
    particle: float = PARTICLE,
    probe_radius: float | None = None,
    k: float | None = K,
    height: float | None = None,
    hollows: bool = False,
    known: Mapping[str, Census] | None = None,
    jobs: int | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> Counted:
    """Count the bumps of every specimen.

    Parameters
    ----------
    specimens : mapping of str to sequence of HeightMap
        Treated maps of independent spots; their names tell them apart.
    particle, probe_radius, k, height, hollows : optional
        What a bump is, as in `core.fitness.bumps.census.census`.
    known : mapping of str to Census, optional
        Scans that were counted with these settings before.
    jobs : int, optional
        Workers; all cores by default.
    report : callable, optional
        Told of every scan.
    cancel : Cancel, optional
        Looked at between scans.

    Raises
    ------
    Cancelled
        If `cancel` was requested.

    Examples
    --------
    >>> flat = HeightMap(np.random.default_rng(1).normal(0, 1e-10, (128, 128)), pitch=(4e-9, 4e-9), name="a")
    >>> seen = count_all({"mica": [flat]})
    >>> seen.specimens["mica"].count, seen.heights
    (0, {})
    """
    cancel, known = cancel or Cancel(), known or {}
    maps = [scan for scans in specimens.values() for scan in scans]
    done = 0

    def one(scan: HeightMap) -> Census:
        cancel.check()
        if scan.name in known:
            return known[scan.name]
        return census(scan, particle=particle, probe_radius=probe_radius, k=k, height=height, hollows=hollows)

    found: dict[str, Census] = {}
    with ThreadPoolExecutor(worker_count(jobs)) as pool:
        for scan, counted in zip(maps, pool.map(one, maps), strict=True):
            found[scan.name] = counted
            done += 1
            report(Progress(done, len(maps), f"bumps of {scan.name}"))
    together = {name: pooled([found[scan.name] for scan in scans]) for name, scans in specimens.items() if scans}
    heights = {name: median_height([found[scan.name] for scan in scans]) for name, scans in specimens.items()}
    return Counted(found, together, {name: middle for name, middle in heights.items() if middle is not None})


def median_height(spots: Sequence[Census]) -> float | None:
    """Median height of the features that count, metres; None without any.

    >>> median_height([]) is None
    True
    """
    heights = [mark.height for spot in spots for mark in spot.marks if mark.counted]
    return float(np.median(heights)) if heights else None
