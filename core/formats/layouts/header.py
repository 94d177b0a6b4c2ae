"""Values that stand in a file's header: the number, the word or the length after a given text.

Plain text is looked for, never a regular expression: layouts travel between people, and a pattern can be made to run
for ever.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from core.errors import DamagedFile, LayoutError
from core.units import is_length_unit, metres_per

MOST_HEADER = 2**20
"""Bytes at the beginning of a file that are searched."""

_GAP = "\\s:=,;\t\0\"'"
_NUMBER = re.compile(
    rf"[{_GAP}]{{0,80}}([-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?)[ \t]?([^\s\d,;:=\0\"']{{0,12}})"
)
_WORDS = re.compile(rf"[{_GAP}]{{0,80}}([^\r\n\0]{{0,200}})")


@dataclass(frozen=True, slots=True)
class After:
    """What stands after a text in the header.

    Attributes
    ----------
    after : str
        The text as it stands there, capitals and all.
    nth : int
        Which of several places, 1 the first.
    unit : str
        Unit of the number where the header does not say one behind it.
    """

    after: str
    nth: int = 1
    unit: str = ""

    def __post_init__(self) -> None:
        if not self.after or self.nth < 1:
            raise LayoutError(
                "“after” needs the text that stands before the value, and nth counts from 1",
                fix='Write { after = "Samples per line:" }.',
            )

    def table(self) -> dict[str, Any]:
        """As it stands in the TOML."""
        return (
            {"after": self.after}
            | ({"nth": self.nth} if self.nth > 1 else {})
            | ({"unit": self.unit} if self.unit else {})
        )


Said = int | float | str | After
"""A value that is written out in the layout, or found in the header."""


def said(value: object, what: str) -> Said:
    """A value of a layout from its TOML form.

    Raises
    ------
    LayoutError
        If it is neither a number, a text, nor a table with ``after``.
    """
    if isinstance(value, Mapping):
        unknown = set(value) - {"after", "nth", "unit"}
        if "after" not in value or unknown:
            raise LayoutError(
                f"{what} has unknown entries: {', '.join(sorted(unknown)) or 'after is missing'}",
                fix=f'Write {what} = {{ after = "text before it" }}.',
            )
        nth = value.get("nth", 1)
        if isinstance(nth, bool) or not isinstance(nth, int):
            raise LayoutError(f"nth of {what} is no count: {nth!r}", fix="Write nth = 2 for the second place.")
        return After(str(value["after"]), nth, str(value.get("unit", "")))
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise LayoutError(f"{what} = {value!r} is no value", fix="Write a number, or where the header says it.")
    return value


class Header:
    """The beginning of one file as text.

    Parameters
    ----------
    head : bytes
        Its first bytes; every byte is one sign (Latin-1), so that nothing is lost.
    where : str
        The file, for errors.
    """

    def __init__(self, head: bytes, where: str) -> None:
        self.text, self.where = head.decode("latin-1"), where

    def place_after(self, spot: After, what: str) -> int:
        """The byte behind the text of a spot.

        Raises
        ------
        DamagedFile
            If the text is not there.
        """
        place = -1
        for _ in range(spot.nth):
            place = self.text.find(spot.after, place + 1)
            if place < 0:
                raise DamagedFile(
                    f"The header does not say {what}: there is no “{spot.after}”",
                    where=self.where,
                    fix="Choose another layout, or correct the text in this one.",
                )
        return place + len(spot.after)

    def number(self, value: Said, what: str) -> float:
        """A plain number."""
        return self._number(value, what)[0]

    def whole(self, value: Said, what: str) -> int:
        """A whole number that is not negative.

        Raises
        ------
        DamagedFile
            If it is something else.
        """
        number = self.number(value, what)
        if not (0 <= number <= 2**53 and number == int(number)):
            raise DamagedFile(f"{what} is {number:g}, no count", where=self.where, fix="Check the layout.")
        return int(number)

    def length(self, value: Said, what: str) -> float:
        """A length in metres: its unit stands behind it, or in the layout.

        Raises
        ------
        DamagedFile
            If there is no unit of length.
        """
        number, unit = self._number(value, what)
        if isinstance(value, After) and not is_length_unit(unit):
            unit = value.unit
        if not is_length_unit(unit):
            raise DamagedFile(
                f"{what} has no unit of length (“{unit}”)", where=self.where, fix='Add unit = "nm" in the layout.'
            )
        return number * metres_per(unit)

    def word(self, value: Said, what: str) -> str:
        """The rest of the line."""
        if not isinstance(value, After):
            return str(value)
        match = _WORDS.match(self.text, self.place_after(value, what))
        return match[1].strip() if match else ""

    def _number(self, value: Said, what: str) -> tuple[float, str]:
        """A number and what stands directly behind it."""
        text, start = (self.text, self.place_after(value, what)) if isinstance(value, After) else (str(value), 0)
        match = _NUMBER.match(text, start)
        if match is None:
            raise DamagedFile(
                f"{what} is no number: “{text[start : start + 20].strip()}”", where=self.where, fix="Check the layout."
            )
        return float(match[1].replace(",", ".")), match[2]
