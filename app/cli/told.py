"""What ``lowrelief show`` tells: what the file holds, its readings with clause and plain words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from core.heightmap import HeightMap
from core.measures import CATALOGUE, readings
from core.measures.reading import Reading
from core.sheet.words import number_text
from core.treatment import Treatment
from core.units import format_length

if TYPE_CHECKING:
    from core.fitness.ladder import Ladder


def as_record(maps: Sequence[HeightMap]) -> dict[str, Any]:
    """The file's content and the readings of its chosen channel, SI, ready for JSON."""
    scan, treatment = maps[0], Treatment.default()
    return {
        "name": scan.name,
        "file": scan.source.file,
        "sha256": scan.source.sha256,
        "format": scan.source.format,
        "channel": scan.source.channel,
        "channels": list(scan.source.channels),
        "shape": list(scan.shape),
        "pitch_m": list(scan.pitch),
        "size_m": list(scan.size),
        "missing_fraction": scan.missing_fraction,
        "metadata": {key: str(value) for key, value in scan.metadata.items()},
        "treatment": treatment.to_list(),
        "readings": {
            symbol: {"value": r.value, "unit": r.unit, "clause": r.clause, "note": r.note}
            for symbol, r in readings(treatment.apply(scan)).items()
        },
    }


def ladder_record(found: Ladder) -> dict[str, Any]:
    """Crystal steps, SI, ready for JSON."""
    return {
        "kind": found.kind,
        "height_m": found.height,
        "uncertainty_m": found.u,
        "levels": found.levels,
        "resultant": found.resultant,
        "smallest_m": found.smallest,
        "matches": [
            {
                "crystal": match.crystal.name,
                "multiple": match.multiple,
                "step_m": match.crystal.step,
                "source": match.crystal.source,
                "scale": match.ratio,
                "scale_uncertainty": match.u_ratio,
            }
            for match in found.matches
        ],
        "sentence": found.sentence,
    }


def as_text(maps: Sequence[HeightMap]) -> str:
    """The same for people."""
    scan, treatment = maps[0], Treatment.default()
    rows, columns = scan.shape
    source = scan.source
    others = [channel for channel in source.channels if channel != source.channel]
    facts = {
        "name": scan.name,
        "format": source.format,
        "channel": source.channel + (f" (also in the file: {', '.join(others)})" if others else ""),
        "points": f"{rows} down × {columns} across",
        "pixel": " × ".join(format_length(step, digits=6) for step in scan.pitch) + " (down × across)",
        "size": " × ".join(format_length(side, digits=4) for side in scan.size),
        "missing": f"{scan.missing_fraction:.3%}",
        "sha256": source.sha256,
    } | {key: str(value) for key, value in scan.metadata.items()}
    lines = [f"{label:<12}{value}" for label, value in facts.items() if value]
    lines += ["", f"Readings after: {treatment.describe()}", ""]
    lines += [_line(reading) for reading in readings(treatment.apply(scan)).values()]
    return "\n".join(lines)


def _line(reading: Reading) -> str:
    quantity = CATALOGUE[reading.symbol]
    words = f"{quantity.name} · {reading.clause}"
    return f"{reading.symbol:<10}{number_text(reading):<14}{words}" + (f" · {reading.note}" if reading.note else "")
