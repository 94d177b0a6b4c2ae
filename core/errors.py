"""Every error this package raises on bad input.

An error says *what* is wrong, *where* (a file, a line, a step) and *what to do*. Each class also is a builtin kind, so
a caller may catch either ``LowreliefError`` or the builtin she expects.
"""

from __future__ import annotations


class LowreliefError(Exception):
    """Base of all errors on bad input.

    Parameters
    ----------
    what : str
        What is wrong, one sentence without a full stop at its end.
    where : str, optional
        The place: a file, a line, a tag, a step.
    fix : str, optional
        What the user can do about it.
    """

    def __init__(self, what: str, *, where: str = "", fix: str = "") -> None:
        super().__init__(what, where, fix)
        self.what = what
        self.where = where
        self.fix = fix

    def __str__(self) -> str:
        place = f" ({self.where})" if self.where else ""
        advice = f" {self.fix}" if self.fix else ""
        return f"{self.what}{place}.{advice}"


class QuantityError(LowreliefError, ValueError):
    """A length, unit or pixel size that cannot be understood."""


class MapError(LowreliefError, ValueError):
    """Heights, pitch or mask that do not make a height map."""


class FileProblem(LowreliefError, OSError):
    """A file that is not there or cannot be opened or written."""


class UnknownFormat(LowreliefError, ValueError):
    """No reader or writer knows this file."""


class DamagedFile(LowreliefError, ValueError):
    """A file that starts like a known format and then breaks its rules."""


class NoHeights(LowreliefError, ValueError):
    """A readable file without a map of heights in it."""


class PixelMissing(LowreliefError, LookupError):
    """Neither file, sidecar nor caller says how far apart the points are."""


class UnitMissing(LowreliefError, LookupError):
    """Neither file, sidecar nor caller says what unit the heights are in."""


class TreatmentError(LowreliefError, ValueError):
    """A treatment that cannot be read, or a step that cannot be applied to a map."""


class ReadingUnknown(LowreliefError, KeyError):
    """A reading that the catalogue does not know."""


class ClaimError(LowreliefError, ValueError):
    """A claim that cannot be read, with the place in its text."""


class BenchError(LowreliefError, ValueError):
    """A bench that cannot be compared, or a bench file that cannot be reopened."""


class LogError(LowreliefError, ValueError):
    """A log that cannot be read, or a table that is no log."""


class LayoutError(LowreliefError, ValueError):
    """A layout, as a user describes a file, that makes no sense."""


class FigureError(LowreliefError, ValueError):
    """A figure that cannot be drawn as it is planned."""
