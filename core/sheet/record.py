"""A comparison as one plain record: what sheet, figure and bench file carry, so that all say the same digits."""

from __future__ import annotations

import dataclasses
import datetime
import math
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from core.bench import Refusal
from core.choices import Choices, sentence
from core.heightmap import Entry
from core.measures.reading import Reading
from core.results import Comparison, ScanResult, SpecimenResult
from core.scale import Scale
from core.sheet.bumps import bumps_record
from core.sheet.claims import claims_record
from core.sheet.noise import measured_record, noise_record
from core.sheet.trials import trial_record
from core.sheet.words import clean
from core.standing import Place, Ranking
from core.trust.budget import Budget
from core.trust.comparability import Pair
from core.trust.doubts import Doubt
from core.trust.levelling_bias import Loss
from core.verdict import sentences

SCHEMA = 1
PROGRAM = "lowrelief"

Record = dict[str, Any]

KEPT = (
    "schema",
    "program",
    "created",
    "title",
    "treatment",
    "band",
    "rank_by",
    "shared_range_m",
    "scale",
    "standing",
    "repeats",
)
"""What a figure carries of the comparison as a whole."""

ORIGIN = ("name", "specimen", "spot", "file", "sha256", "channel", "unit", "shape", "pitch_m", "shapes", "said")
"""What is told of a scan so that it can be read again as it was."""


def record(comparison: Comparison) -> Record:
    """The comparison as nested dictionaries of text, numbers, booleans and None, schema 1.

    Parameters
    ----------
    comparison : Comparison
        The whole result.

    Returns
    -------
    dict
        Ready for JSON: SI units, keys end in the unit where it is fixed, numbers that are not finite are None. A
        reading that cannot be had is there with value None and a note that says why.
    """
    told: Record = plain(
        {
            "schema": SCHEMA,
            "program": {"name": PROGRAM, "version": comparison.version},
            "created": comparison.created,
            "title": comparison.title,
            "treatment": {
                "digest": comparison.treatment.digest,
                "steps": comparison.treatment.to_list(),
                "describe": comparison.treatment.describe(),
            },
            "band": {
                "shortest_m": comparison.band.shortest,
                "longest_m": comparison.band.longest,
                "filtered": comparison.band.filtered,
            },
            "rank_by": comparison.rank_by,
            "shared_range_m": list(comparison.shared_range),
            "scale": _scale(comparison.scale),
            "scans": [_scan(scan) for scan in comparison.scans],
            "specimens": [_specimen(specimen) for specimen in comparison.specimens],
            "standing": [_place(place) for place in comparison.standing],
            "ranking": _ranking(comparison.ranking, comparison.rank_by),
            "choices": None if comparison.choices is None else _choices(comparison.choices),
            "claims": claims_record(comparison.claims),
            "trials": [trial_record(one) for one in comparison.trials],
            "repeats": [list(group) for group in comparison.noise.groups] if comparison.noise else [],
            "noise": measured_record(comparison.noise),
            "comparability": [_pair(pair) for pair in comparison.comparability],
            "refused": [_refusal(refusal) for refusal in comparison.refused],
        }
    )
    return told


def carried(comparison: Comparison) -> Record:
    """The part of the record that a figure carries: what was done to which file, and the digits that came out.

    Enough to repeat the comparison from the files and to say whether every digit agrees.
    """
    whole = record(comparison)
    scans = [
        {key: scan[key] for key in ORIGIN}
        | {"readings": {symbol: reading["value"] for symbol, reading in scan["readings"].items()}}
        for scan in whole["scans"]
    ]
    return {key: whole[key] for key in KEPT} | {"scans": scans}


def plain(value: Any) -> Any:
    """The value in JSON's own kinds: numbers that are not finite become None, text is made harmless.

    >>> plain({"n": np.int64(3), "bad": float("nan"), "both": (1.5, "a")})
    {'n': 3, 'bad': None, 'both': [1.5, 'a']}
    """
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, int):
        return int(value)  # also takes enumerations down to the number
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {clean(str(key)): plain(item) for key, item in value.items()}
    if isinstance(value, np.generic | np.ndarray):
        return plain(value.tolist())
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, bytes):
        return clean(value.decode("utf-8", "replace"))
    if isinstance(value, Iterable):
        return [plain(item) for item in value]
    return clean(str(value))


def _scan(scan: ScanResult) -> Record:
    source, raw = scan.raw.source, scan.raw
    return {
        "name": scan.name,
        "specimen": scan.specimen,
        "spot": scan.spot,
        "shapes": [shape.to_plain() for shape in scan.shapes],
        "said": dict(scan.said),
        "file": source.file,
        "sha256": source.sha256,
        "format": source.format,
        "channel": source.channel,
        "channels": list(source.channels),
        "unit": source.unit,
        "shape": list(raw.shape),
        "pitch_m": list(raw.pitch),
        "size_m": list(raw.size),
        "missing_fraction": raw.missing_fraction,
        "treated": {
            "shape": list(scan.treated.shape),
            "pitch_m": list(scan.treated.pitch),
            "size_m": list(scan.treated.size),
            "missing_fraction": scan.treated.missing_fraction,
        },
        "masked_fraction": scan.treated.masked_fraction,
        "own_range_m": list(scan.own_range),
        "direction": raw.metadata.get("direction"),
        "metadata": dict(raw.metadata),
        "removed": [_entry(entry) for entry in scan.removed],
        "levelling": [_levelling(loss) for loss in scan.evidence.losses] if scan.evidence else [],
        "readings": {symbol: _reading(reading) for symbol, reading in scan.readings.items()},
        "doubts": [_doubt(doubt) for doubt in scan.doubts],
        "bumps": bumps_record(scan.bumps),
    }


def _specimen(specimen: SpecimenResult) -> Record:
    return {
        "name": specimen.name,
        "scans": list(specimen.scans),
        "typical": specimen.typical,
        "readings": {symbol: _reading(reading) for symbol, reading in specimen.readings.items()},
        "doubts": [_doubt(doubt) for doubt in specimen.doubts],
        "budgets": {symbol: _budget(budget) for symbol, budget in specimen.budgets.items()},
        "bumps": bumps_record(specimen.bumps),
        "noise": noise_record(specimen.noise),
    }


def _budget(budget: Budget) -> Record:
    """Halves of 95 % intervals, on the logarithm where `relative`; infinite degrees of freedom are None."""
    return {
        "value": budget.value,
        "unit": budget.unit,
        "relative": budget.relative,
        "low": budget.low,
        "high": budget.high,
        "absolute_low": budget.absolute_low,
        "absolute_high": budget.absolute_high,
        "complete": budget.complete,
        "note": budget.note,
        "lines": [
            {"source": line.source, "half": line.half, "freedom": line.freedom, "role": line.role, "how": line.how}
            for line in budget.lines
        ],
    }


def _levelling(loss: Loss) -> Record:
    return {
        "step": loss.step,
        "what": loss.what,
        "share": loss.share,
        "low": loss.low,
        "high": loss.high,
        "level": loss.level,
        "at_least": loss.at_least,
        "in_band": loss.banded,
        "check": loss.check,
        "sentence": loss.sentence,
    }


def _reading(reading: Reading) -> Record:
    had = reading.value is not None and math.isfinite(reading.value)
    return {
        "value": reading.value,
        "unit": reading.unit,
        "uncertainty": reading.uncertainty,
        "low": reading.low,
        "high": reading.high,
        "n": reading.n,
        "clause": reading.clause,
        "note": reading.note if had else reading.note or "cannot be had; the reason is not known",
    }


def _doubt(doubt: Doubt) -> Record:
    return {
        "code": doubt.code,
        "level": doubt.level,
        "message": doubt.message,
        "advice": doubt.advice,
        "figures": dict(doubt.figures),
        "place_px": None if doubt.place is None else dataclasses.asdict(doubt.place),
        "confused_with": doubt.confused_with,
        "settled_by": doubt.settled_by,
        "cure": None if doubt.cure is None else dict(doubt.cure),
    }


def _entry(entry: Entry) -> Record:
    return {"step": dict(entry.step), "removed": entry.removed, "figures": dict(entry.figures)}


def _place(place: Place) -> Record:
    return {
        "rank": place.rank,
        "specimen": place.specimen,
        "tie": place.tie,
        "probability_best": place.probability_best,
        "proven": place.proven,
        "value": place.value,
        "limited": place.limited,
        "comparable": place.comparable,
        "not_comparable_with": list(place.not_comparable_with),
        "probability_rank": list(place.probability_rank),
    }


def _ranking(ranking: Ranking, symbol: str) -> Record:
    """Rows and columns of the tables are the tested specimens, in their order."""
    return {
        "tested": list(ranking.tested),
        "p_values": [list(row) for row in ranking.p_values],
        "apart": [list(pair) for pair in sorted(ranking.apart)],
        "probability_lower": [list(row) for row in ranking.probability_lower],
        "brackets": [list(run) for run in ranking.brackets],
        "sentences": list(sentences(ranking, symbol)),
    }


def _choices(choices: Choices) -> Record:
    return {
        "symbol": choices.symbol,
        "verdict": choices.verdict,
        "sentence": sentence(choices),
        "note": choices.note,
        "options": {factor: list(names) for factor, names in choices.options.items()},
        "treatments": [
            {"options": list(choice.options), "winner": choice.winner, "order": list(choice.order)}
            for choice in choices.choices
        ],
        "baseline": choices.baseline,
        "win_share": dict(choices.win_share),
        "different": choices.different,
        "flip_rate": dict(choices.flip_rate),
        "nearest_flip": [{"factor": f, "from": before, "to": to} for f, before, to in choices.nearest_flip],
        "flips_to": choices.flips_to,
    }


def _pair(pair: Pair) -> Record:
    return {
        "pair": [pair.first, pair.second],
        "level": pair.level,
        "reasons": list(pair.reasons),
        "cure": pair.cure,
        "not_recorded": list(pair.unknown),
    }


def _scale(scale: Scale) -> Record:
    return {"shared": scale.shared, "preset": scale.preset, "low_m": scale.low, "high_m": scale.high}


def _refusal(refusal: Refusal) -> Record:
    return {"file": refusal.file, "reason": refusal.reason, "fix": refusal.fix}
