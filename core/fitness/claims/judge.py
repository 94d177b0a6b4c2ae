"""The judgement of a claim: reach first, numbers second."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from core.errors import ClaimError
from core.fitness.claims.claim import GROWING, Claim
from core.fitness.claims.decision import (
    NOT_SUPPORTED,
    NOT_TESTABLE,
    RULES,
    Verdict,
    decide,
    exceeds,
)
from core.fitness.claims.evidence import Evidence, form_evidence, texture_evidence
from core.fitness.claims.grammar import parse
from core.fitness.claims.reach import Reach, reach_of
from core.fitness.claims.sentence import sentence
from core.heightmap import HeightMap


@dataclass(frozen=True, slots=True)
class Judgement:
    """One claim about one specimen, judged.

    Attributes
    ----------
    specimen : str
        The surface.
    claim : Claim
        What is claimed.
    verdict : str
        One of five.
    rule : {"guarded", "simple"}
        The decision rule.
    value, low, high : float or None
        Measured, metres, with the interval of about 95 %; of the part that the scans reach.
    limit : float or None
        Largest allowed value of the surface, metres.
    n : int
        Scans behind the value.
    reach : Reach
        What the claim speaks about, and what the scans hold.
    sentence : str
        The judgement for a report.
    """

    specimen: str
    claim: Claim
    verdict: Verdict
    rule: str
    value: float | None
    low: float | None
    high: float | None
    limit: float | None
    n: int
    reach: Reach
    sentence: str

    @property
    def uncertainty(self) -> float | None:
        """Half the interval, metres."""
        return None if self.low is None or self.high is None else (self.high - self.low) / 2


def judge(claim: Claim | str, scans: Sequence[HeightMap], *, specimen: str = "", rule: str = "guarded") -> Judgement:
    """Judge one claim by the scans of one specimen.

    Parameters
    ----------
    claim : Claim or str
        A record, or text for `core.fitness.claims.parse`.
    scans : sequence of HeightMap
        At least one, levelled or not, not band-filtered: the claim's own band or plane is applied to each.
    specimen : str, optional
        Name of the surface, for the sentence.
    rule : {"guarded", "simple"}, default "guarded"
        See `core.fitness.claims.decision.decide`.

    Returns
    -------
    Judgement

    Raises
    ------
    ClaimError
        If the text is no claim, there is no scan, or the rule is unknown.

    Notes
    -----
    The five verdicts:

    ================= ======================================================================================
    supported         the scans reach all that the claim speaks about (aperture, or band), and the value
                      with its guard band is within the limit
    not contradicted  the same reach; the value is within the limit, its guard band is not
    not supported     the value is over the limit, its guard band is not; or a part seen is over it but does
                      not prove that the whole is (bow that may be the scanner's)
    contradicted      the value less its guard band is over the limit; for a part of the aperture also
                      without bow; for a part of the band only a quantity that grows with the band
    not testable here the scans reach nothing, or only a part that is within the limit, or the claim is
                      incomplete: no wavelength for a fraction of it, no band for texture
    ================= ======================================================================================

    A scan of 10 µm so can contradict λ/20 over 25 mm and never support it.

    Examples
    --------
    >>> import numpy as np
    >>> z = 1e-10 * np.random.default_rng(1).standard_normal((64, 64))
    >>> scan = HeightMap(z, pitch=(1.5e-7, 1.5e-7), name="mirror")
    >>> judge("PV <= lambda/20 @ 632.8nm over 25mm", [scan]).verdict
    'not testable here'
    """
    claim = parse(claim) if isinstance(claim, str) else claim
    if not scans:
        raise ClaimError("There is no scan to judge the claim by", where=claim.text)
    if rule not in RULES:
        raise ClaimError(f"There is no decision rule “{rule}”", fix=f"The rules are: {', '.join(RULES)}.")
    used = _best(claim, scans)
    reach = reach_of(claim, used)
    limit = claim.limit
    evidence = form_evidence(claim, used, reach, limit) if claim.of_form else texture_evidence(claim, used, reach)
    verdict = _verdict(claim, reach, evidence, rule)
    return Judgement(
        specimen,
        claim,
        verdict,
        rule,
        evidence.value,
        evidence.low,
        evidence.high,
        limit,
        evidence.n,
        reach,
        sentence(claim, reach, evidence, verdict, rule, specimen),
    )


def _best(claim: Claim, scans: Sequence[HeightMap]) -> list[HeightMap]:
    """The scans that reach the whole claim, if any does; else those that reach a part; else all."""
    covers = {id(scan): reach_of(claim, [scan]).cover for scan in scans}
    for wanted in ("whole", "part"):
        chosen = [scan for scan in scans if covers[id(scan)] == wanted]
        if chosen:
            return chosen
    return list(scans)


def _verdict(claim: Claim, reach: Reach, evidence: Evidence, rule: str) -> Verdict:
    limit, value = claim.limit, evidence.value
    if limit is None or value is None or reach.cover == "none":
        return NOT_TESTABLE
    if reach.cover == "whole":
        return decide(value, evidence.low, evidence.high, limit, rule)
    if not exceeds(value, limit):
        return NOT_TESTABLE
    if claim.of_form:
        return _by_bound(evidence, limit, rule)
    return decide(value, evidence.low, evidence.high, limit, rule) if claim.quantity in GROWING else NOT_TESTABLE


def _by_bound(evidence: Evidence, limit: float, rule: str) -> Verdict:
    """Form over the limit already in a part: it must be so without bow as well."""
    if evidence.bound is None:
        return NOT_TESTABLE
    if not exceeds(evidence.bound, limit):
        return NOT_SUPPORTED
    half = evidence.half
    low = None if half is None else evidence.bound - half
    return decide(evidence.bound, low, None, limit, rule)
