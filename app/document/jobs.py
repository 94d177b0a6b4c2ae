"""Work off the GUI thread: a ticket to cancel it, and its outcome handed back on the GUI thread."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject, Qt, QThreadPool, Signal

from core.progress import Cancel, Cancelled, Progress

GAP = 0.05  # seconds between two progress reports that are worth showing


class Ticket:
    """One piece of work that was asked for.

    Work gets its ticket, looks at `cancel` and may call `report`. Once `drop` was called nothing of it reaches the GUI
    thread any more, even if it had been finished and was waiting to be handed over: the answer to an old question.
    """

    def __init__(self, hand_over: Callable[[Callable[[], None]], None]) -> None:
        self.cancel = Cancel()
        self._hand_over = hand_over
        self._shown = 0.0
        self.progressed: Callable[[Progress], None] | None = None

    def drop(self) -> None:
        """Stop it as soon as it looks, and forget what it brings."""
        self.cancel.request()

    def report(self, progress: Progress) -> None:
        """Tell the GUI thread how far it has come; reports that follow too closely are left out."""
        now = time.monotonic()
        if self.progressed is None or (now - self._shown < GAP and progress.done < progress.total):
            return
        self._shown = now
        self.answer(self.progressed, progress)

    def answer(self, receiver: Callable[[Any], None], value: object) -> None:
        """Call `receiver` with the value on the GUI thread, unless the ticket is dropped by then."""

        def deliver() -> None:
            if not self.cancel.requested:
                receiver(value)

        self._hand_over(deliver)


class _Run:
    """Carries work into a thread of the pool, and its value or its error back.

    A plain callable and no QRunnable: the binding would keep that with the pool for ever, and the maps with it.
    """

    def __init__(
        self,
        ticket: Ticket,
        work: Callable[[Ticket], Any],
        done: Callable[[Any], None],
        failed: Callable[[Exception], None],
        finished: Callable[[], None],
    ) -> None:
        self.ticket, self.work, self.done, self.failed, self.finished = ticket, work, done, failed, finished

    def run(self) -> None:
        try:
            self.ticket.cancel.check()
            self.ticket.answer(self.done, self.work(self.ticket))
        except Cancelled:
            pass
        except Exception as error:  # noqa: BLE001  whatever it is, the user has to hear of it, not a lost thread
            self.ticket.answer(self.failed, error)
        finally:
            self.finished()


class Jobs(QObject):
    """A private pool of threads whose outcomes arrive on the thread that made it.

    Parameters
    ----------
    threads : int, default 2
        At most so many pieces of work at a time.
    """

    _landed = Signal(object)

    def __init__(self, threads: int = 2, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._pool = QThreadPool(self)
        self._pool.setMaxThreadCount(threads)
        self._running: set[_Run] = set()  # a runnable lives until its thread has left it
        self._landed.connect(self._land, Qt.ConnectionType.QueuedConnection)

    def start(
        self,
        work: Callable[[Ticket], Any],
        *,
        done: Callable[[Any], None],
        failed: Callable[[Exception], None],
        progressed: Callable[[Progress], None] | None = None,
    ) -> Ticket:
        """Do `work` in the background.

        Parameters
        ----------
        work : callable
            Called in a thread with its ticket; touches nothing that the GUI thread changes.
        done, failed : callable
            One of them is called on the GUI thread, with the value or the exception; none after the ticket is dropped.
        progressed : callable, optional
            Gets what the work reports.
        """
        ticket = Ticket(self._landed.emit)
        ticket.progressed = progressed
        run = _Run(ticket, work, done, failed, lambda: self._landed.emit(lambda: self._running.discard(run)))
        self._running.add(run)
        self._pool.start(run.run)
        return ticket

    @property
    def idle(self) -> bool:
        """Whether nothing is running or on its way back."""
        return not self._running

    def shut(self) -> None:
        """Drop everything and wait until the threads are out."""
        for run in self._running:
            run.ticket.drop()
        self._pool.clear()
        self._pool.waitForDone()
        self._running.clear()

    def _land(self, deliver: Callable[[], None]) -> None:
        deliver()
