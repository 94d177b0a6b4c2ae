"""What a step does to the readings: those of a treatment with it beside those of the same treatment without it.

Nothing is computed for this: comparisons that were made before are remembered by their treatment, as long as the scans
on the bench are the same. Only readings are kept, no maps.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from weakref import ref

from core.bench import Bench
from core.heightmap import HeightMap
from core.measures.reading import Reading
from core.results import Comparison
from core.treatment import Treatment
from core.treatment.step import Step

KEPT = 40  # treatments that are remembered

Readings = Mapping[str, Reading]
"""The ranking reading by specimen."""


class WithWithout:
    """Remembers readings by treatment."""

    def __init__(self) -> None:
        self._maps: tuple[ref[HeightMap], ...] = ()
        self._about: object = None  # which of them belong together
        self._known: dict[tuple[str, str], Readings] = {}

    def remember(self, bench: Bench, comparison: Comparison) -> None:
        """Keep what this bench reads; another set of scans forgets all that was known."""
        if not self._is_of(bench):
            self._known.clear()
            self._maps = tuple(ref(scan.raw) for scan in bench.scans)
            self._about = _grouping(bench)
        key = bench.treatment.digest, comparison.rank_by
        self._known.pop(key, None)
        self._known[key] = {one.name: one.readings[comparison.rank_by] for one in comparison.specimens}
        for oldest in list(self._known)[:-KEPT]:
            del self._known[oldest]

    def without(self, bench: Bench, step: Step) -> Readings | None:
        """What the bench reads without this step of its treatment; None where that was never compared."""
        left = [known for known in bench.treatment.steps if known != step]
        return self._of(bench, left) if self._is_of(bench) and len(left) < len(bench.treatment.steps) else None

    def _of(self, bench: Bench, steps: Iterable[Step]) -> Readings | None:
        return self._known.get((Treatment(tuple(steps)).digest, bench.rank_by))

    def _is_of(self, bench: Bench) -> bool:
        if len(self._maps) != len(bench.scans) or self._about != _grouping(bench):
            return False
        return all(known() is scan.raw for known, scan in zip(self._maps, bench.scans, strict=True))


def _grouping(bench: Bench) -> object:
    return bench.repeats, tuple((scan.specimen, scan.spot) for scan in bench.scans)
