"""The sentence of a judgement: what was measured, what it says about the claim, and what was not tested."""

from __future__ import annotations

import math

from core.fitness.claims.claim import PROFILE, Claim, number_text
from core.fitness.claims.decision import (
    CONTRADICTED,
    NOT_CONTRADICTED,
    NOT_SUPPORTED,
    NOT_TESTABLE,
    SUPPORTED,
    Verdict,
    exceeds,
)
from core.fitness.claims.evidence import Evidence
from core.fitness.claims.reach import Reach
from core.units import format_length, percent

SAYS: dict[Verdict, str] = {
    SUPPORTED: "supports the claim",
    NOT_CONTRADICTED: "does not contradict the claim, but does not support it either: the limit lies within the "
    "uncertainty",
    NOT_SUPPORTED: "does not support the claim: the value is over the limit by less than is certain",
    CONTRADICTED: "contradicts the claim",
    NOT_TESTABLE: "does not test the claim",
}

NAMES = {
    "PV": "peak to valley",
    "PVr": "robust peak to valley (PVr)",
    "PV99": "peak to valley without 0.5 % of the points at either end",
    "MZ": "flatness by minimum zone",
    "RMS": "RMS departure from the plane",
}


def sentence(claim: Claim, reach: Reach, evidence: Evidence, verdict: Verdict, rule: str, specimen: str = "") -> str:
    """The judgement in words for a report; whole sentences, numbers with units."""
    lacking = _incomplete(claim)
    parts = [lacking or _measured(claim, reach, evidence, verdict)]
    if lacking and evidence.value is not None:
        parts.append(f"{_where(claim, reach, evidence)}, {_name(claim)} = {number_text(evidence.value)}.")
    parts.append(_slip(claim, evidence))
    parts.append(_untested(claim, reach, verdict))
    if claim.quantity in PROFILE and claim.wavelengths not in (None, claim.band):
        parts.append(_default_note(claim))
    if verdict != NOT_TESTABLE:
        parts.append(f"Decision rule: {_rule(rule)}.")
    told = " ".join(part for part in parts if part)
    return f"{specimen}: {told}" if specimen else told


def _measured(claim: Claim, reach: Reach, evidence: Evidence, verdict: Verdict) -> str:
    if evidence.value is None:
        reason = f": {evidence.note.rstrip('.')}" if evidence.note else ""
        return f"The claim {_claimed(claim)} could not be tested{reason}."
    value = f"{_name(claim)} = {number_text(evidence.value, evidence.low, evidence.high)}"
    value += ", interval 95 %" if evidence.half else ""
    if verdict == NOT_TESTABLE:
        return f"{_where(claim, reach, evidence)}, {value}; this {SAYS[verdict]} {_claimed(claim)}."
    says = SAYS[verdict]
    if verdict == NOT_SUPPORTED and evidence.bound is not None and evidence.bound < evidence.value:
        says = (
            "does not support the claim: the value is over the limit, but not with certainty once bow, which may be "
            "the scanner's, and the uncertainty are taken off"
        )
    return f"{_where(claim, reach, evidence)}, {value}: {says} {_claimed(claim)}."


def _claimed(claim: Claim) -> str:
    grade = f"{claim.grade}, that is " if claim.grade else ""
    return f"({grade}{claim.quantity} ≤ {claim.limit_text}{_conditions(claim)})"


def _conditions(claim: Claim) -> str:
    words = ""
    if claim.removed:
        words += f", {claim.removed} removed"
    if claim.aperture is not None:
        words += f", over {_aperture(claim)}"
    if claim.wavelengths is not None:
        words += f", {_band(claim.wavelengths)}"
    return words


def _where(claim: Claim, reach: Reach, evidence: Evidence) -> str:
    scans = "one scan" if evidence.n == 1 else f"{evidence.n} scans"
    if claim.of_form:
        removed = f" and {claim.removed}" if claim.removed else ""
        if reach.cover == "whole":
            return f"Over the whole aperture of {_aperture(claim)} ({scans}), plane{removed} removed"
        return f"Within {format_length(reach.scan[1])} ({scans}), plane{removed} removed"
    spots = "one spot, whose spread over the surface is unknown" if evidence.n == 1 else f"{evidence.n} spots"
    return f"In the band {_band(evidence.band)} ({spots})"


def _name(claim: Claim) -> str:
    return NAMES.get(claim.quantity, claim.quantity)


def _band(band: tuple[float | None, float | None]) -> str:
    short, long = (None if end is None else format_length(end) for end in band)
    if short and long:
        return f"{short}–{long}"
    return f"from {short} on" if short else f"up to {long}" if long else "of the whole scan"


def _aperture(claim: Claim) -> str:
    aperture = claim.aperture
    if aperture is None:
        return "an aperture that is not stated"
    if aperture.round:
        return f"{format_length(aperture.width)} diameter"
    if aperture.height == aperture.width:
        return format_length(aperture.width)
    return f"{format_length(aperture.height)} × {format_length(aperture.width)}"


def _incomplete(claim: Claim) -> str:
    """What a claim lacks so that nothing can test it."""
    if claim.limit is None:
        return (
            f"The claim is incomplete: {claim.limit_text} means nothing without the wavelength; λ/20 is 31.6 nm at "
            "632.8 nm and 27.3 nm at 546.1 nm. Ask the vendor for it."
        )
    if not claim.of_form and claim.wavelengths is None:
        return (
            f"The claim {_claimed(claim)} is incomplete: {claim.quantity} grows with the band of wavelengths, and none "
            "is stated. Ask the vendor for it."
        )
    return ""


def _slip(claim: Claim, evidence: Evidence) -> str:
    """The classic slip: each extreme is held against the limit, and not their sum."""
    limit = claim.limit
    if claim.quantity != "PV" or limit is None or evidence.peak is None or evidence.valley is None:
        return ""
    if evidence.value is None or not exceeds(evidence.value, limit):
        return ""
    told = (
        f"The highest point is {format_length(evidence.peak)} above and the lowest {format_length(evidence.valley)} "
        f"below the mean plane"
    )
    if exceeds(max(evidence.peak, evidence.valley), limit):
        return f"{told}."
    return (
        f"{told}; each alone is under {format_length(limit)}, but peak to valley is their sum, "
        f"{format_length(evidence.value)}, and that is over it."
    )


def _untested(claim: Claim, reach: Reach, verdict: Verdict) -> str:
    if reach.cover == "whole":
        return ""
    if claim.of_form:
        where = f"over {_aperture(claim)}" if claim.aperture else "over the aperture, which the claim does not state,"
        share = _share(claim, reach)
        specks = (
            " Make sure that no dirt makes the difference: mask or clean it, and judge again."
            if verdict in (CONTRADICTED, NOT_SUPPORTED)
            else ""
        )
        return (
            f"Flatness {where} was not tested: a scan of {format_length(reach.scan[1])} {share}; an interferometer is "
            f"needed.{specks}"
        )
    if claim.wavelengths is None:
        return ""
    held = f"{format_length(reach.scan[0])} per pixel and a side of {format_length(reach.scan[1])}"
    tool = " or a profilometer" if claim.quantity in PROFILE else ""
    if reach.cover == "none":
        return f"Scans with {held} hold no wave of that band; other scan sizes{tool} are needed."
    return (
        f"Scans with {held} hold only a part of that band, so that the claim cannot be supported; finer or larger "
        f"scans{tool} are needed."
    )


def _share(claim: Claim, reach: Reach) -> str:
    if claim.aperture is None:
        return "cannot support it"
    seen = reach.scan[1] ** 2 / (claim.aperture.height * claim.aperture.width)
    return f"sees {_part(seen)} of that area" if seen < 1 else "does not hold enough of its points"


def _part(share: float) -> str:
    """A share in words: “38 %”, “one part in 25,000,000”.

    >>> _part(0.38), _part(4e-8)
    ('38 %', 'one part in 25,000,000')
    """
    if share >= 0.01:
        return percent(share)
    digits = 2 - math.floor(math.log10(1 / share))
    return f"one part in {round(1 / share, digits):,.0f}"


def _default_note(claim: Claim) -> str:
    return (
        f"{claim.quantity} is a profile parameter; the cut-offs {_band(claim.wavelengths or (None, None))} are the "
        "defaults of ISO 4288 and ISO 3274, as the claim states none."
    )


def _rule(rule: str) -> str:
    return "guard band of U on either side of the limit" if rule == "guarded" else "the value alone, without U"
