"""From one comparison to the next with as little work as the change asks for. Runs in a thread, knows no Qt."""

from __future__ import annotations

from dataclasses import dataclass, replace

from core.bench import Bench, Refusal
from core.compare import compare, restand
from core.progress import Cancel, Report
from core.results import Comparison
from core.scale import Scale


@dataclass(frozen=True)
class Compared:
    """A comparison and the bench that it is the comparison of."""

    bench: Bench
    comparison: Comparison


def same_maps(one: Bench, other: Bench) -> bool:
    """Whether both benches give the same treated maps to the same specimens, and the same is said of them.

    Then no number changes but the order.
    """
    return same_scans(one, other) and (one.repeats, one.claims, one.claim_rule) == (
        other.repeats,
        other.claims,
        other.claim_rule,
    )


def same_scans(one: Bench, other: Bench) -> bool:
    """Whether both benches give the same treated maps to the same specimens."""
    return (
        one.treatment.digest == other.treatment.digest
        and len(one.scans) == len(other.scans)
        and all(
            a.raw is b.raw and (a.specimen, a.spot) == (b.specimen, b.spot)
            for a, b in zip(one.scans, other.scans, strict=True)
        )
    )


def renewed(bench: Bench, earlier: Compared | None, *, report: Report, cancel: Cancel) -> Compared:
    """The comparison of `bench`.

    Parameters
    ----------
    bench : Bench
        What to compare.
    earlier : Compared or None
        The latest comparison. If only the ranking reading, the scale or the title differ, no map is touched.
    report, cancel
        As for `core.compare.compare`.

    Raises
    ------
    Cancelled
        When asked to stop.
    """
    if earlier is None or not same_maps(earlier.bench, bench):
        before = None if earlier is None else earlier.comparison
        made = compare(bench, report=report, cancel=cancel, earlier=before)
        if earlier is not None and same_scans(earlier.bench, bench):
            made = replace(made, trials=earlier.comparison.trials)  # a claim or a repeat does not touch them
        return Compared(bench, made)
    made = earlier.comparison
    if made.rank_by != bench.rank_by:
        made = restand(made, bench.rank_by)
    if _range_moved(earlier.bench.scale, bench.scale):
        cancel.check()
        made = replace(made, shared_range=bench.scale.limits([scan.treated for scan in made.scans]))
    return Compared(bench, replace(made, title=bench.title, refused=_refused(bench, earlier)))


def _refused(bench: Bench, earlier: Compared) -> tuple[Refusal, ...]:
    """The files that the bench refused, and the scans that the treatment refused."""
    of_treatment = (refusal for refusal in earlier.comparison.refused if refusal not in earlier.bench.refused)
    return (*bench.refused, *of_treatment)


def _range_moved(one: Scale, other: Scale) -> bool:
    return (one.preset, one.low, one.high) != (other.preset, other.low, other.high)
