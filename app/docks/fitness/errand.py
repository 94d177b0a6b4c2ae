"""One question of a pane, answered in the background: the newest alone counts."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject, Signal

from app.document.document import Document
from app.document.jobs import Ticket
from core.errors import LowreliefError
from core.progress import Progress


class Errand(QObject):
    """Work that a pane asks for.

    Signals
    -------
    changed()
        It began, ended or was stopped.
    progressed(Progress)
        How far it has come.
    refused(str)
        Why there is no answer.
    """

    changed = Signal()
    progressed = Signal(object)
    refused = Signal(str)

    def __init__(self, document: Document, parent: QObject) -> None:
        super().__init__(parent)
        self._document = document
        self._ticket: Ticket | None = None
        document.busy_changed.connect(self._look)

    @property
    def running(self) -> bool:
        """Whether an answer is on its way."""
        return self._ticket is not None and self._document.runs(self._ticket)

    def ask(self, work: Callable[[Ticket], Any], done: Callable[[Any], None]) -> None:
        """Do `work` in a thread and call `done` with its value; what was asked before is dropped."""
        self.stop()

        def careful(ticket: Ticket) -> Any:
            try:
                return work(ticket)
            except LowreliefError as error:  # an answer, too: it belongs into the pane and not across the window
                return error

        def answer(value: Any) -> None:
            self._ticket = None
            if isinstance(value, LowreliefError):
                self.refused.emit(str(value))
            else:
                done(value)
            self.changed.emit()

        self._ticket = self._document.run(careful, answer)
        self.changed.emit()

    def report(self, ticket: Ticket, progress: Progress) -> None:
        """Tell status line and pane how far it has come; called in the thread."""
        ticket.report(progress)
        ticket.answer(self.progressed.emit, progress)

    def stop(self) -> None:
        """Stop it and forget what it brings."""
        if self._ticket is not None:
            ticket, self._ticket = self._ticket, None
            self._document.stop(ticket)
            self.changed.emit()

    def _look(self) -> None:
        """Somebody else may have stopped everything."""
        if self._ticket is not None and not self._document.runs(self._ticket):
            self._ticket = None
            self.changed.emit()
