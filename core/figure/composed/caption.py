"""What stands under a composed figure and over its rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from core.figure.composed.chosen import Chosen
from core.figure.composed.fairness import Fairness, percent
from core.figure.composed.plan import FigurePlan
from core.figure.parts import bar_text
from core.figure.told import LONG_LIST, some
from core.results import Comparison
from core.sheet.words import caption, clean, height_range_text
from core.units import format_number

CLAIMS = 3  # verdicts that are written out


def heading(row: str, comparison: Comparison, exaggeration: float) -> str:
    """What a row is, without its letter."""
    shared = height_range_text(*comparison.shared_range)
    return {
        "shared": f"one scale for all, {shared}",
        "own": "each on its own scale",
        "oblique": f"oblique, colours {shared}, heights {format_number(exaggeration)} times the sides",
        "curves": "the same maps as curves",
        "ranking": f"ranking by {comparison.rank_by}, 95 % intervals; no shared letter: told apart",
    }[row]


def caption_of(
    comparison: Comparison,
    plan: FigurePlan,
    shown: Sequence[Chosen],
    meters: Sequence[Fairness],
    *,
    bars_written: bool,
) -> str:
    """All that a reader must know to believe the figure, in one paragraph; can be pasted into a paper."""
    maps = any(row in plan.rows for row in ("shared", "own", "oblique"))
    about = "Chosen spots shown" if plan.scans else "Typical (median) spot shown"
    sentences = [f"{about}; {caption(comparison)}.", _mask(shown)]
    if not plan.scans and len(comparison.specimens) > len(shown):
        sentences.append(f"The {len(shown)} best of {len(comparison.specimens)} specimens.")
    if maps:
        sentences += [
            _bars(shown, written=bars_written),
            _outside(meters, {one.scan.treated.name: one.name for one in shown}),
        ]
        if any(one.scan.treated.missing for one in shown):
            sentences.append("Grey: no height.")
        if plan.meter and set(plan.rows) & {"shared", "own"}:
            sentences.append("Strip under a map: the part of the colours that it uses.")
    if any(not one.proven or one.aside for one in shown):
        sentences.append("Hollow rank: not proven, or not comparable.")
    sentences += [_claims(comparison), plan.notes.strip()]
    return clean(" ".join(sentence for sentence in sentences if sentence))


def _mask(shown: Sequence[Chosen]) -> str:
    shares = [one.scan.treated.masked_fraction for one in shown]
    if not any(shares):
        return "No point masked."
    return f"Masked (amber): {'' if len(shares) == 1 else 'at most '}{percent(max(shares))} of the points."


def _bars(shown: Sequence[Chosen], *, written: bool) -> str:
    groups: dict[str, list[str]] = {}
    for one in shown:
        groups.setdefault(bar_text(one.scan.treated.size[1]), []).append(one.name)
    if len(groups) == 1:
        return "" if written else f"Scale bars {next(iter(groups))}."
    told = "The scans differ in size: each has its own scale bar."
    if written:
        return told
    first, *rest = sorted(groups.items(), key=lambda group: -len(group[1]))
    others = ", ".join(f"{length} on {some(names)}" for length, names in rest)
    return f"{told} Scale bars {first[0]} on most, {others}."


def _outside(meters: Sequence[Fairness], names: Mapping[str, str]) -> str:
    """Where points lie outside the colours, the worst first."""
    worst = sorted((meter for meter in meters if meter.clipped > 0), key=lambda meter: -meter.clipped)
    if not worst:
        return ""
    rows = dict.fromkeys(meter.row for meter in worst)
    told = []
    for row in rows:
        of_row = [meter for meter in worst if meter.row == row]
        shares = [f"{some([names[meter.scan]])} {percent(meter.clipped)}" for meter in of_row[:LONG_LIST]]
        more = ["others less"] if len(of_row) > LONG_LIST else []
        told.append(f"{'one scale' if row == 'shared' else 'own scale'}: {', '.join((*shares, *more))}")
    return f"Magenta below, red above the range ({'; '.join(told)})."


def _claims(comparison: Comparison) -> str:
    """Verdicts of the claims on the bench."""
    told = [f"{one.specimen}: {one.claim.text} is {one.verdict}" for one in comparison.claims[:CLAIMS]]
    more = len(comparison.claims) - CLAIMS
    return f"Claims: {'; '.join(told)}{f'; and {more} more on the sheet' if more > 0 else ''}." if told else ""
