"""The uncertainty budget in words: what sheet and window write of each line."""

from __future__ import annotations

import math
from dataclasses import dataclass

from core.measures.reading import Reading
from core.sheet.words import NONE, interval_text, scaling
from core.trust.budget import Budget, Line
from core.units import format_number

ROLES = {
    "spots": "makes the interval",
    "of which": "of which: inside the line above",
    "absolute": "absolute interval only",
    "reported": "told, not added",
    "unknown": "unknown, not in the interval",
}
"""What the role of a line means."""

WIDE = 0.2
"""Half-width on the logarithm from which on a factor is written and not ±."""


@dataclass(frozen=True, slots=True)
class TableRow:
    """One line of a budget, ready to be shown."""

    source: str
    contribution: str
    freedom: str
    role: str
    how: str


def rows(budget: Budget) -> list[TableRow]:
    """The lines of a budget, ready to be shown."""
    return [
        TableRow(line.source, contribution_text(budget, line), freedom_text(line), ROLES[line.role], line.how)
        for line in budget.lines
    ]


def contribution_text(budget: Budget, line: Line) -> str:
    """What a line contributes to the 95 % interval: per cent, a factor where that is much, or the unit's.

    Examples
    --------
    >>> sq = Budget("Sq", 1e-9, "m", True, None, None, None, None, ())
    >>> [contribution_text(sq, Line("spots", half, "", None, "spots")) for half in (0.043, 0.6, 0.0, None)]
    ['± 4.3 %', '×/÷ 1.8', '0', '–']
    >>> ssk = Budget("Ssk", 0.1, "1", False, None, None, None, None, ())
    >>> contribution_text(ssk, Line("spots", 0.04, "", 2, "spots"))
    '± 0.04'
    """
    if line.half is None:
        return NONE
    if line.half == 0:
        return "0"
    if budget.relative:
        if line.half > WIDE:
            return f"×/÷ {math.exp(line.half):.2g}"
        sign = "−" if line.source == "levelling" else "±"
        return f"{sign} {format_number(100 * line.half, digits=2)} %"
    factor, unit = scaling(Reading(budget.symbol, budget.value, budget.unit, ""))
    return f"± {format_number(line.half / factor, digits=2)}{f' {unit}' if unit else ''}"


def freedom_text(line: Line) -> str:
    """Degrees of freedom: a whole number, ∞ for what is known well.

    >>> [freedom_text(Line("", None, "", freedom, "spots")) for freedom in (2.0, 131.4, math.inf, None)]
    ['2', '131', '∞', '–']
    """
    if line.freedom is None:
        return NONE
    return f"{line.freedom:.0f}" if math.isfinite(line.freedom) else "∞"


def absolute_text(budget: Budget) -> str:
    """The absolute interval in a sentence, and what it lacks; empty without an interval.

    >>> lines = (Line("height scale", None, "not calibrated: unknown", None, "unknown"),)
    >>> absolute_text(Budget("Sq", 1e-9, "m", True, 0.9e-9, 1.1e-9, 0.9e-9, 1.1e-9, lines))
    'Absolute, with what all scans have in common: Sq 1.00 ± 0.10 nm; not in it: height scale.'
    """
    if budget.absolute_low is None or budget.absolute_high is None:
        return ""
    whole = Reading(budget.symbol, budget.value, budget.unit, "", low=budget.absolute_low, high=budget.absolute_high)
    lacking = [line.source for line in budget.lines if line.role == "unknown"]
    told = f"; not in it: {', '.join(lacking)}" if lacking else ""
    return f"Absolute, with what all scans have in common: {budget.symbol} {interval_text(whole)}{told}."
