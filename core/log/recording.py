"""What a finished comparison adds to the log."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from typing import Any

from core.errors import ReadingUnknown
from core.log.entry import LogEntry
from core.results import Comparison, SpecimenResult


def entries_of(comparison: Comparison, symbols: Sequence[str] | None = None) -> list[LogEntry]:
    """The readings of every specimen as entries, and the noise floors that were measured.

    Parameters
    ----------
    comparison : Comparison
        The whole result.
    symbols : sequence of str, optional
        Readings to keep; by default the one that ranks.

    Returns
    -------
    list of LogEntry
        Dated by the scans where all of a specimen say the same day, else by the comparison. Readings that could not be
        had are left out.

    Raises
    ------
    ReadingUnknown
        If a symbol is not known.
    """
    wanted = list(symbols or [comparison.rank_by])
    readings = [entry for specimen in comparison.specimens for entry in _of_specimen(comparison, specimen, wanted)]
    floors = [entry for specimen in comparison.specimens for entry in _floor(comparison, specimen)]
    return [*readings, *floors]


def _of_specimen(comparison: Comparison, specimen: SpecimenResult, symbols: Sequence[str]) -> Iterator[LogEntry]:
    about = _about(comparison, specimen.scans)
    for symbol in symbols:
        reading = specimen.readings.get(symbol)
        if reading is None:
            raise ReadingUnknown(f"The reading “{symbol}” is unknown", fix="Name readings of the catalogue.")
        if reading.value is not None:
            yield LogEntry(
                kind="reading",
                subject=specimen.name,
                symbol=symbol,
                value=reading.value,
                unit=reading.unit,
                low=reading.low,
                high=reading.high,
                n=reading.n,
                note=reading.note,
                **about,
            )


def _floor(comparison: Comparison, specimen: SpecimenResult) -> Iterator[LogEntry]:
    """The noise floor of a specimen, where repeats or a reference of its own say it."""
    floor = specimen.noise.floor if specimen.noise is not None else None
    own = floor is not None and set(floor.scans) <= set(specimen.scans)
    if floor is None or not own or floor.upper_limit or not floor.value > 0:
        return
    spread = math.exp(1.96 * floor.u)
    yield LogEntry(
        kind="floor",
        subject=specimen.name,
        symbol="noise",
        value=floor.value,
        unit="m",
        low=floor.value / spread,
        high=floor.value * spread,
        n=len(floor.scans),
        note=floor.method,
        **_about(comparison, floor.scans),
    )


def _about(comparison: Comparison, names: Iterable[str]) -> dict[str, Any]:
    """What every entry of these scans says: when, in which band, after which treatment, with what, from which files."""
    scans = [comparison.scans_by_name[name].raw for name in names]
    said = [scan.metadata for scan in scans]
    return {
        "at": _common(said, "date", _as_iso) or comparison.created,
        "shortest": comparison.band.shortest,
        "longest": comparison.band.longest,
        "treatment": comparison.treatment.digest,
        "instrument": _common(said, "instrument", str),
        "probe": _common(said, "probe", str),
        "sha256": " ".join(sorted(scan.source.sha256 for scan in scans if scan.source.sha256)),
    }


def _common(said: Sequence[Any], key: str, as_text: Any) -> str:
    """What all scans say alike, empty if they differ or do not say it."""
    values = {as_text(metadata[key]) if key in metadata else "" for metadata in said}
    return str(values.pop()) if len(values) == 1 else ""


def _as_iso(value: object) -> str:
    """The day of a date or a text that is one, empty for anything else."""
    if isinstance(value, date):  # a datetime is one too
        return value.isoformat()
    try:
        return datetime.fromisoformat(str(value)).isoformat()
    except ValueError:
        return ""
