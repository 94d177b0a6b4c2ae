"""The one pipeline: bench → comparison. Window, command line, notebooks and tests all call it."""

from __future__ import annotations

import dataclasses
from collections.abc import Collection, Iterable, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, as_completed
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from core.bench import Bench, Refusal, Scan
from core.errors import LowreliefError, ReadingUnknown
from core.fitness.bumps import census, pooled
from core.fitness.claims import Judgement, judge_all, without_band
from core.gather import gather
from core.heightmap import HeightMap
from core.measures import CATALOGUE, readings
from core.measures.reading import Reading
from core.noise_on_bench import noise_of, placed, reference_specimens, with_noise, with_repeats
from core.progress import Cancel, Progress, Report, silent
from core.results import Band, Comparison, ScanResult, SpecimenResult, independent
from core.scale import own_limits
from core.standing import Ranking, rank
from core.treatment import Treatment
from core.trust import comparability, interval
from core.trust.budget import Evidence, budgets
from core.trust.conditions import Conditions
from core.trust.doubts import COMMON, Doubt, doubts_of_bench, looked_at, single_scan
from core.trust.doubts.imprint import Imprint
from core.trust.doubts.levelling import levelling
from core.trust.levelling_bias import noted
from core.trust.noise.judged import SpecimenNoise, limited_specimens
from core.trust.within import floored, with_interval
from core.version import VERSION
from core.workers import worker_count

SEED = 20_26  # for the probabilities: the same bench gives the same digits


def compare(
    scans: Bench | Iterable[str | Path | HeightMap],
    *,
    treatment: Treatment | None = None,
    rank_by: str | None = None,
    pixel: str | float | tuple[float, float] | None = None,
    unit: str | None = None,
    specimens: Mapping[str, str] | None = None,
    repeats: Iterable[str | Sequence[str]] = (),
    jobs: int | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
    earlier: Comparison | None = None,
    rng: np.random.Generator | None = None,
) -> Comparison:
    """Compare scans: treat all alike, read, doubt, summarise by specimen, rank.

    Parameters
    ----------
    scans : Bench, or iterable of path or HeightMap
        A bench, or what to make one of.
    treatment : Treatment, optional
        Replaces that of the bench. Default: level by a plane, zero at the mean.
    rank_by : str, optional
        Symbol of the ranking reading; replaces that of the bench. Default ``"Sq"``.
    pixel, unit, specimens : optional
        For files that do not say; as in `core.gather.gather`. Not for a bench.
    repeats : iterable of str or sequence of str, optional
        Groups of scans of one place, by name or file: ``"A,B"`` or ``("A", "B")``. They are added to those of the bench
        and become one specimen. Trace and retrace of one spot are found without it.
    jobs : int, optional
        Workers; all cores by default.
    report : callable, optional
        Told of every finished scan.
    cancel : Cancel, optional
        Looked at between steps.
    earlier : Comparison, optional
        What can be taken over from it is: results of the same raw map under the same treatment.
    rng : numpy.random.Generator, optional
        For the probabilities in the standing; seeded by default, so that the same bench gives the same digits.

    Returns
    -------
    Comparison
        Scans that could not be treated are among its refusals; the others are done.

    Raises
    ------
    ReadingUnknown
        If `rank_by` is not in the catalogue.
    ClaimError
        If a claim on the bench cannot be read.
    BenchError
        If one of `repeats` is not on the bench.
    Cancelled
        If `cancel` was requested.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> maps = [HeightMap(s * rng.standard_normal((32, 32)), pitch=(1e-8, 1e-8), name=f"{n} spot {k}")
    ...         for n, s in [("mica", 1e-10), ("film", 2e-9)] for k in (1, 2, 3)]
    >>> result = compare(maps)
    >>> [(place.rank, place.specimen, place.tie) for place in result.standing]
    [(1, 'mica', 'a'), (2, 'film', 'b')]
    """
    cancel = cancel or Cancel()
    bench = (
        scans
        if isinstance(scans, Bench)
        else gather(scans, pixel=pixel, unit=unit, specimens=specimens, jobs=jobs, report=report, cancel=cancel)
    )
    bench = dataclasses.replace(bench, treatment=treatment or bench.treatment, rank_by=rank_by or bench.rank_by)
    _known(bench.rank_by)
    bench = with_repeats(bench, repeats)
    # What a step takes from the bench as a whole (a common band) is settled first, so that every scan gets the same.
    bench = dataclasses.replace(bench, treatment=bench.treatment.resolve([scan.raw for scan in bench.scans]))
    done = _scan_results(bench, jobs, report, cancel, earlier)
    good = _doubted(placed(bench, [result for result in done if isinstance(result, ScanResult)]))
    treated = [scan.treated for scan in good]
    band = _band(treated, bench.treatment)
    return restand(
        Comparison(
            title=bench.title,
            treatment=bench.treatment,
            band=band,
            rank_by=bench.rank_by,
            scans=good,
            specimens=(),
            standing=(),
            comparability=(),
            refused=(*bench.refused, *(result for result in done if isinstance(result, Refusal))),
            shared_range=bench.scale.limits(treated),
            created=datetime.now(UTC).astimezone().isoformat(timespec="seconds"),
            version=VERSION,
            scale=bench.scale,
            claims=_judged(bench, good, cancel),
            noise=noise_of(bench, good, earlier, cancel),
        ),
        bench.rank_by,
        rng=rng,
    )


def _judged(bench: Bench, scans: Sequence[ScanResult], cancel: Cancel) -> tuple[Judgement, ...]:
    """The claims on the bench. They bring their own bands, so that those of the treatment are left out."""
    if not bench.claims:
        return ()
    plain = without_band(bench.treatment)
    again = plain.digest != bench.treatment.digest
    maps = {
        name: [plain.apply(scan.raw, between=cancel.check) if again else scan.treated for scan in group]
        for name, group in _by_specimen(scans).items()
    }
    return judge_all(bench.claims, maps, rule=bench.claim_rule, cancel=cancel)


def restand(comparison: Comparison, rank_by: str, *, rng: np.random.Generator | None = None) -> Comparison:
    """The comparison ranked by another reading: specimens and standing anew, no map touched.

    Parameters
    ----------
    comparison : Comparison
        With its scans done.
    rank_by : str
        Symbol of the reading.
    rng : numpy.random.Generator, optional
        For the probabilities; seeded by default.

    Raises
    ------
    ReadingUnknown
        If the catalogue has no such reading.
    """
    _known(rank_by)
    comparison = dataclasses.replace(comparison, rank_by=rank_by)
    groups = _by_specimen(comparison.scans)
    specimens = with_noise(
        [_specimen(name, scans, comparison) for name, scans in groups.items()], groups, comparison.noise
    )
    noise = {specimen.name: specimen.noise for specimen in specimens if specimen.noise is not None}
    verdicts = comparability.pairs(
        {name: [_conditions(scan, noise.get(name)) for scan in scans] for name, scans in groups.items()},
        band=comparison.band.filter,
        widths={s.name: width for s in specimens if (width := interval.half_width(s.readings[rank_by])) is not None},
        extreme=rank_by in comparability.EXTREMES,
    )
    ranking = _ranking(groups, comparison, verdicts, noise, rng or np.random.default_rng(SEED))
    return dataclasses.replace(
        comparison,
        specimens=specimens,
        comparability=verdicts,
        standing=ranking.places,
        ranking=ranking,
        choices=comparison.choices if comparison.choices and comparison.choices.symbol == rank_by else None,
    )


def scan_pairs(comparison: Comparison, specimens: Collection[str] | None = None) -> tuple[comparability.Pair, ...]:
    """The verdict on every pair of scans, where `Comparison.comparability` has that on every pair of specimens.

    Parameters
    ----------
    comparison : Comparison
        With its scans done.
    specimens : collection of str, optional
        Only scans of these; by default of all.
    """
    noise = {one.name: one.noise for one in comparison.specimens if one.noise is not None}
    wanted = [scan for scan in comparison.scans if specimens is None or scan.specimen in specimens]
    return comparability.pairs(
        {scan.name: [_conditions(scan, noise.get(scan.specimen))] for scan in wanted},
        band=comparison.band.filter,
        extreme=comparison.rank_by in comparability.EXTREMES,
    )


def measure(scan: Scan, treatment: Treatment, cancel: Cancel) -> ScanResult | Refusal:
    """What one scan gives: the map treated, read, doubted. A scan that the treatment cannot take is refused.

    Parameters
    ----------
    scan : Scan
        As on the bench.
    treatment : Treatment
        To apply.
    cancel : Cancel
        Looked at between steps and between readings.
    """
    raw = scan.raw
    try:
        treated = treatment.apply(raw, between=cancel.check)
        cancel.check()
        read = readings(treated, between=cancel.check)
        cancel.check()
        evidence = Evidence.of(raw, treated, kurtosis=read["Sku"].value)
        cancel.check()
        doubts, imprint = looked_at(raw, treated)
        cancel.check()
        return ScanResult(
            name=scan.name,
            specimen=scan.specimen,
            spot=scan.spot,
            raw=raw,
            treated=noted(treated, evidence.losses, before=len(raw.history)),
            readings={symbol: with_interval(reading, evidence.area) for symbol, reading in read.items()},
            doubts=doubts,
            own_range=own_limits(treated),
            evidence=evidence,
            bumps=census(treated),
            shapes=scan.shapes,
            said=scan.said,
            imprint=imprint,
        )
    except LowreliefError as error:
        return Refusal.of(raw.source.file or scan.name, error)


def _scan_results(
    bench: Bench, jobs: int | None, report: Report, cancel: Cancel, earlier: Comparison | None
) -> list[ScanResult | Refusal]:
    """Results in bench order, on several cores, those of `earlier` taken over where nothing changed."""
    kept = _reusable(bench, earlier)
    results: dict[str, ScanResult | Refusal] = dict(kept)
    with ThreadPoolExecutor(worker_count(jobs)) as pool:
        waiting: dict[Future[ScanResult | Refusal], str] = {
            pool.submit(measure, scan, bench.treatment, cancel): scan.name
            for scan in bench.scans
            if scan.name not in kept
        }
        try:
            for future in as_completed(waiting):
                name = waiting[future]
                results[name] = future.result()
                report(Progress(len(results), len(bench.scans), f"compared {name}"))
        except BaseException:
            cancel.request()  # the others stop at their next step; the pool waits for them
            raise
    return [results[scan.name] for scan in bench.scans]


def _reusable(bench: Bench, earlier: Comparison | None) -> dict[str, ScanResult]:
    if earlier is None or earlier.treatment.digest != bench.treatment.digest:
        return {}
    kept = {}
    for scan in bench.scans:
        before = earlier.scans_by_name.get(scan.name)
        if before is not None and before.raw is scan.raw:
            kept[scan.name] = dataclasses.replace(before, specimen=scan.specimen, spot=scan.spot)
    return kept


def _doubted(scans: Sequence[ScanResult]) -> tuple[ScanResult, ...]:
    """The scans with the doubts that only all of them together give rise to, in place of those of another bench."""
    imprints: dict[str, list[Imprint]] = {}
    for scan in scans:
        if scan.imprint is not None:
            imprints.setdefault(scan.specimen, []).append(scan.imprint)
    found = doubts_of_bench(imprints)
    told = []
    for scan in scans:
        doubts = (*(doubt for doubt in scan.doubts if doubt.code not in COMMON), *found.get(scan.name, ()))
        told.append(scan if doubts == scan.doubts else dataclasses.replace(scan, doubts=doubts))
    return tuple(told)


def _by_specimen(scans: Sequence[ScanResult]) -> dict[str, list[ScanResult]]:
    groups: dict[str, list[ScanResult]] = {}
    for scan in scans:
        groups.setdefault(scan.specimen, []).append(scan)
    return groups


def _specimen(name: str, scans: Sequence[ScanResult], comparison: Comparison) -> SpecimenResult:
    spots = independent(scans)
    doubts: list[Doubt] = []
    if len(spots) == 1:
        doubts.append(single_scan())
    copies = len(scans) - len(spots) - sum(scan.place not in ("", scan.name) for scan in scans)
    if copies > 0:
        doubts.append(
            Doubt(
                "same-scan",
                "amber",
                f"{copies} of {len(scans)} scans are copies of another one and count once.",
                "Scan another spot.",
            )
        )
    unlike = comparability.mixed([_conditions(scan) for scan in spots], band=comparison.band.filter)
    evidence = [spot.evidence for spot in spots if spot.evidence is not None]
    found = {symbol: _of_spots(symbol, spots) for symbol in CATALOGUE}
    return SpecimenResult(
        name=name,
        scans=tuple(scan.name for scan in scans),
        readings=found,
        typical=_typical(spots, comparison.rank_by),
        doubts=(*doubts, *(doubt for doubt in (unlike, levelling(evidence)) if doubt is not None)),
        budgets=budgets(found, evidence, rank_by=comparison.rank_by),
        bumps=pooled([spot.bumps for spot in spots if spot.bumps is not None]),
    )


def _of_spots(symbol: str, spots: Sequence[ScanResult]) -> Reading:
    quantity = CATALOGUE[symbol]
    spots_read = [spot.readings[symbol] for spot in spots]
    typical = interval.of_spots(spots_read, positive=quantity.positive, period=quantity.period)
    return floored(typical, [spot.evidence.area if spot.evidence else None for spot in spots])


def _typical(spots: Sequence[ScanResult], rank_by: str) -> str:
    """The middle spot by the ranking reading; of an even number the lower of the two in the middle."""
    order = sorted(spots, key=lambda spot: float(spot.readings[rank_by]))
    return order[(len(order) - 1) // 2].name


def _conditions(scan: ScanResult, noise: SpecimenNoise | None = None) -> Conditions:
    loss = scan.evidence.loss if scan.evidence else None
    ratio = noise.corrected.ratio if noise is not None and noise.corrected is not None else None
    return Conditions.of(scan.treated, scan.readings, scan.doubts, loss=loss, noise=ratio)


def _ranking(
    groups: Mapping[str, Sequence[ScanResult]],
    comparison: Comparison,
    verdicts: Sequence[comparability.Pair],
    noise: Mapping[str, SpecimenNoise],
    rng: np.random.Generator,
) -> Ranking:
    rank_by = comparison.rank_by
    spots = {name: [s.readings[rank_by].value for s in independent(scans)] for name, scans in groups.items()}
    return rank(
        {name: [value for value in found if value is not None] for name, found in spots.items()},
        positive=CATALOGUE[rank_by].positive,
        rng=rng,
        limited=limited_specimens(noise, rank_by),
        set_aside=comparability.set_aside(verdicts) | reference_specimens(groups, comparison.noise),
        partners=comparability.partners(verdicts),
    )


def _band(maps: Sequence[HeightMap], treatment: Treatment) -> Band:
    """What the filters leave. Where none sets a limit, a scan holds waves from two of its pixels to its side."""
    if not maps:
        return Band(None, None)
    shortest, longest = treatment.limits
    return Band(
        shortest or 2 * min(min(scan.pitch) for scan in maps),
        longest or max(max(scan.size) for scan in maps),
        filtered=shortest is not None or longest is not None,
    )


def _known(symbol: str) -> None:
    ranking = [known for known, quantity in CATALOGUE.items() if quantity.period is None]
    if symbol not in ranking:
        told = "is a direction and has no order" if symbol in CATALOGUE else "is unknown"
        raise ReadingUnknown(f"The reading “{symbol}” {told}", fix=f"Rank by one of: {', '.join(ranking)}.")
