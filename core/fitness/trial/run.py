"""The trial of one specimen, and of all on a bench: seeded, on several cores, with progress, to be stopped."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from core.errors import LowreliefError
from core.fitness.poisson import Rate, rate, upper_limit
from core.fitness.trial import curve
from core.fitness.trial.landing import Landing, landing_areas
from core.fitness.trial.recall import Dropped, Stage, dropped, half_base, pooled, staged
from core.fitness.trial.record import (
    WANTED,
    ByDiameter,
    Light,
    Plan,
    Reliable,
    Trial,
    cautious_diameter,
    expected_diameter,
    particles_needed,
)
from core.heightmap import HeightMap
from core.progress import Cancel, Progress, Report, silent
from core.relief import PROBE_RADIUS, Eye, probe_radius_of
from core.units import format_length, percent
from core.workers import worker_count

CURVE = (0.55, 0.66, 0.77, 0.88, 0.99, 1.10)
"""Diameters of the recall curve, in the expected one."""

EXTENSIONS = 4
LARGEST = 0.1
"""Largest sphere of the curve, in shorter sides of the map: larger ones leave too few beside each other."""

HALF_PIXELS = 2.0
"""Half base width in pixels below which pixels decide and not the surface."""

TOO_BIASED = 0.25
SEED = 20_27

Job = tuple[int, float, int, np.random.Generator]


def trials(
    specimens: Mapping[str, Sequence[HeightMap]],
    plan: Plan | None = None,
    *,
    rng: np.random.Generator | None = None,
    jobs: int | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> tuple[Trial, ...]:
    """Trials of several specimens, in their order; parameters as of `trial`."""
    rng = rng or np.random.default_rng(SEED)
    streams = rng.spawn(len(specimens))
    done = []
    for number, ((name, maps), stream) in enumerate(zip(specimens.items(), streams, strict=True)):

        def told(progress: Progress, number: int = number, name: str = name) -> None:
            share = progress.done / max(progress.total, 1)
            report(Progress(round(1000 * (number + share)), 1000 * len(specimens), f"{name}: {progress.what}"))

        done.append(trial(maps, plan, specimen=name, rng=stream, jobs=jobs, report=told, cancel=cancel))
    return tuple(done)


def trial(
    maps: Sequence[HeightMap],
    plan: Plan | None = None,
    *,
    specimen: str = "",
    rng: np.random.Generator | None = None,
    jobs: int | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> Trial:
    """Drop virtual spheres on the maps of one specimen and see which would be found.

    Parameters
    ----------
    maps : sequence of HeightMap
        Its treated maps, as measured: they are dilated by the probe already.
    plan : Plan, optional
        Diameters, spread, probe, tolerated false rate; `Plan()` by default.
    specimen : str, optional
        Its name.
    rng : numpy.random.Generator, optional
        Seeded by default. The answer does not depend on the number of workers.
    jobs : int, optional
        Workers; all cores by default.
    report : callable, optional
        Told of every diameter finished on a map.
    cancel : Cancel, optional
        Looked at between passes.

    Returns
    -------
    Trial
        Never raises on maps that cannot be tried: the note says why.

    Raises
    ------
    Cancelled
        If `cancel` was requested.

    Notes
    -----
    The threshold is the least one of at least k robust sigma that the blank maps pass with no more than the tolerated
    false bumps. Recall over six diameters about the expected one is fitted by :math:`A\\,\\Phi((d-\\mu)/s)`.
    Texture is as this probe saw it; the particle is widened by R; nothing is blurred twice; valleys that the probe
    never reached stay unknown. Adhesion, deformation and the drift of a real scan are not in it.
    """
    plan, cancel, rng = plan or Plan(), cancel or Cancel(), rng or np.random.default_rng(SEED)
    radius, stated = _radius(maps, plan)
    stages, problems = _stages(maps, plan, radius, stated, jobs, cancel)
    if not stages:
        return _without(specimen, plan, problems or ["There is no map."])
    limits = _thresholds(stages, plan)
    run = _Run(stages, plan, limits.threshold, worker_count(jobs), report, cancel, rng)
    false = _false(stages, limits)
    judged = run.drop([(diameter, plan.spheres) for diameter in plan.diameters])
    reliable = _reliable(run, limits, radius)
    names = tuple(stage.scan.name for stage in stages)
    notes = [*problems, *limits.notes, *_too_little_seen(false, plan, len(stages))]
    if not stated:
        lifted = max(stage.lifted for stage in stages)
        notes.append(
            f"probe radius not stated, {format_length(radius)} assumed; spheres rest on the map as measured, "
            f"at most {format_length(lifted)} too high on average"
        )
    return Trial(
        specimen=specimen,
        scans=names,
        plan=plan,
        probe_radius=radius,
        threshold=limits.threshold,
        sigma=limits.sigma,
        noise=float(np.median([stage.noise for stage in stages])),
        reliable=reliable,
        by_diameter=tuple(_judged(pooled(parts), plan, limits, false, stages) for parts in judged),
        landing=_landing(stages, plan),
        note="; ".join(notes),
    )


def _radius(maps: Sequence[HeightMap], plan: Plan) -> tuple[float, bool]:
    """The probe radius and whether anybody stated it; of several scans the bluntest probe."""
    said = [radius for radius in map(probe_radius_of, maps) if radius is not None]
    radius = plan.probe_radius or (max(said) if len(said) == len(maps) and said else None)
    return (PROBE_RADIUS, False) if radius is None else (radius, True)


def _stages(
    maps: Sequence[HeightMap], plan: Plan, radius: float, stated: bool, jobs: int | None, cancel: Cancel
) -> tuple[list[Stage], list[str]]:
    def one(scan: HeightMap) -> Stage | str:
        cancel.check()
        try:
            return staged(scan, Eye.of(min(plan.diameters), radius, scan.pitch), plan.k, radius, stated=stated)
        except LowreliefError as error:
            return f"{scan.name}: {error}"

    with ThreadPoolExecutor(worker_count(jobs)) as pool:
        made = list(pool.map(one, maps))
    return [m for m in made if isinstance(m, Stage)], [m for m in made if isinstance(m, str)]


@dataclass(frozen=True, slots=True)
class _Limits:
    """The threshold of a specimen, and those that its scans would have had without their own bumps, metres."""

    threshold: float
    sigma: float
    others: tuple[float, ...]
    notes: tuple[str, ...]


def _thresholds(stages: Sequence[Stage], plan: Plan) -> _Limits:
    sigma = max(stage.blank.sigma for stage in stages)
    least = max(plan.k * sigma, math.ulp(1.0) * 1e-9)

    def of(some: Sequence[Stage]) -> float:
        peaks = np.sort(np.concatenate([_peaks(stage) for stage in some]))[::-1]
        allowed = math.floor(plan.tolerated * sum(stage.blank.area for stage in some))
        above = float(peaks[allowed]) * (1 + 1e-9) if allowed < len(peaks) else 0.0
        return max(least, above)

    threshold = of(stages)
    notes = []
    if len(stages) > 1:
        others = tuple(of([s for s in stages if s is not stage]) for stage in stages)
    else:
        others = (threshold,)
        if threshold > least:
            notes.append("the highest bumps of this one map set the threshold: its false rate needs a second map")
    if threshold > least:
        notes.append(f"bumps of the surface itself lift the threshold from {plan.k:g} to {threshold / sigma:.0f} sigma")
    return _Limits(threshold, sigma, others, tuple(notes))


def _peaks(stage: Stage) -> np.ndarray:
    return stage.blank.bodies.peaks[stage.blank.counted]


def _false(stages: Sequence[Stage], limits: _Limits) -> Rate | None:
    """False bumps, each map judged by the threshold that the others set."""
    count = sum(
        int(np.count_nonzero(_peaks(stage) > other)) for stage, other in zip(stages, limits.others, strict=True)
    )
    area = sum(stage.blank.area for stage in stages)
    return rate(count, area) if area > 0 else None


def _too_little_seen(false: Rate | None, plan: Plan, scans: int) -> list[str]:
    """How many scans without a false bump would prove the tolerated rate, where these cannot."""
    if false is None or false.upper <= plan.tolerated or false.count > 0:
        return []
    needed = math.ceil(upper_limit(0) / (plan.tolerated * false.area / scans))
    return [
        f"no false bump was seen, which proves no less than {false.upper * 1e-10:.3g} per 100 µm² at most; "
        f"{needed} scans like these without any would prove {plan.tolerated * 1e-10:.3g}"
    ]


class _Run:
    """Carries out drops on all maps and counts what is done."""

    def __init__(
        self,
        stages: Sequence[Stage],
        plan: Plan,
        threshold: float,
        workers: int,
        report: Report,
        cancel: Cancel,
        rng: np.random.Generator,
    ) -> None:
        self.stages, self.plan, self.threshold = stages, plan, threshold
        self.rng, self.cancel = rng, cancel
        self._workers, self._report = workers, report
        self._done, self._total = 0, len(stages) * (len(plan.diameters) + len(CURVE))

    def drop(self, wanted: Sequence[tuple[float, int]]) -> list[list[Dropped]]:
        """For each diameter and number of spheres: what was found, by map."""
        streams = self.rng.spawn(len(wanted) * len(self.stages))
        jobs: list[Callable[[], Dropped]] = []
        for number, (diameter, spheres) in enumerate(wanted):
            for place, stage in enumerate(self.stages):
                jobs.append(self._job(stage, diameter, spheres, streams[number * len(self.stages) + place]))
        with ThreadPoolExecutor(self._workers) as pool:
            waiting = [pool.submit(job) for job in jobs]
            answers = []
            try:
                for future in waiting:
                    answers.append(future.result())
                    self._done += 1
                    self._total = max(self._total, self._done)
                    what = f"{format_length(answers[-1].diameter)} spheres"
                    self._report(Progress(self._done, self._total, what))
            except BaseException:
                self.cancel.request()
                raise
        width = len(self.stages)
        return [answers[start : start + width] for start in range(0, len(answers), width)]

    def _job(self, stage: Stage, diameter: float, spheres: int, rng: np.random.Generator) -> Callable[[], Dropped]:
        share = math.ceil(spheres / len(self.stages))
        return lambda: dropped(
            stage,
            diameter,
            spread=self.plan.spread,
            threshold=self.threshold,
            wanted=share,
            rng=rng,
            cancel=self.cancel,
        )


def _reliable(run: _Run, limits: _Limits, radius: float) -> Reliable:
    spread = run.plan.spread
    expected = expected_diameter(limits.threshold, limits.sigma, spread)
    cautious = cautious_diameter(limits.threshold, limits.sigma, spread)
    largest = LARGEST * min(min(stage.scan.size) for stage in run.stages)
    pixels = max(max(stage.scan.pitch) for stage in run.stages)
    if expected > largest:
        note = f"not countable: bumps of the surface itself reach {format_length(limits.threshold)}"
        return Reliable(None, None, None, (), expected, cautious, note)
    start = max(expected, pixels**2 / (2 * radius))  # half its base is a pixel: nothing smaller is found
    tried = run.drop([(share * start, run.plan.spheres) for share in CURVE])
    top = CURVE[-1]
    for _ in range(2 * EXTENSIONS):  # ends with half a base of three pixels, where pixels no longer decide
        best = max(_recall(parts) for parts in tried)
        if best >= 0.975 or top * 1.3 * start > largest:
            break
        top *= 1.3
        tried += run.drop([(top * start, run.plan.spheres)])
    bottom = CURVE[0]
    for _ in range(EXTENSIONS):
        if min(_recall(parts) for parts in tried) <= 0.9:
            break
        bottom *= 0.7
        tried += run.drop([(bottom * start, run.plan.spheres)])
    return _fitted(run, tried, expected, cautious, pixels, radius)


def _recall(parts: Sequence[Dropped]) -> float:
    return sum(part.found for part in parts) / max(1, sum(part.count for part in parts))


def _fitted(
    run: _Run, tried: list[list[Dropped]], expected: float, cautious: float, pixels: float, radius: float
) -> Reliable:
    tried = sorted(tried, key=lambda parts: parts[0].diameter)
    diameters = np.array([parts[0].diameter for parts in tried])
    by_map = np.array([[[part.count, part.found] for part in parts] for parts in tried], float).transpose(2, 1, 0)
    dropped_, found = by_map
    n, k = dropped_.sum(axis=0), found.sum(axis=0)
    told = tuple((float(d), int(a), int(b)) for d, a, b in zip(diameters, n, k, strict=True))
    if n.min() == 0:
        return Reliable(None, None, None, told, expected, cautious, "not reached: there was no room for spheres")
    if curve.all_seen(n.astype(int).tolist(), k.astype(int).tolist()) < WANTED:
        return Reliable(None, None, None, told, expected, cautious, "not reached: recall stays below 95 %")
    fit = curve.fitted(diameters, n, k)
    d95 = fit.reaches()
    if d95 is None:
        return Reliable(
            None, None, None, told, expected, cautious, f"not reached: recall levels off at {percent(fit.plateau)}"
        )
    if d95 > 1.5 * diameters[-1] or d95 <= 0:
        return Reliable(None, None, None, told, expected, cautious, "not countable: recall does not follow the size")
    low, high = curve.interval(diameters, dropped_, found, run.rng)
    note = (
        "pixel-limited: finer pixels would find smaller ones" if half_base(d95, radius) < HALF_PIXELS * pixels else ""
    )
    return Reliable(d95, low, high, told, expected, cautious, note)


def _judged(parts: Dropped, plan: Plan, limits: _Limits, false: Rate | None, stages: Sequence[Stage]) -> ByDiameter:
    recall = parts.found / parts.count if parts.count else None
    low, high = curve.binomial(parts.found, parts.count) if parts.count else (None, None)
    told = parts.found >= 10 and limits.threshold <= 0.7 * parts.diameter
    bias = float(parts.errors.mean()) if told else None
    spread = float(parts.errors.std(ddof=1)) if told else None
    return ByDiameter(
        diameter=parts.diameter,
        dropped=parts.count,
        found=parts.found,
        recall=recall,
        recall_low=low,
        recall_high=high,
        false_rate=false,
        height_bias=bias,
        height_spread=spread,
        light=_light(recall, bias, spread, parts.diameter, false, plan),
        scans_needed=_scans(recall, spread, parts.diameter, plan, stages),
    )


def _light(
    recall: float | None, bias: float | None, spread: float | None, diameter: float, false: Rate | None, plan: Plan
) -> Light:
    if recall is None or recall < 0.5:
        return "red"
    if recall < WANTED or bias is None or spread is None or false is None:
        return "amber"
    true = abs(bias) + spread <= TOO_BIASED * diameter
    return "green" if true and false.value <= plan.tolerated else "amber"


def _scans(
    recall: float | None, spread: float | None, diameter: float, plan: Plan, stages: Sequence[Stage]
) -> int | None:
    """Scans of the mean area for the wanted precision; particle and ground scatter independently."""
    if not recall or spread is None:
        return None
    needed = particles_needed(math.hypot(plan.spread, spread / diameter), plan.precision)
    area = float(np.mean([stage.blank.area for stage in stages]))
    return math.ceil(needed / (plan.coverage * area * recall)) if area > 0 else None


def _landing(stages: Sequence[Stage], plan: Plan) -> tuple[Landing, ...]:
    found = [
        area
        for stage in stages
        for area in landing_areas(stage.blank, plan.landing or min(stage.scan.size) / 4, name=stage.scan.name)
    ]
    return tuple(sorted(found, key=lambda area: (area.bumps, area.sigma))[:3])


def _without(specimen: str, plan: Plan, problems: Sequence[str]) -> Trial:
    note = "; ".join(problems)
    nothing = tuple(
        ByDiameter(diameter, 0, 0, None, None, None, None, None, None, "red", None) for diameter in plan.diameters
    )
    return Trial(
        specimen, (), plan, None, None, None, None, Reliable(None, None, None, (), None, None, note), nothing, (), note
    )
