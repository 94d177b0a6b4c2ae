"""Undo: every change of the bench is one named command that holds the bench before and after.

Benches are frozen and share their maps, so a command costs a few pointers.
"""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtGui import QUndoCommand

from core.bench import Bench

DEPTH = 200  # changes that can be taken back


class Change(QUndoCommand):
    """One change of the bench, made when it is already known to be possible.

    Parameters
    ----------
    text : str
        What was done, for the menu: "Undo add 3 scans".
    before, after : Bench
        The document around it.
    show : callable
        Puts a bench in place.
    """

    def __init__(self, text: str, before: Bench, after: Bench, show: Callable[[Bench], None]) -> None:
        super().__init__(text)
        self.before, self.after = before, after
        self._show = show

    def redo(self) -> None:
        self._show(self.after)

    def undo(self) -> None:
        self._show(self.before)
