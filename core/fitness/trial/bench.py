"""Trials of all specimens on a bench: its treatment applied, what it refuses told."""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor

import numpy as np

from core.bench import Bench, Refusal, Scan
from core.errors import LowreliefError
from core.fitness.trial.record import Plan, Trial
from core.fitness.trial.run import trials
from core.heightmap import HeightMap
from core.progress import Cancel, Report, silent
from core.workers import worker_count


def trial_bench(
    bench: Bench,
    plan: Plan | None = None,
    *,
    rng: np.random.Generator | None = None,
    jobs: int | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> tuple[tuple[Trial, ...], tuple[Refusal, ...]]:
    """Try every specimen of a bench.

    Parameters
    ----------
    bench : Bench
        Its treatment is applied; it should level and not filter: a band takes off what a particle stands on.
    plan, rng, jobs, report, cancel
        As in `core.fitness.trial.run.trial`.

    Returns
    -------
    trials : tuple of Trial
        One for each specimen with a scan that could be treated. A file that stands twice on the bench counts once.
    refused : tuple of Refusal
        Scans that could not.
    """
    cancel = cancel or Cancel()
    treatment = bench.treatment.resolve([scan.raw for scan in bench.scans])

    def one(scan: Scan) -> HeightMap | Refusal:
        try:
            return treatment.apply(scan.raw, between=cancel.check)
        except LowreliefError as error:
            return Refusal.of(scan.raw.source.file or scan.name, error)

    once = list({_itself(scan): scan for scan in bench.scans}.values())
    with ThreadPoolExecutor(worker_count(jobs)) as pool:
        treated = list(pool.map(one, once))
    specimens: dict[str, list[HeightMap]] = {}
    for scan, result in zip(once, treated, strict=True):
        if isinstance(result, HeightMap):
            specimens.setdefault(scan.specimen, []).append(result)
    refused = tuple(result for result in treated if isinstance(result, Refusal))
    return trials(_in_order(specimens, bench), plan, rng=rng, jobs=jobs, report=report, cancel=cancel), refused


def _itself(scan: Scan) -> object:
    source = scan.raw.source
    return (scan.specimen, source.sha256, source.channel) if source.sha256 else id(scan.raw)


def _in_order(specimens: Mapping[str, list[HeightMap]], bench: Bench) -> dict[str, list[HeightMap]]:
    return {name: specimens[name] for name in bench.specimens if name in specimens}
