"""The standing as a table: what each cell says, and by what it is sorted."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import IntEnum

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt

from core.colours import specimen_colour
from core.measures import CATALOGUE
from core.measures.reading import Reading
from core.results import Comparison
from core.sheet.words import common_unit, ends, has_interval, interval_text, reasons_text, scaling
from core.standing import Place
from core.verdict import chance_digits, listed

Index = QModelIndex | QPersistentModelIndex
NOWHERE = QModelIndex()
SORT = Qt.ItemDataRole.UserRole
ROW = Qt.ItemDataRole.UserRole + 1


class Columns(IntEnum):
    """The columns, left to right."""

    RANK = 0
    SPECIMEN = 1
    VALUE = 2
    PICTURE = 3
    TIE = 4
    CHANCE = 5


HEADS = {Columns.SPECIMEN: "specimen", Columns.TIE: "tie", Columns.CHANCE: "P"}

TIPS = {
    Columns.RANK: "Order by the reading alone; the letters under “tie” say what is proven",
    Columns.TIE: "Specimens that share a letter are not told apart (95 %, all pairs together)",
    Columns.CHANCE: "Probability that this specimen truly has the lowest value",
}


@dataclass(frozen=True)
class Row:
    """One line of the standing with what is drawn for it.

    Attributes
    ----------
    place : Place
        Rank, letters, probability.
    reading : Reading
        The ranking reading of the specimen.
    colour : str
        Of the specimen, ``#RRGGBB``.
    why : str
        Why it is set aside, in words behind a colon; empty where it is not.
    dot, left, right : float or None
        Value and ends of the interval along the picture, 0 to 1; None where there is none.
    """

    place: Place
    reading: Reading
    colour: str
    why: str = ""
    dot: float | None = None
    left: float | None = None
    right: float | None = None


class StandingModel(QAbstractTableModel):
    """Rows of the latest comparison, best first."""

    def __init__(self) -> None:
        super().__init__()
        self.rows: list[Row] = []
        self._symbol, self._unit, self._log = "Sq", "nm", True

    def show_comparison(self, comparison: Comparison | None) -> None:
        """Show another standing."""
        self.beginResetModel()
        try:
            self.rows = []
            if comparison is not None:
                self._fill(comparison)
        finally:
            self.endResetModel()

    def _fill(self, comparison: Comparison) -> None:
        self._symbol = comparison.rank_by
        found = [(place, comparison.specimens_by_name[place.specimen]) for place in comparison.standing]
        readings = [specimen.readings[self._symbol] for _, specimen in found]
        self._unit = _shown_unit(readings)
        self._log = CATALOGUE[self._symbol].positive and all(r.value is None or r.value > 0 for r in readings)
        spread = _span(readings, log=self._log)
        self.rows = [
            Row(place, reading, specimen_colour(comparison.colour_index(place.specimen)),
                _why(place, comparison), *_drawn(reading, spread, log=self._log))
            for (place, _), reading in zip(found, readings, strict=True)
        ]  # fmt: skip

    def rowCount(self, parent: Index = NOWHERE) -> int:
        return 0 if parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index = NOWHERE) -> int:
        return 0 if parent.isValid() else len(Columns)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if orientation != Qt.Orientation.Horizontal or not 0 <= section < len(Columns):
            return None
        column = Columns(section)
        if role == Qt.ItemDataRole.ToolTipRole:
            return TIPS.get(column)
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return int(_alignment(column))
        if role != Qt.ItemDataRole.DisplayRole:
            return None
        if column is Columns.VALUE:
            return f"{self._symbol} ± U{f', {self._unit}' if self._unit else ''}"
        if column is Columns.PICTURE:
            return f"{self._symbol}, {'log' if self._log else 'linear'}"
        return HEADS.get(column, "")

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        if not index.isValid():
            return None
        row, column = self.rows[index.row()], Columns(index.column())
        if role == Qt.ItemDataRole.DisplayRole:
            return self._text(row, column)
        if role == Qt.ItemDataRole.TextAlignmentRole:
            return int(_alignment(column))
        if role == Qt.ItemDataRole.ToolTipRole:
            return self._tip(row, column)
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return f"{self.headerData(column, Qt.Orientation.Horizontal)} {self._text(row, column)}"
        if role == SORT:
            return _sort_key(row, column)
        return row if role == ROW else None

    def _text(self, row: Row, column: Columns) -> str:
        place = row.place
        if column is Columns.RANK:
            return str(place.rank)
        if column is Columns.SPECIMEN:
            return place.specimen
        if column is Columns.VALUE:
            text = f"{'≤ ' if place.limited else ''}{interval_text(row.reading, self._unit or None)}"
            return text.replace(f" {self._unit}", "") if self._unit else text
        if column is Columns.TIE:
            return place.tie or "–"
        if column is Columns.CHANCE:
            return "–" if place.probability_best is None else chance_digits(place.probability_best)
        return ""

    def _tip(self, row: Row, column: Columns) -> str | None:
        place = row.place
        if not place.comparable and column is not Columns.RANK:
            others = listed(place.not_comparable_with) if place.not_comparable_with else "the others"
            return f"{place.specimen} is set aside: not comparable with {others}{row.why}"
        if place.limited and column is not Columns.RANK:
            return "At the limit of the instrument: an upper bound, tied with everything that reads lower"
        if column is Columns.SPECIMEN:
            return row.place.specimen
        if column in (Columns.VALUE, Columns.PICTURE):
            note = f"\n{row.reading.note}" if row.reading.note else ""
            return f"{interval_text(row.reading)}, typical spot with its 95 % interval, n = {row.reading.n}{note}"
        if column in (Columns.TIE, Columns.CHANCE) and not row.place.proven:
            return "A single scan stands for this specimen: nothing is proven"
        return TIPS.get(column)


def _why(place: Place, comparison: Comparison) -> str:
    if place.comparable:
        return ""
    red = [p for p in comparison.comparability if p.level == "red" and place.specimen in (p.first, p.second)]
    reasons = dict.fromkeys(reason for pair in red for reason in pair.reasons)
    return f": {reasons_text(list(reasons))}" if reasons else ""


def _alignment(column: Columns) -> Qt.AlignmentFlag:
    middle = Qt.AlignmentFlag.AlignVCenter
    if column in (Columns.VALUE, Columns.CHANCE):
        return middle | Qt.AlignmentFlag.AlignRight
    if column in (Columns.TIE, Columns.RANK, Columns.PICTURE):
        return middle | Qt.AlignmentFlag.AlignHCenter
    return middle | Qt.AlignmentFlag.AlignLeft


def _sort_key(row: Row, column: Columns) -> object:
    place = row.place
    if column is Columns.SPECIMEN:
        return place.specimen.casefold()
    if column is Columns.TIE:
        return place.tie or "~"
    if column is Columns.CHANCE:
        return -1.0 if place.probability_best is None else place.probability_best
    if column in (Columns.VALUE, Columns.PICTURE):
        return math.inf if row.reading.value is None else row.reading.value
    return place.rank


def _shown_unit(readings: list[Reading]) -> str:
    if not readings:
        return ""
    if readings[0].unit == "m":
        return common_unit(reading.value for reading in readings)
    return scaling(readings[0])[1]


def _span(readings: list[Reading], *, log: bool) -> tuple[float, float]:
    """What the picture reaches over: all values and the ends of their intervals."""
    known = [end for reading in readings if reading.value is not None
             for end in (reading.value, *(ends(reading) if has_interval(reading) else ()))]  # fmt: skip
    known = [math.log10(value) for value in known if value > 0] if log else known
    if not known:
        return 0.0, 1.0
    low, high = min(known), max(known)
    least = 0.3 if log else max(abs(low), abs(high), 1e-12) * 0.1  # values all alike are drawn close together
    pad = max(0.0, (least - (high - low)) / 2)
    return low - pad, high + pad


def _drawn(
    reading: Reading, span: tuple[float, float], *, log: bool
) -> tuple[float | None, float | None, float | None]:
    if reading.value is None:
        return None, None, None
    low, high = span

    def along(value: float) -> float:
        if log:
            value = math.log10(value) if value > 0 else low
        return min(1.0, max(0.0, (value - low) / (high - low)))

    if not has_interval(reading):
        return along(reading.value), None, None
    left, right = ends(reading)
    return along(reading.value), along(left), along(right)
