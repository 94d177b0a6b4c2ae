"""Progress and cancelling, without a toolkit: a callback and a flag."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a piece of work has come.

    Attributes
    ----------
    done, total : int
        Finished and planned pieces.
    what : str
        The piece just finished, in words for the user.
    """

    done: int
    total: int
    what: str


Report = Callable[[Progress], None]


def silent(_: Progress) -> None:
    """A report that nobody reads."""


class Cancelled(Exception):  # an outcome the user asked for, not an error
    """The work was stopped on request; nothing of it is kept."""


class Cancel:
    """A flag that one thread raises and the workers look at between pieces of work.

    Examples
    --------
    >>> cancel = Cancel()
    >>> cancel.check()
    >>> cancel.request()
    >>> cancel.check()
    Traceback (most recent call last):
    core.progress.Cancelled
    """

    def __init__(self) -> None:
        self._flag = threading.Event()

    def request(self) -> None:
        """Ask the work to stop at its next check."""
        self._flag.set()

    @property
    def requested(self) -> bool:
        """Whether somebody asked to stop."""
        return self._flag.is_set()

    def check(self) -> None:
        """Raise `Cancelled` if somebody asked to stop."""
        if self._flag.is_set():
            raise Cancelled
