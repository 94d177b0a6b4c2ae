"""Claims on the sheet: one record and one row for each judgement, so that all sheets say the same."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from core.fitness.claims import Judgement
from core.fitness.claims.claim import number_text
from core.sheet.words import NONE, clean
from core.units import format_length

HEADS = ("Specimen", "Claim", "Limit", "Measured", "Verdict")
"""Headings of the table of claims."""

LEVELS = {"contradicted": "red", "not supported": "amber", "not contradicted": "amber"}
"""The colour of a verdict; supported and not testable have none."""


def claims_record(judged: Iterable[Judgement]) -> list[dict[str, Any]]:
    """The judgements as plain records in SI, ready for JSON.

    Parameters
    ----------
    judged : iterable of Judgement

    Returns
    -------
    list of dict
        ``specimen``, ``claim`` (canonical text), ``verdict``, ``value_m``, ``limit_m``, ``uncertainty_m``, ``low_m``,
        ``high_m``, ``n``, ``rule``, ``sentence``, and ``reach`` with the lengths that claim and scans speak about.
    """
    return [
        {
            "specimen": clean(one.specimen),
            "claim": one.claim.text,
            "verdict": one.verdict,
            "value_m": one.value,
            "limit_m": one.limit,
            "uncertainty_m": one.uncertainty,
            "low_m": one.low,
            "high_m": one.high,
            "n": one.n,
            "rule": one.rule,
            "sentence": clean(one.sentence),
            "reach": {
                "claim_m": list(one.reach.claim),
                "scan_m": list(one.reach.scan),
                "cover": one.reach.cover,
            },
        }
        for one in judged
    ]


def claim_row(one: Judgement) -> tuple[str, str, str, str, str]:
    """One line of the table of claims, by `HEADS`."""
    measured = NONE if one.value is None else number_text(one.value, one.low, one.high)
    limit = NONE if one.limit is None else format_length(one.limit)
    return clean(one.specimen), one.claim.text, limit, measured, one.verdict
