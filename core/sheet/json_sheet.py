"""The sheet as JSON, schema 1: for other programs, and to repeat the comparison from."""

from __future__ import annotations

import json
from pathlib import Path

from core.atomic import atomic
from core.results import Comparison
from core.sheet.record import record


def text(comparison: Comparison) -> str:
    """The JSON text: SI units, unknown numbers as null."""
    return json.dumps(record(comparison), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def write(comparison: Comparison, path: Path) -> None:
    """Write the sheet as JSON, whole or not at all.

    Raises
    ------
    FileProblem
        If the file cannot be written.
    """
    with atomic(path) as temporary:
        temporary.write_text(text(comparison), encoding="utf-8", newline="\n")
