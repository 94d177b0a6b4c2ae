"""Text to a table of numbers: comments, header lines, delimiter, decimal comma, words for missing points."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from core.errors import DamagedFile, NoHeights
from core.formats.guard import check_points, text_size
from core.heightmap import FloatArray

MISSING_WORDS = frozenset(
    {"", "nan", "na", "n/a", "null", "none", "missing", "bad", "--", "---", "-", "*", "?", "#n/a"}
)
"""Words that stand for a missing point, in lower case."""

_COMMENT = re.compile(r"\s*(?:#|%|//|;(?!\s*(?:[-+.,\d;]|$)))\s?")  # a row may begin with an empty cell and a semicolon
_SEPARATORS = re.compile(r"[\s,;]+")
_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eEdD][-+]?\d+)?|[-+]?(?:nan|inf|infinity)", re.IGNORECASE)
_DECIMAL_COMMA = re.compile(r"[-+]?\d*,\d+(?:[eE][-+]?\d+)?|[-+]?\d+(?:[eE][-+]?\d+)?|[-+]?nan", re.IGNORECASE)
_SAMPLE = 32


@dataclass(frozen=True, slots=True, eq=False)
class Table:
    """Numbers of a text, and what stands around them.

    Attributes
    ----------
    values : ndarray, shape (rows, columns)
        Missing cells are NaN.
    remarks : list of str
        Comment and header lines without their comment signs, in order; the line directly above the numbers last.
    delimiter : str or None
        What parts the cells; None for blanks.
    """

    values: FloatArray
    remarks: list[str]
    delimiter: str | None


def text_of(path: Path) -> str:
    """The text of a file: UTF-8, UTF-16 with its mark, or the one-byte Western code; line ends become ``\\n``."""
    text_size(path)
    raw = path.read_bytes()
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        text = raw.decode("utf-16")
    else:
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = raw.decode("latin-1")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def read_table(path: Path) -> Table:
    """The table of numbers in a text file.

    Raises
    ------
    NoHeights
        If there is no table of numbers in it.
    DamagedFile
        If a line has another number of cells than the first, or a cell that is no number; names the line.
    """
    lines = text_of(path).split("\n")
    remarks, body = _parted(lines)
    if not body:
        raise NoHeights(
            "This text holds no table of numbers", where=str(path), fix="Choose a file with a height map in it."
        )
    texts = [lines[number] for number in body]
    if '"' in texts[0]:
        texts = [text.replace('","', ";").replace('"', "") for text in texts]
    delimiter, decimal_comma = _dialect(texts[:_SAMPLE])
    corner = _coordinate_line(remarks, texts[0], delimiter)
    if corner is not None:
        texts.insert(0, corner)
        body.insert(0, body[0] - 1)
        remarks.pop()
    if _ends_with_delimiter(texts[:_SAMPLE], delimiter):
        texts = [text.rstrip().removesuffix(delimiter or "") for text in texts]
    return Table(_values(texts, body, delimiter, decimal_comma, path), remarks, delimiter)


def cells(line: str, delimiter: str | None) -> list[str]:
    """The cells of one line, blanks around them stripped."""
    return [cell.strip().strip("\"'").strip() for cell in line.split(delimiter)]


def _parted(lines: Sequence[str]) -> tuple[list[str], list[int]]:
    """Remarks, and the numbers of the lines (from 0) that hold the table."""
    remarks: list[str] = []
    body: list[int] = []
    for number, line in enumerate(lines):
        if not line or line.isspace():
            continue
        comment = _COMMENT.match(line)
        if comment and not (body and _is_row(line)):
            remarks.append(line[comment.end() :].strip())
        elif body or _is_row(line):
            body.append(number)
        else:
            remarks.append(line.strip())
    return remarks, body


def _is_row(line: str) -> bool:
    """Whether a line could be a row of the table: numbers and words for missing points, at least one of them."""
    tokens = [token for token in _SEPARATORS.split(line[:4000].replace('"', " ").strip()) if token]
    if len(line) > 4000:
        tokens = tokens[:-1]  # the last one may be cut in two
    return bool(tokens) and all(_NUMBER.fullmatch(token) or token.lower() in MISSING_WORDS for token in tokens)


def _dialect(sample: Sequence[str]) -> tuple[str | None, bool]:
    """Delimiter (None for blanks) and whether the decimal sign is a comma."""
    if all("\t" in line.strip() for line in sample):
        return "\t", _has_decimal_comma(sample, "\t")
    if all(";" in line for line in sample):
        return ";", _has_decimal_comma(sample, ";")
    if any("," in line for line in sample):
        blank = all(len(line.split()) > 1 for line in sample)
        if blank and _has_decimal_comma(sample, None):
            return None, True
        return ",", False
    return None, False


def _has_decimal_comma(sample: Sequence[str], delimiter: str | None) -> bool:
    found = [cell for line in sample for cell in cells(line, delimiter) if cell.lower() not in MISSING_WORDS]
    return any("," in cell for cell in found) and all(_DECIMAL_COMMA.fullmatch(cell) for cell in found)


def _ends_with_delimiter(sample: Sequence[str], delimiter: str | None) -> bool:
    """Whether every line ends with a delimiter: then it closes the row and opens no further cell."""
    return delimiter is not None and all(line.rstrip(" \r").endswith(delimiter) for line in sample)


def _coordinate_line(remarks: Sequence[str], first: str, delimiter: str | None) -> str | None:
    """The line above the table as a row, if only its corner is a word, such as ``y\\x`` above the row coordinates."""
    if not remarks:
        return None
    above, below = cells(remarks[-1], delimiter), cells(first, delimiter)
    if len(above) != len(below) or len(above) < 3 or _NUMBER.fullmatch(above[0]):
        return None
    if not all(_NUMBER.fullmatch(cell.replace(",", ".")) for cell in above[1:]):
        return None
    return (delimiter or " ").join(["nan", *above[1:]])


def _values(
    texts: Sequence[str], body: Sequence[int], delimiter: str | None, decimal_comma: bool, path: Path
) -> FloatArray:
    columns = len(texts[0].split(delimiter))
    check_points(len(texts), columns, str(path))
    values = np.empty((len(texts), columns))
    for row, (text, line) in enumerate(zip(texts, body, strict=True)):
        tokens = (text.replace(",", ".") if decimal_comma else text).split(delimiter)
        if len(tokens) != columns:
            raise _wrong_row(path, line, len(tokens), columns, text)
        try:
            values[row] = np.fromiter(map(float, tokens), np.float64, columns)
        except ValueError:
            values[row] = [_number(token, path, line) for token in tokens]
    return values


def _number(token: str, path: Path, line: int) -> float:
    word = token.strip().strip("\"'")
    if word.lower() in MISSING_WORDS:
        return float("nan")
    try:
        return float(word.replace("d", "e").replace("D", "e"))
    except ValueError:
        raise DamagedFile(
            f"“{word[:40]}” is no number", where=f"{path}, line {line + 1}", fix="Export the file again."
        ) from None


def _wrong_row(path: Path, line: int, found: int, expected: int, text: str) -> DamagedFile | NoHeights:
    where = f"{path}, line {line + 1}"
    if not _is_row(text):
        return NoHeights(
            f"This text is no height map: “{text.strip()[:40]}” is no row of numbers",
            where=where,
            fix="Choose a file with one table of heights in it.",
        )
    return DamagedFile(
        f"The row has {found} numbers where the first has {expected}",
        where=where,
        fix="The file may be cut short: copy or export it again.",
    )
