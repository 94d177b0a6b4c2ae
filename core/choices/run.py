"""Running the choices test: all treatments on all scans, what two treatments share computed once."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed

import numpy as np

from core.bench import Bench, Scan
from core.choices.passes import Passes
from core.choices.plan import Plan, plan
from core.choices.record import Choice, Choices, summary
from core.errors import LowreliefError
from core.filters.bandpass import band_pass
from core.heightmap import BoolArray, FloatArray, HeightMap
from core.measures import CATALOGUE, readings
from core.progress import Cancel, Progress, Report, silent
from core.standing import rank
from core.treatment import Step
from core.trust.noise.repeats import is_reference, pairs_of_repeats, stand_in
from core.workers import worker_count

Options = tuple[str, ...]
Values = dict[Options, float | None]

SEED = 20_26

EVERYWHERE = (slice(None), slice(None))


def choices(bench: Bench, *, jobs: int | None = None, report: Report = silent, cancel: Cancel | None = None) -> Choices:
    """Run the defensible treatments around that of the bench and count who wins.

    Parameters
    ----------
    bench : Bench
        With its treatment and ranking reading.
    jobs : int, optional
        Workers; all cores by default.
    report : callable, optional
        Told of every finished scan.
    cancel : Cancel, optional
        Looked at between treatments.

    Returns
    -------
    Choices
        48 treatments: four levellings, three masks, two beginnings and two ends of the band; more where the bench's own
        levelling or mask is none of these, fewer where no band fits all scans.

    Raises
    ------
    TreatmentError
        If the bench's own band leaves nothing.
    Cancelled
        If `cancel` was requested.

    Notes
    -----
    The mask of outliers comes first, then levelling, then what else the treatment holds, then the band. Maps are
    levelled once for each mask and filtered once for each beginning of the band; nothing is decimated. A scan that a
    treatment refuses does not count under it.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> scans = [Scan(HeightMap(s * rng.standard_normal((48, 48)), (1e-8, 1e-8), f"{name} {k}"), name)
    ...          for name, s in [("mica", 1e-10), ("film", 2e-9)] for k in (1, 2, 3)]
    >>> found = choices(Bench().with_scans(scans))
    >>> len(found.choices), found.win_share, found.verdict
    (48, {'mica': 1.0, 'film': 0.0}, 'stable')
    """
    cancel = cancel or Cancel()
    planned = plan(bench)
    spots = _spots(bench)
    found = _run([scan for scans in spots.values() for scan in scans], planned, bench.rank_by, jobs, report, cancel)
    by_options = [
        {name: _had(found[scan.name][options] for scan in scans) for name, scans in spots.items()}
        for options in itertools.product(*planned.options.values())
    ]
    told = [
        _choice(options, values, bench.rank_by)
        for options, values in zip(itertools.product(*planned.options.values()), by_options, strict=True)
    ]
    return summary(
        bench.rank_by,
        told,
        planned.options,
        specimens=tuple(spots),
        tied=_tied(by_options[0], bench.rank_by),
        note=planned.note,
    )


def _choice(options: Options, values: Mapping[str, Sequence[float]], symbol: str) -> Choice:
    read = {name: found for name, found in values.items() if found}
    on_log = CATALOGUE[symbol].positive and all(value > 0 for found in read.values() for value in found)
    typical = {name: float(np.mean(np.log(found) if on_log else found)) for name, found in read.items()}
    order = tuple(sorted(typical, key=typical.__getitem__))
    return Choice(options, order[0] if order else None, order)


def _tied(values: Mapping[str, Sequence[float]], symbol: str) -> bool:
    """Whether the lowest is not told apart from every other specimen that could be tested, or could not be itself."""
    made = rank(values, positive=CATALOGUE[symbol].positive, rng=np.random.default_rng(SEED))
    lowest = made.places[0].specimen if made.places else ""
    return lowest not in made.tested or bool(made.tied_with(lowest))


def _had(values: Iterator[float | None]) -> list[float]:
    return [value for value in values if value is not None]


def _spots(bench: Bench) -> dict[str, list[Scan]]:
    """By specimen, the scans that are spots of their own: not the same file or the same place twice, no references."""
    first = stand_in(pairs_of_repeats(bench.scans, bench.repeats))
    spots: dict[str, dict[object, Scan]] = {}
    for scan in bench.scans:
        if is_reference(scan.raw.metadata):
            continue
        source = scan.raw.source
        itself = (source.sha256, source.channel) if source.sha256 else id(scan.raw)
        spots.setdefault(scan.specimen, {}).setdefault(first.get(scan.name, itself), scan)
    return {name: list(scans.values()) for name, scans in spots.items()}


def _run(
    scans: Sequence[Scan], planned: Plan, symbol: str, jobs: int | None, report: Report, cancel: Cancel
) -> dict[str, Values]:
    """The reading of every scan under every treatment."""
    done: dict[str, Values] = {}
    with ThreadPoolExecutor(worker_count(jobs)) as pool:
        waiting = {pool.submit(_of_scan, scan.raw, planned, symbol, cancel): scan.name for scan in scans}
        try:
            for future in as_completed(waiting):
                done[waiting[future]] = future.result()
                report(Progress(len(done), len(scans), f"choices tried on {waiting[future]}"))
        except BaseException:
            cancel.request()  # the others stop at their next treatment; the pool waits for them
            raise
    return done


def _of_scan(raw: HeightMap, planned: Plan, symbol: str, cancel: Cancel) -> Values:
    """One scan under every treatment: a tree, each branch walked once."""
    values: Values = dict.fromkeys(itertools.product(*planned.options.values()))
    seen: list[tuple[HeightMap, str]] = []
    for mask, mask_steps in planned.masks.items():
        masked = _after(raw, (*planned.before, *mask_steps), cancel)
        if masked is None:
            continue
        twin = next((name for other, name in seen if _same_mask(other, masked)), None)
        if twin is not None:  # such as 4 and 5 sigma on a clean map: nothing to do again
            values |= {(o[0], mask, *o[2:]): value for o, value in values.items() if o[1] == twin}
            continue
        seen.append((masked, mask))
        passes = Passes()
        for levelling, steps in planned.levellings.items():
            levelled = _after(masked, (*steps, *planned.after), cancel)
            if levelled is not None:
                for ends, value in _in_bands(levelled, planned, symbol, passes, cancel):
                    values[levelling, mask, *ends] = value
    return values


def _in_bands(
    levelled: HeightMap, planned: Plan, symbol: str, passes: Passes, cancel: Cancel
) -> Iterator[tuple[tuple[str, str], float | None]]:
    """The reading in every band; the short waves are taken off once for each beginning."""
    for begin, shortest in planned.shortest.items():
        cancel.check()
        smooth: HeightMap | None = levelled
        if shortest is not None:
            smooth = _without_short(levelled, shortest, passes, last=set(planned.longest.values()) == {None})
        for end, longest in planned.longest.items():
            cancel.check()
            banded = smooth
            if smooth is not None and longest is not None:
                banded = _without_long(smooth, longest, passes, robust=planned.robust)
            yield (begin, end), None if banded is None else readings(banded, [symbol])[symbol].value


def _without_short(scan: HeightMap, cutoff: float, passes: Passes, *, last: bool) -> HeightMap | None:
    """As the step `band` does it. Edges are cut once: by the filter that comes last."""
    try:
        smooth = passes.low(scan, cutoff, edges="cut" if last else "kept")
    except LowreliefError:
        return None
    z = smooth.z if scan.mask is None else np.where(scan.mask, scan.z, smooth.z)  # no part of the surface
    return _cut(scan, z, smooth.keep)


def _without_long(scan: HeightMap, cutoff: float, passes: Passes, *, robust: bool) -> HeightMap | None:
    """The waves below the longest, as the step `band` leaves them."""
    try:
        if robust:
            banded = band_pass(scan, None, cutoff, edges="cut", robust=True)
            return _cut(scan.with_(z=banded.z, mask=_part(scan, banded.keep)), banded.z, EVERYWHERE)
        ground = passes.low(scan, cutoff, edges="cut")
    except LowreliefError:
        return None
    return _cut(scan, scan.z - ground.z, ground.keep)


def _cut(scan: HeightMap, z: FloatArray, keep: tuple[slice, slice]) -> HeightMap | None:
    """A map with these heights where they are kept; None where no point counts."""
    made = scan.with_(z=z[keep], mask=_part(scan, keep))
    return made if made.masked + made.missing < made.z.size else None


def _part(scan: HeightMap, keep: tuple[slice, slice]) -> BoolArray | None:
    return None if scan.mask is None else scan.mask[keep]


def _after(scan: HeightMap, steps: Sequence[Step], cancel: Cancel) -> HeightMap | None:
    """The map after these steps, None if one refuses it."""
    try:
        for step in steps:
            cancel.check()
            with np.errstate(over="raise"):
                scan = step.apply(scan)
    except (LowreliefError, FloatingPointError, OverflowError):
        return None
    return scan


def _same_mask(one: HeightMap, other: HeightMap) -> bool:
    if one.mask is None or other.mask is None:
        return one.mask is other.mask
    return np.array_equal(one.mask, other.mask)
