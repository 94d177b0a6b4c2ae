"""One line of the log."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, get_args

from core.errors import LogError

Kind = Literal["reading", "floor", "calibration"]
KINDS: tuple[str, ...] = get_args(Kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogEntry:
    """One number of one day.

    Attributes
    ----------
    at : str
        When it was measured, ISO 8601: the date of the scans where they say one, else that of the comparison.
    kind : {"reading", "floor", "calibration"}
        What it is: a reading of a specimen, a noise floor, a factor from a standard.
    subject : str
        What was measured: the specimen, or the standard.
    symbol : str
        Such as ``"Sq"``, ``"noise"``, ``"z factor"``.
    value : float
        In `unit`, SI.
    unit : str
        ``"m"``, or ``"1"`` for a pure number.
    low, high : float or None
        Ends of the 95 % interval.
    n : int
        Spots or repeats behind it.
    shortest, longest : float or None
        Band of wavelengths, metres.
    treatment : str
        Digest of the treatment.
    instrument, probe : str
        As the scans say it; empty where they do not.
    note : str
        Conditions, in words.
    sha256 : str
        Hashes of the raw files, with spaces between: the same scans are not logged twice.

    Raises
    ------
    LogError
        If the date cannot be read, the kind is unknown, or the value is not a finite number.
    """

    at: str
    kind: Kind
    subject: str
    symbol: str
    value: float
    unit: str
    low: float | None = None
    high: float | None = None
    n: int = 0
    shortest: float | None = None
    longest: float | None = None
    treatment: str = ""
    instrument: str = ""
    probe: str = ""
    note: str = ""
    sha256: str = ""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise LogError(f"“{self.kind}” is no kind of entry", fix=f"The kinds are: {', '.join(KINDS)}.")
        if not math.isfinite(self.value):
            raise LogError(f"The value of {self.symbol} is not a finite number", where=self.subject)
        try:
            datetime.fromisoformat(self.at)
        except ValueError:
            raise LogError(f"“{self.at}” is no date", where=self.subject, fix="Write 2024-05-31T12:00:00.") from None

    @property
    def conditions(self) -> tuple[str, str, float | None, float | None, str]:
        """What must be alike before two entries may stand side by side."""
        return self.symbol, self.unit, self.shortest, self.longest, self.treatment

    @property
    def moment(self) -> datetime:
        """`at` as a point in time; one without zone is taken as local time of this machine."""
        return datetime.fromisoformat(self.at).astimezone()
