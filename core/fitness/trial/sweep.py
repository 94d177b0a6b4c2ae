"""The trial of a bench for several radii of the probe: a radius that nobody measured is answered by a range of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from core.bench import Bench, Refusal
from core.fitness.trial.bench import trial_bench
from core.fitness.trial.record import Plan, Trial
from core.progress import Cancel, Progress, Report, silent
from core.treatment import Band, Treatment
from core.units import format_length


def sweep(
    bench: Bench,
    plan: Plan | None = None,
    radii: Sequence[float | None] = (None,),
    *,
    jobs: int | None = None,
    report: Report = silent,
    cancel: Cancel | None = None,
) -> tuple[tuple[Trial, ...], tuple[Refusal, ...]]:
    """Try every specimen of a bench with each radius of the probe.

    Parameters
    ----------
    bench : Bench
        Its treatment is applied less its bands: they take off what a particle stands on.
    plan : Plan, optional
        Its probe radius gives way to `radii`.
    radii : sequence of float or None
        Metres; None is the radius that each scan says itself.
    jobs, report, cancel
        As in `core.fitness.trial.trial_bench`.

    Returns
    -------
    trials : tuple of Trial
        By radius in the order given, specimens in bench order within each.
    refused : tuple of Refusal
        Scans that could not be treated.
    """
    plan = plan or Plan()
    bench = replace(bench, treatment=unbanded(bench.treatment))
    made: list[Trial] = []
    refused: dict[str, Refusal] = {}
    for number, radius in enumerate(radii):

        def told(progress: Progress, number: int = number, radius: float | None = radius) -> None:
            share = progress.done / max(progress.total, 1)
            with_it = "" if len(radii) == 1 or radius is None else f"probe {format_length(radius)}, "
            report(Progress(round(1000 * (number + share)), 1000 * len(radii), with_it + progress.what))

        tried, untreated = trial_bench(bench, replace(plan, probe_radius=radius), jobs=jobs, report=told, cancel=cancel)
        made += tried
        refused |= {refusal.file: refusal for refusal in untreated}
    return tuple(made), tuple(refused.values())


def unbanded(treatment: Treatment) -> Treatment:
    """The treatment less its filters.

    >>> unbanded(Treatment.from_list([{"do": "level"}, {"do": "band", "longest": "2 um"}])).describe()
    'plane levelled'
    """
    return Treatment(tuple(step for step in treatment.steps if not isinstance(step, Band)))
