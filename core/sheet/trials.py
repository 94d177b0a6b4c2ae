"""Trials as plain records, ready for JSON: for the command line and for whatever hands them over."""

from __future__ import annotations

from typing import Any

from core.fitness.trial import ByDiameter, Trial
from core.sheet.words import clean

CAUTION = (
    "Nanoparticles: treat them as harmful until you know better. This is a calculation and no procedure for depositing "
    "particles; local rules and trained staff decide."
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
