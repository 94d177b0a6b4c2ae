"""What a figure or a sheet carries, read back: treatment, raw files with their hashes, and the digits that came out.

With it a comparison can be repeated from the picture on a slide, and checked digit by digit.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

from core.errors import DamagedFile, FileProblem, UnknownFormat
from core.formats.guard import breakage
from core.sheet.record import PROGRAM, SCHEMA, Record

LARGEST = 2**28  # bytes of a figure or sheet that is looked into
_ESCAPED = re.compile(rb"\\([nrtbf()\\]|[0-7]{1,3}|\r?\n)")
_SIGNS = {b"n": b"\n", b"r": b"\r", b"t": b"\t", b"b": b"\b", b"f": b"\f"}


def carried_by(path: str | Path) -> Record:
    """What a figure (.png, .svg, .pdf) or a sheet (.json) carries.

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
                fix="Give a figure or sheet.json as Lowrelief wrote it; other programs drop what it carries.",
            )
        if told["schema"] > SCHEMA:
            raise DamagedFile(
                f"It carries schema {told['schema']}, this program reads up to {SCHEMA}",
                where=str(path),
                fix="Use a newer version of Lowrelief.",
            )
        return told | {"scans": [_scan(scan) for scan in told["scans"]]}


def _scan(scan: dict[str, Any]) -> dict[str, Any]:
    """A scan with bare values, whether it comes from a figure or from the fuller sheet."""
    values = {symbol: one["value"] if isinstance(one, dict) else one for symbol, one in scan["readings"].items()}
    return scan | {"readings": values}


def _from_png(path: Path) -> str:
    from PIL import Image

    with Image.open(path, formats=["PNG"]) as picture:
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


def _from_json(path: Path) -> str:
    return path.read_text(encoding="utf-8")


_READERS: dict[str, Callable[[Path], str]] = {
    ".png": _from_png,
    ".svg": _from_svg,
    ".pdf": _from_pdf,
    ".json": _from_json,
}
