"""The claims of a bench, judged specimen by specimen."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from core.bench import Bench, Refusal, Stated
from core.errors import LowreliefError
from core.fitness.claims.grammar import parse
from core.fitness.claims.judge import Judgement, judge
from core.heightmap import HeightMap
from core.progress import Cancel
from core.treatment import Band, Treatment


def judge_bench(bench: Bench, *, cancel: Cancel | None = None) -> tuple[tuple[Judgement, ...], tuple[Refusal, ...]]:
    """Judge the claims on a bench without a whole comparison.

    Parameters
    ----------
    bench : Bench
        With its scans, treatment, claims and decision rule.
    cancel : Cancel, optional
        Looked at between the steps.

    Returns
    -------
    judgements : tuple of Judgement
    refused : tuple of Refusal
        Scans that the treatment could not take.

    Raises
    ------
    ClaimError
        If a text is no claim.
    """
    cancel = cancel or Cancel()
    treatment = without_band(bench.treatment).resolve([scan.raw for scan in bench.scans])
    maps: dict[str, list[HeightMap]] = {}
    refused = []
    for scan in bench.scans:
        try:
            maps.setdefault(scan.specimen, []).append(treatment.apply(scan.raw, between=cancel.check))
        except LowreliefError as error:
            refused.append(Refusal.of(scan.raw.source.file or scan.name, error))
    return judge_all(bench.claims, maps, rule=bench.claim_rule, cancel=cancel), tuple(refused)


def judge_all(
    claims: Iterable[Stated],
    specimens: Mapping[str, Sequence[HeightMap]],
    *,
    rule: str = "guarded",
    cancel: Cancel | None = None,
) -> tuple[Judgement, ...]:
    """Every claim by every specimen that it speaks of, specimen by specimen.

    Parameters
    ----------
    claims : iterable of Stated
    specimens : mapping of str to sequence of HeightMap
        Maps by specimen, without a band of their own: the claim says which it means.
    rule : {"guarded", "simple"}, default "guarded"
    cancel : Cancel, optional
        Looked at between claims.

    Raises
    ------
    ClaimError
        If a text is no claim.
    """
    cancel = cancel or Cancel()
    parsed = [(stated, parse(stated.text)) for stated in claims]
    found = []
    for name, maps in specimens.items():
        for stated, claim in parsed:
            cancel.check()
            if stated.about(name) and maps:
                found.append(judge(claim, maps, specimen=name, rule=rule))
    return tuple(found)


def without_band(treatment: Treatment) -> Treatment:
    """The treatment less its filters: a claim brings its own band.

    >>> without_band(Treatment.from_list([{"do": "level"}, {"do": "band", "longest": "2 um"}])).describe()
    'plane levelled'
    """
    return Treatment(tuple(step for step in treatment.steps if not isinstance(step, Band)))
