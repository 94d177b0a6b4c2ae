"""What a figure or a sheet carries, read back: treatment, raw files with their hashes, and the digits that came out.

With it a comparison can be repeated from the picture on a slide, and checked digit by digit.
"""

from __future__ import annotations

import csv
import json
import re
import zipfile
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from core.errors import DamagedFile, FileProblem, LowreliefError, UnknownFormat
from core.formats.guard import breakage
from core.formats.hdf5_heap import opened, text_of
from core.sheet.csv_sheet import COLUMNS, RECIPE, cell
from core.sheet.record import PROGRAM, SCHEMA, Record

LARGEST = 2**28  # bytes of a figure or sheet that is looked into
_ESCAPED = re.compile(rb"\\([nrtbf()\\]|[0-7]{1,3}|\r?\n)")
_PIECE = re.compile(rf"{PROGRAM} (\d+)/\d+ (.*)", re.S)
_SIGNS = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}


def carried_by(path: str | Path) -> Record:
    """What a figure (.png, .svg, .pdf), a sheet (.json, .csv, .html, .xlsx) or a bench file (.h5) carries.

    Parameters
    ----------
    path : str or Path
        A file that this program wrote.

    Returns
    -------
    dict
        With ``treatment``, ``rank_by``, ``shared_range_m``, ``standing``, and ``scans``, each of these with ``name``,
        ``specimen``, ``file``, ``sha256`` and ``readings`` (value by symbol, SI, None where it could not be had).

    Raises
    ------
    UnknownFormat
        If the suffix is another.
    FileProblem
        If the file is not there, or far too large.
    DamagedFile
        If it carries no comparison, or a newer schema.
    """
    path = Path(path)
    take = _READERS.get(path.suffix.lower())
    if take is None:
        kinds = ", ".join(_READERS)
        raise UnknownFormat("This is no figure and no sheet", where=str(path), fix=f"Give a file of: {kinds}.")
    if not path.is_file():
        raise FileProblem("The file is not there", where=str(path), fix="Check its name.")
    if path.stat().st_size > LARGEST:
        raise FileProblem("The file is too large for a figure or sheet", where=str(path), fix="Give the sheet.json.")
    with breakage(path, "a figure or sheet"):
        text = take(path)
        told = json.loads(text) if text else None
        if not isinstance(told, dict) or told.get("program", {}).get("name") != PROGRAM:
            raise DamagedFile(
                "This file carries no comparison",
                where=str(path),
                fix="Give a figure or sheet as Lowrelief wrote it; other programs drop what it carries.",
            )
        if told["schema"] > SCHEMA:
            raise DamagedFile(
                f"It carries schema {told['schema']}, this program reads up to {SCHEMA}",
                where=str(path),
                fix="Use a newer version of Lowrelief.",
            )
        return told | {"scans": [_scan(scan) for scan in told["scans"]]}


def carries(path: str | Path) -> Record | None:
    """What a file carries, None if it is no figure or sheet of ours. Never raises.

    >>> carries("no such file.png") is None
    True
    """
    try:
        return carried_by(path)
    except LowreliefError:
        return None


def _scan(scan: dict[str, Any]) -> dict[str, Any]:
    """A scan with bare values, whether it comes from a figure or from the fuller sheet."""
    values = {symbol: one["value"] if isinstance(one, dict) else one for symbol, one in scan["readings"].items()}
    return scan | {"readings": values}


def _from_png(path: Path) -> str:
    from PIL.PngImagePlugin import PngImageFile

    with PngImageFile(path) as picture:
        return str(picture.info.get(PROGRAM, ""))  # the text stands before the pixels, which are not unpacked


def _from_svg(path: Path) -> str:
    from defusedxml import ElementTree

    for _, element in ElementTree.iterparse(path):
        if element.tag == "{http://purl.org/dc/elements/1.1/}description":
            return str(element.text or "")
    return ""


def _from_pdf(path: Path) -> str:
    """The keywords of the document: a string in parentheses, of which those inside are escaped."""
    match = re.search(rb"/Keywords\s*\(((?:[^\\()]|\\.)*)\)", path.read_bytes(), re.S)
    return _ESCAPED.sub(_sign, match[1]).decode("utf-8") if match else ""


def _sign(match: re.Match[bytes]) -> bytes:
    told = match[1]
    if told[:1].isdigit():
        return bytes([int(told, 8) & 0xFF])
    return b"" if told.endswith(b"\n") else _SIGNS.get(told, told)


def _from_html(path: Path) -> str:
    found = _Meta()
    found.feed(path.read_text(encoding="utf-8"))
    return found.content


class _Meta(HTMLParser):
    """Finds the content of the meta element that carries the comparison."""

    content = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        if tag == "meta" and told.get("name") == PROGRAM:
            self.content = told.get("content") or ""


def _from_xlsx(path: Path) -> str:
    """The pieces on the hidden sheet, which stand among the strings that all sheets share."""
    from defusedxml import ElementTree

    pieces: dict[int, str] = {}
    with zipfile.ZipFile(path) as book:
        member = book.getinfo("xl/sharedStrings.xml")
        if member.file_size > LARGEST:
            raise ValueError("the strings of the workbook are too large")
        with book.open(member) as strings:
            for _, element in ElementTree.iterparse(strings):
                match = _PIECE.match(element.text or "") if element.tag.endswith("}t") else None
                if match:
                    pieces[int(match[1])] = match[2]
    return "".join(pieces[number] for number in sorted(pieces))


def _from_csv(path: Path) -> str:
    """The lines of the recipe, joined with the readings that stand in the table itself."""
    with path.open(encoding="utf-8", newline="") as file:
        if not file.readline(200).startswith(f"{COLUMNS[0]},{COLUMNS[1]},"):
            return ""  # another table, perhaps a large one: it is not read
        file.seek(0)
        rows = list(csv.DictReader(file))
    notes = [json.loads(row["note"]) for row in rows if row["level"] == RECIPE]
    if not notes:
        return ""
    whole, origins = notes[0], notes[1:]
    readings: dict[str, dict[str, float | None]] = {}
    for row in rows:
        if row["level"] == "scan":
            value = float(row["value"]) if row["value"] else None
            readings.setdefault(row["name"], {})[row["symbol"]] = value
    return json.dumps(
        whole | {"scans": [origin | {"readings": readings.get(cell(origin["name"]), {})} for origin in origins]}
    )


def _from_bench(path: Path) -> str:
    with opened(path) as file:
        return text_of(file["entry/comparison"]) if "entry/comparison" in file else ""


def _from_json(path: Path) -> str:
    return path.read_text(encoding="utf-8")


_READERS: dict[str, Callable[[Path], str]] = {
    ".png": _from_png,
    ".svg": _from_svg,
    ".pdf": _from_pdf,
    ".json": _from_json,
    ".html": _from_html,
    ".xlsx": _from_xlsx,
    ".csv": _from_csv,
    ".h5": _from_bench,
}

CARRIERS = tuple(_READERS)
"""Suffixes, in lower case, of the files that carry a comparison."""
