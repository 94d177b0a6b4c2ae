"""Which scans a composed figure shows, with name, place, reading, and the numbers under their names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from core.errors import FigureError
from core.figure.composed.plan import FigurePlan
from core.figure.told import SHOWN
from core.measures.reading import Reading
from core.results import Comparison, ScanResult
from core.sheet.words import clean, column_scaling, height_range_text, spots, value_text


@dataclass(frozen=True, slots=True, eq=False)
class Chosen:
    """One scan on the figure.

    Attributes
    ----------
    name : str
        The specimen, and the scan where it was chosen by its name.
    rank : int or None
        Place of the specimen.
    colour : int
        Its number on the bench.
    scan : ScanResult
        The scan.
    reading : Reading
        Ranking reading: of the specimen where its median spot stands for it, else of the scan.
    spots : int
        How many there are behind the reading.
    proven, aside : bool
        Whether the place is proven; whether the reading may not stand beside the others.
    """

    name: str
    rank: int | None
    colour: int
    scan: ScanResult
    reading: Reading
    spots: int
    proven: bool
    aside: bool


def chosen(comparison: Comparison, plan: FigurePlan) -> list[Chosen]:
    """What a plan shows, in its order.

    Raises
    ------
    FigureError
        If there is nothing to show, or a scan of the plan is not there.
    """
    if not comparison.scans:
        raise FigureError("There is no specimen to draw", fix="Add scans that can be read.")
    if plan.scans:
        missing = [name for name in plan.scans if name not in comparison.scans_by_name]
        if missing:
            raise FigureError(f"There is no scan “{missing[0]}” to draw", fix="Choose the scans again.")
        if len(plan.scans) > SHOWN:
            raise FigureError(f"A figure shows {SHOWN} scans at most", fix="Choose fewer.")
        return [_one(comparison, comparison.scans_by_name[name], alone=True) for name in dict.fromkeys(plan.scans)]
    ranked = [place.specimen for place in comparison.standing if place.specimen in comparison.specimens_by_name]
    rest = [specimen.name for specimen in comparison.specimens if specimen.name not in comparison.places]
    typical = [comparison.specimens_by_name[name].typical for name in (*ranked, *rest)[:SHOWN]]
    return [_one(comparison, comparison.scans_by_name[name], alone=False) for name in typical]


def _one(comparison: Comparison, scan: ScanResult, *, alone: bool) -> Chosen:
    place = comparison.places.get(scan.specimen)
    readings = scan.readings if alone else comparison.specimens_by_name[scan.specimen].readings
    reading = readings.get(comparison.rank_by, Reading(comparison.rank_by, None, "1", ""))
    return Chosen(
        name=clean(scan.name if alone else scan.specimen),
        rank=place.rank if place else None,
        colour=comparison.colour_index(scan.specimen),
        scan=scan,
        reading=reading,
        spots=1 if alone else spots(comparison, scan.specimen),
        proven=place is None or place.proven,
        aside=place is not None and not place.comparable,
    )


def values(shown: Sequence[Chosen]) -> list[str]:
    """Symbol, value and interval of each, in one unit."""
    unit = column_scaling(one.reading for one in shown)[1]
    return [value_text(replace(one.reading, n=0), unit) for one in shown]


def own_ranges(shown: Sequence[Chosen]) -> list[str]:
    """Range of each own scale."""
    return [height_range_text(*one.scan.own_range) for one in shown]
