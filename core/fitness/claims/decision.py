"""The decision rule: from a value, its interval and a limit to a verdict."""

from __future__ import annotations

from typing import Literal

Rule = Literal["guarded", "simple"]
Verdict = Literal["supported", "not contradicted", "not supported", "contradicted", "not testable here"]

RULES: tuple[Rule, ...] = ("guarded", "simple")
SUPPORTED: Verdict = "supported"
NOT_CONTRADICTED: Verdict = "not contradicted"
NOT_SUPPORTED: Verdict = "not supported"
CONTRADICTED: Verdict = "contradicted"
NOT_TESTABLE: Verdict = "not testable here"

ROUNDING = 1e-9
"""Relative distance below which value and limit count as equal: 0.05 × 632.8 is not 31.64 to the last bit."""


def decide(value: float, low: float | None, high: float | None, limit: float, rule: str) -> Verdict:
    """The verdict on evidence that reaches all that the claim speaks about.

    Parameters
    ----------
    value : float
        Measured value, in the unit of the limit.
    low, high : float or None
        Ends of the interval of expanded uncertainty (about 95 %); None where it is unknown.
    limit : float
        Largest allowed value.
    rule : {"guarded", "simple"}
        Guarded: the interval is a guard band on either side of the limit. Simple: the value alone decides.

    Returns
    -------
    str
        One of four verdicts:

        ================== =============================== ======================
        verdict            guarded                         simple
        ================== =============================== ======================
        supported          high ≤ limit                    value ≤ limit
        not contradicted   value ≤ limit < high            –
        not supported      low ≤ limit < value             –
        contradicted       limit < low                     limit < value
        ================== =============================== ======================

        With an unknown interval the guarded rule gives one of the two in the middle. The fifth verdict, *not testable
        here*, is not about numbers but about reach: see `core.fitness.claims.judge`.

    References
    ----------
    JCGM 106:2012, 8.3 (guard bands); ISO 14253-1 (U as the guard band in its editions to 2013: from memory);
    ISO/IEC 17025:2017, 7.8.6 (a decision rule is named). Simple acceptance takes up to 50 % risk at the limit, a guard
    band of U less than 2.5 %.

    Examples
    --------
    >>> [decide(v, v - 2, v + 2, 30.0, "guarded") for v in (28.0, 28.1, 31.9, 32.1)]
    ['supported', 'not contradicted', 'not supported', 'contradicted']
    """
    within = not exceeds(value, limit)
    if rule == "simple":
        return SUPPORTED if within else CONTRADICTED
    if within:
        return NOT_CONTRADICTED if high is None or exceeds(high, limit) else SUPPORTED
    return CONTRADICTED if low is not None and exceeds(low, limit) else NOT_SUPPORTED


def exceeds(value: float, limit: float) -> bool:
    """Whether a value is over the limit by more than rounding.

    >>> exceeds(31.64 * (1 + 1e-12), 31.64), exceeds(31.65, 31.64)
    (False, True)
    """
    return value > limit * (1 + ROUNDING)
