"""Trials as plain records and as words: for sheet, command line and window, so that all say the same."""

from __future__ import annotations

from typing import Any

from core.fitness.trial import ByDiameter, Landing, Trial
from core.sheet.words import NONE, clean, signed
from core.units import format_length, format_number

CAUTION = (
    "Nanoparticles: treat them as harmful until you know better. This is a calculation and no procedure for depositing "
    "particles; local rules and trained staff decide."
)

HEADS = ("Specimen", "Sphere", "Found", "False per 100 µm²", "Height bias", "Spread", "Counted", "Scans")
"""Headings of the table of trials."""

LIGHTS = {"green": "reliably", "amber": "with care", "red": "not"}
"""What a light says in words."""

SQUARE = 1e-10
"""100 µm² in m²."""


def trial_rows(one: Trial) -> list[tuple[str, ...]]:
    """A trial as lines of the table, by `HEADS`; one for each diameter."""
    return [(clean(one.specimen), *diameter_row(row)) for row in one.by_diameter]


def diameter_row(row: ByDiameter) -> tuple[str, ...]:
    """One diameter, by `HEADS` less the specimen."""
    rate = row.false_rate
    return (
        format_length(row.diameter),
        NONE if row.recall is None else f"{100 * row.recall:.1f} %",
        NONE if rate is None else f"{format_number(rate.value * SQUARE)} (≤ {format_number(rate.upper * SQUARE)})",
        NONE if row.height_bias is None else signed(format_length(row.height_bias, "nm")),
        NONE if row.height_spread is None else format_length(row.height_spread, "nm"),
        LIGHTS[row.light],
        NONE if row.scans_needed is None else str(row.scans_needed),
    )


def height_text(row: ByDiameter) -> str:
    """By how much heights are off, with the spread of a single one: “−1.42 ± 0.94 nm”."""
    if row.height_bias is None or row.height_spread is None:
        return NONE
    return signed(f"{row.height_bias * 1e9:.2f} ± {row.height_spread * 1e9:.2f} nm")


def smallest_text(one: Trial) -> str:
    """From which diameter on spheres are counted, as a sentence."""
    reliable = one.reliable
    if reliable.diameter is None:
        return f"No smallest reliable diameter: {clean(reliable.note or one.note)}."
    ends = ""
    if reliable.low is not None and reliable.high is not None:
        ends = f" (95 %: {format_length(reliable.low)} to {format_length(reliable.high)})"
    note = f" {_begun(reliable.note)}." if reliable.note else ""
    return f"95 % are found from {format_length(reliable.diameter)} on{ends}.{note}"


def _begun(note: str) -> str:
    """A note as the beginning of a sentence."""
    return clean(f"{note[:1].upper()}{note[1:]}")


def landing_text(area: Landing) -> str:
    """A landing area as a sentence."""
    return (
        f"{format_length(area.side)} wide on {clean(area.scan)}, {format_length(area.x)} from the left and "
        f"{format_length(area.y)} from the top: {area.bumps} bumps, {format_length(area.sigma)} RMS."
    )


def trial_record(one: Trial) -> dict[str, Any]:
    """One trial in SI; what could not be had is None, and a note says why.

    Returns
    -------
    dict
        ``specimen``, ``smallest_reliable_m`` with ``low_m``, ``high_m``, ``threshold_m``, ``sigma_m``,
        ``expected_m``, ``cautious_m``, ``probe_radius_m``, ``by_diameter``, ``curve``, ``landing``, ``note``.
    """
    reliable = one.reliable
    notes = dict.fromkeys(note for note in (reliable.note, one.note) if note)
    return {
        "specimen": clean(one.specimen),
        "scans": [clean(name) for name in one.scans],
        "smallest_reliable_m": reliable.diameter,
        "low_m": reliable.low,
        "high_m": reliable.high,
        "expected_m": reliable.expected,
        "cautious_m": reliable.cautious,
        "threshold_m": one.threshold,
        "sigma_m": one.sigma,
        "noise_m": one.noise,
        "probe_radius_m": one.probe_radius,
        "by_diameter": [_by_diameter(row) for row in one.by_diameter],
        "curve": [{"diameter_m": d, "dropped": n, "found": k} for d, n, k in reliable.curve],
        "landing": [
            {
                "scan": clean(area.scan),
                "y_m": area.y,
                "x_m": area.x,
                "side_m": area.side,
                "bumps": area.bumps,
                "sigma_m": area.sigma,
            }
            for area in one.landing
        ],
        "note": clean("; ".join(notes)),
    }


def _by_diameter(row: ByDiameter) -> dict[str, Any]:
    rate = row.false_rate
    return {
        "diameter_m": row.diameter,
        "recall": row.recall,
        "recall_low": row.recall_low,
        "recall_high": row.recall_high,
        "dropped": row.dropped,
        "false_per_m2": rate.value if rate else None,
        "false_upper95_per_m2": rate.upper if rate else None,
        "height_bias_m": row.height_bias,
        "height_spread_m": row.height_spread,
        "light": row.light,
        "scans_needed": row.scans_needed,
    }
