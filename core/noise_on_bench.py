"""Noise in the pipeline: which results show one place again, what repeats and references say, whom it concerns."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from core.bench import Bench
from core.heightmap import HeightMap
from core.progress import Cancel
from core.results import Comparison, ScanResult, SpecimenResult, independent
from core.trust import budget
from core.trust.budget import Budget
from core.trust.doubts import Doubt
from core.trust.doubts.shift import drift_between
from core.trust.noise.doubt import noise_doubts
from core.trust.noise.judged import READING, MeasuredNoise, RepeatedSpot, SpecimenNoise, judge, measure_noise
from core.trust.noise.repeats import is_retrace, named_group, one_by_one, pairs_of_repeats, references, stand_in


def with_repeats(bench: Bench, repeats: Iterable[str | Sequence[str]]) -> Bench:
    """The bench with more groups of scans of one place, named as text ``A,B`` or one by one.

    Raises
    ------
    BenchError
        If one is not on the bench, or a group has less than two.
    """
    scans = bench.scans
    return bench.with_repeats(
        named_group(scans, group) if isinstance(group, str) else one_by_one(scans, group) for group in repeats
    )


def placed(bench: Bench, scans: Sequence[ScanResult]) -> tuple[ScanResult, ...]:
    """The results, each that shows a place again with the name of the one that stands for it."""
    done = {scan.name for scan in scans}
    first = stand_in(pairs_of_repeats([scan for scan in bench.scans if scan.name in done], bench.repeats))
    return tuple(
        scan if scan.place == first.get(scan.name, "") else replace(scan, place=first.get(scan.name, ""))
        for scan in scans
    )


def noise_of(
    bench: Bench, scans: Sequence[ScanResult], earlier: Comparison | None, cancel: Cancel
) -> MeasuredNoise | None:
    """What repeats and references say; groups of the very same maps are taken over from `earlier`."""
    treated = {scan.name: scan.treated for scan in scans}
    on_bench = [scan for scan in bench.scans if scan.name in treated]
    groups = pairs_of_repeats(on_bench, bench.repeats)
    cancel.check()
    return measure_noise(
        treated,
        groups,
        references(on_bench),
        band=bench.treatment.limits,
        retraces=[group for group in groups if is_retrace(on_bench, group)],
        earlier=_kept(bench, treated, earlier),
        between=cancel.check,
    )


def with_noise(
    specimens: Sequence[SpecimenResult], scans: Mapping[str, Sequence[ScanResult]], measured: MeasuredNoise | None
) -> tuple[SpecimenResult, ...]:
    """The specimens with what is known of their noise, and the doubt that it casts.

    Parameters
    ----------
    specimens : sequence of SpecimenResult
        Read already.
    scans : mapping of str to sequence of ScanResult
        By specimen.
    measured : MeasuredNoise or None
        What repeats and references say.
    """
    if measured is None:
        return tuple(specimens)
    found = judge(
        measured,
        {name: [scan.name for scan in independent(group)] for name, group in scans.items()},
        {scan.name: scan.treated for group in scans.values() for scan in group},
        {specimen.name: specimen.readings[READING] for specimen in specimens},
    )
    return tuple(
        replace(
            one,
            noise=found[one.name],
            doubts=(*one.doubts, *noise_doubts(found[one.name]), *_drifts(scans[one.name], measured)),
            budgets=_budgets(one, found[one.name]),
        )
        if one.name in found
        else one
        for one in specimens
    )


def _drifts(scans: Sequence[ScanResult], measured: MeasuredNoise) -> list[Doubt]:
    """How far the surface moved from one repeat of a place to the next."""
    raws = {scan.name: scan.raw for scan in scans}
    told = []
    for spot in measured.spots:
        for name, shift in zip(spot.scans[1:], spot.shifts, strict=False):
            raw = raws.get(spot.scans[0])
            if raw is None or shift.mirrored:  # a retrace comes within the same line: it shows no drift
                continue
            rate = raw.metadata.get("line_rate")
            line_rate = float(rate) if isinstance(rate, int | float) else None
            told.append(drift_between(spot.scans[0], name, shift, lines=raw.shape[0], line_rate=line_rate))
    return [doubt for doubt in told if doubt is not None]


def _budgets(specimen: SpecimenResult, noise: SpecimenNoise) -> Mapping[str, Budget]:
    """The budgets of a specimen with the line of its noise correction."""
    if noise.floor is None or noise.corrected is None:
        return specimen.budgets
    return budget.with_noise(
        specimen.budgets, budget.noise_line(noise.corrected.ratio, noise.floor.u, noise.floor.method)
    )


def reference_specimens(scans: Mapping[str, Sequence[ScanResult]], measured: MeasuredNoise | None) -> frozenset[str]:
    """Specimens that are no candidates: all their scans are references."""
    if measured is None:
        return frozenset()
    return frozenset(
        name for name, group in scans.items() if measured.reference_scans.issuperset(scan.name for scan in group)
    )


def _kept(
    bench: Bench, treated: Mapping[str, HeightMap], earlier: Comparison | None
) -> dict[tuple[str, ...], RepeatedSpot]:
    if earlier is None or earlier.noise is None or earlier.noise.band != bench.treatment.limits:
        return {}
    before = earlier.scans_by_name
    return {
        spot.scans: spot
        for spot in earlier.noise.spots
        if all(name in before and before[name].treated is treated.get(name) for name in spot.scans)
    }
