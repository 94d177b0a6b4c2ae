"""From the document to tiles: what each tile says. Formats results, computes none."""

from __future__ import annotations

from dataclasses import replace

from PySide6.QtCore import QObject, Signal

from app.document.document import Document
from app.document.loading import Arrival
from app.tiles.state import TileState
from app.told.words import chips, fix_in_window
from core.bench import Refusal, Scan
from core.colours import specimen_colour
from core.heightmap import HeightMap
from core.results import Comparison, ScanResult, SpecimenResult
from core.sheet.words import common_unit, number_text, value_text
from core.trust.doubts import Doubt

BESIDE = ("Sz", "Sa")  # the quieter reading: the first of them that does not rank
NO_COLOUR = "#8C8C8C"


class Presenter(QObject):
    """Keeps the tiles, and what the user chose to look at: this is no part of the bench and is not undone.

    Signals
    -------
    tiles_changed()
        `tiles()` would say something else now.
    """

    tiles_changed = Signal()

    def __init__(self, document: Document) -> None:
        super().__init__(document)
        self._document = document
        self._spots: dict[str, int] = {}
        self._every_scan = False
        self._as_added = False
        for signal in (document.bench_changed, document.compared, document.loading_changed):
            signal.connect(self.tiles_changed)

    @property
    def every_scan(self) -> bool:
        """Whether each scan has a tile, not only one spot of each specimen."""
        return self._every_scan

    def set_every_scan(self, on: bool) -> None:
        """A tile for each scan, or for each specimen."""
        self._every_scan = on
        self.tiles_changed.emit()

    @property
    def as_added(self) -> bool:
        """Whether the tiles stand in the order in which they came, not by rank."""
        return self._as_added

    def set_as_added(self, on: bool) -> None:
        """Tiles in the order in which they came, or by rank."""
        self._as_added = on
        self.tiles_changed.emit()

    def step_spot(self, key: str, by: int) -> None:
        """Show the next or the previous spot of a specimen."""
        names = self.scans_of(key)
        if len(names) > 1:
            comparison = self._document.comparison
            summary = None if comparison is None else comparison.specimens_by_name.get(self.specimen_of(key))
            self._spots[key] = (self._spots.get(key, _typical(summary, names)) + by) % len(names)
            self.tiles_changed.emit()

    def show_scan(self, name: str) -> str:
        """Have this scan on its tile; returns the key of the tile, empty where the scan is not on the bench."""
        bench = self._document.bench
        found = next((scan for scan in bench.scans if scan.name == name), None)
        if found is None or self._every_scan:
            return "" if found is None else f"scan:{name}"
        key = f"specimen:{found.specimen}"
        self._spots[key] = self.scans_of(key).index(name)
        self.tiles_changed.emit()
        return key

    def key_of(self, specimen: str) -> str:
        """Key of the tile, or of the first tile, of a specimen; empty where there is none."""
        names = [scan.name for scan in self._document.bench.specimens.get(specimen, ())]
        return "" if not names else f"scan:{names[0]}" if self._every_scan else f"specimen:{specimen}"

    def scans_of(self, key: str) -> list[str]:
        """Names of the scans behind a tile."""
        bench = self._document.bench
        kind, _, name = key.partition(":")
        if kind == "specimen":
            return [scan.name for scan in bench.specimens.get(name, ())]
        return [scan.name for scan in bench.scans if kind == "scan" and scan.name == name]

    def specimen_of(self, key: str) -> str:
        """The specimen behind a tile; empty for a file that is none yet."""
        names = self.scans_of(key)
        return self._document.bench.scan(names[0]).specimen if names else ""

    def tiles(self) -> list[TileState]:
        """All tiles in the order in which they are shown."""
        shown = self._by_scan() if self._every_scan else self._by_specimen()
        waiting = [_of_arrival(arrival) for arrival in self._document.arrivals]
        return [*shown, *waiting, *(_of_refusal(refusal) for refusal in self._refused())]

    def spots(self) -> dict[str, list[HeightMap]]:
        """The treated spots of each specimen in the order of the standing."""
        comparison = self._document.comparison
        if comparison is None:
            return {}
        return {name: [scan.treated for scan in scans] for name, scans in comparison.spots().items()}

    def _refused(self) -> list[Refusal]:
        """Files that the bench refused; a scan that the treatment refuses has its own tile already."""
        return list(self._document.bench.refused)

    def _order(self, specimens: list[str]) -> list[str]:
        comparison = self._document.comparison
        if comparison is None or self._as_added:
            return specimens
        ranks = {place.specimen: place.rank for place in comparison.standing}
        return sorted(specimens, key=lambda name: ranks.get(name, len(ranks) + 1))

    def _by_specimen(self) -> list[TileState]:
        specimens = self._document.bench.specimens
        colours = {name: specimen_colour(number) for number, name in enumerate(specimens)}
        return [self._specimen(name, specimens[name], colours[name]) for name in self._order(list(specimens))]

    def _by_scan(self) -> list[TileState]:
        specimens = self._document.bench.specimens
        colours = {name: specimen_colour(number) for number, name in enumerate(specimens)}
        return [
            self._scan(f"scan:{scan.name}", scan, colours[name])
            for name in self._order(list(specimens))
            for scan in specimens[name]
        ]

    def _specimen(self, name: str, scans: tuple[Scan, ...], colour: str) -> TileState:
        """The typical spot, or the one that was chosen, with the reading of the whole specimen."""
        comparison = self._document.comparison
        summary = None if comparison is None else comparison.specimens_by_name.get(name)
        names = [scan.name for scan in scans]
        key = f"specimen:{name}"
        index = self._spots.get(key, _typical(summary, names))
        scan = scans[min(index, len(scans) - 1)]
        tile = self._scan(key, scan, colour)
        if comparison is None or summary is None or tile.status == "refused":
            return replace(tile, title=name, spots=tuple(names) if len(names) > 1 else ())
        said = summary.readings
        return replace(
            tile,
            title=name,
            subtitle=f"{len(names)} spots" if len(names) > 1 else "1 spot",
            reading=value_text(said[comparison.rank_by], _unit(comparison)),
            detail=_beside(comparison.scans_by_name.get(scan.name), comparison.rank_by),
            chips=chips([*summary.doubts, *_doubts(comparison, names)]),
            spots=tuple(names) if len(names) > 1 else (),
        )

    def _scan(self, key: str, scan: Scan, colour: str) -> TileState:
        comparison = self._document.comparison
        result = None if comparison is None else comparison.scans_by_name.get(scan.name)
        subtitle = scan.specimen if scan.specimen != scan.name else scan.spot
        tile = TileState(key=key, title=scan.name, subtitle=subtitle, colour=colour, status="waiting")
        if comparison is None:
            return tile
        if result is None or result.raw is not scan.raw:
            return self._not_compared(tile, scan, comparison)
        place = comparison.places.get(result.specimen)
        return replace(
            tile,
            rank=None if place is None else place.rank,
            scan=result.treated,
            own_range=result.own_range,
            reading=value_text(result.readings[comparison.rank_by], _unit(comparison)),
            detail=_beside(result, comparison.rank_by),
            chips=chips(result.doubts),
            status="ready" if self._document.up_to_date else "stale",
        )

    def _not_compared(self, tile: TileState, scan: Scan, comparison: Comparison) -> TileState:
        if not self._document.up_to_date:
            return tile
        name = scan.raw.source.file or scan.name
        for refusal in comparison.refused:
            if refusal.file == name:
                return replace(tile, status="refused", message=refusal.reason, fix=refusal.fix)
        return tile


def _of_arrival(arrival: Arrival) -> TileState:
    if arrival.refusal is not None:
        return replace(_of_refusal(arrival.refusal), key=arrival.key)
    if arrival.scan is None:
        return TileState(key=arrival.key, title=arrival.path.name, colour=NO_COLOUR, status="waiting")
    return TileState(
        key=arrival.key,
        title=arrival.scan.name,
        subtitle=arrival.scan.specimen if arrival.scan.specimen != arrival.scan.name else "",
        colour=NO_COLOUR,
        scan=arrival.preview,
        status="waiting" if arrival.preview is None else "stale",
    )


def _of_refusal(refusal: Refusal) -> TileState:
    name = refusal.file.replace("\\", "/").rsplit("/", 1)[-1]
    return TileState(
        key=f"refused:{refusal.file}",
        title=name,
        colour=NO_COLOUR,
        status="refused",
        message=refusal.reason,
        fix=fix_in_window(refusal),
    )


def _typical(summary: SpecimenResult | None, names: list[str]) -> int:
    return names.index(summary.typical) if summary is not None and summary.typical in names else 0


def _beside(result: ScanResult | None, rank_by: str) -> str:
    if result is None:
        return ""
    symbol = next(symbol for symbol in BESIDE if symbol != rank_by)
    return f"{symbol} {number_text(result.readings[symbol])}"


def _unit(comparison: Comparison) -> str | None:
    """One unit of length for the ranking reading on all tiles, the same as in the standing."""
    readings = [specimen.readings[comparison.rank_by] for specimen in comparison.specimens]
    return common_unit(r.value for r in readings) if readings and readings[0].unit == "m" else None


def _doubts(comparison: Comparison, names: list[str]) -> list[Doubt]:
    found = [comparison.scans_by_name[name] for name in names if name in comparison.scans_by_name]
    return [doubt for scan in found for doubt in scan.doubts]
