"""Files on their way to the bench: a placeholder at once, then its map or the reason why not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from PySide6.QtCore import QObject, QTimer, Signal

from app.document.jobs import Jobs, Ticket
from app.places import kept_layouts
from core.bench import Refusal, Scan
from core.errors import LowreliefError
from core.gather import take
from core.heightmap import HeightMap
from core.progress import Progress
from core.treatment import Treatment

READERS = 2  # threads that read files; the comparison has its own
REDRAW = 60  # ms between two showings of files that come in


@dataclass
class Arrival:
    """One file that is being read.

    Attributes
    ----------
    key : str
        Unique among all arrivals.
    path : Path
        The file.
    scan : Scan or None
        What it held, once read.
    preview : HeightMap or None
        The same after the bench's treatment: what its tile shows until the comparison is made.
    refusal : Refusal or None
        Why it could not be read.
    """

    key: str
    path: Path
    scan: Scan | None = None
    preview: HeightMap | None = None
    refusal: Refusal | None = None

    @property
    def waiting(self) -> bool:
        """Whether nothing is known yet."""
        return self.scan is None and self.refusal is None


class Batch(QObject):
    """Files that were added by one act; they reach the bench together, in the order given.

    Signals
    -------
    changed()
        One more file is read or refused.
    finished(Batch)
        All are, or the user stopped it: those read by then count.
    """

    changed = Signal()
    finished = Signal(object)

    def __init__(
        self,
        paths: Sequence[Path],
        treatment: Treatment,
        jobs: Jobs,
        *,
        first: int = 0,
        pixel: str | None = None,
        unit: str | None = None,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self.arrivals = [Arrival(f"arrival {first + number}", path) for number, path in enumerate(paths)]
        self._treatment, self._jobs, self._pixel, self._unit = treatment, jobs, pixel, unit
        self._tickets: list[Ticket] = []
        self._over = False

    def begin(self) -> None:
        """Send every file into the pool."""
        for arrival in self.arrivals:
            self._tickets.append(
                self._jobs.start(
                    self._reader(arrival.path),
                    done=self._receiver(arrival),
                    failed=self._breaker(arrival),
                )
            )
        self._look_whether_over()

    @property
    def scans(self) -> list[Scan]:
        """The scans that were read, in the order given."""
        return [arrival.scan for arrival in self.arrivals if arrival.scan is not None]

    @property
    def refusals(self) -> list[Refusal]:
        """The files that were not."""
        return [arrival.refusal for arrival in self.arrivals if arrival.refusal is not None]

    @property
    def progress(self) -> Progress:
        """How many files are done with."""
        done = sum(not arrival.waiting for arrival in self.arrivals)
        return Progress(done, len(self.arrivals), "reading scans")

    def stop(self) -> None:
        """Read no more."""
        for ticket in self._tickets:
            ticket.drop()
        self._finish()

    def _reader(self, path: Path) -> Callable[[Ticket], tuple[Scan | Refusal, HeightMap | None]]:
        treatment, pixel, unit = self._treatment, self._pixel, self._unit

        def read(ticket: Ticket) -> tuple[Scan | Refusal, HeightMap | None]:
            got = take(path, pixel=pixel, unit=unit, layouts=kept_layouts())
            ticket.cancel.check()
            return got, _treated(got, treatment, ticket)

        return read

    def _receiver(self, arrival: Arrival) -> Callable[[tuple[Scan | Refusal, HeightMap | None]], None]:
        def receive(outcome: tuple[Scan | Refusal, HeightMap | None]) -> None:
            got, arrival.preview = outcome
            if isinstance(got, Scan):
                arrival.scan = got
            else:
                arrival.refusal = got
            self._one_done()

        return receive

    def _breaker(self, arrival: Arrival) -> Callable[[Exception], None]:
        def broken(error: Exception) -> None:
            arrival.refusal = _refusal(arrival.path, error)
            self._one_done()

        return broken

    def _one_done(self) -> None:
        self.changed.emit()
        self._look_whether_over()

    def _look_whether_over(self) -> None:
        if not any(arrival.waiting for arrival in self.arrivals):
            self._finish()

    def _finish(self) -> None:
        if not self._over:
            self._over = True
            self.finished.emit(self)


class Loader(QObject):
    """Reads files in the background, those of one act together.

    Signals
    -------
    changed()
        A batch began or ended, or some of its files are known by now.
    progressed(Progress)
        One more file is done with.
    landed(list of Scan, list of Refusal)
        A batch is complete, or was stopped.
    """

    changed = Signal()
    progressed = Signal(object)
    landed = Signal(object, object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._jobs = Jobs(READERS, self)
        self._batches: list[Batch] = []
        self._count = 0
        self._settle = QTimer(self)  # files that come in together are shown together
        self._settle.setSingleShot(True)
        self._settle.setInterval(REDRAW)
        self._settle.timeout.connect(self.changed)

    @property
    def arrivals(self) -> list[Arrival]:
        """The files that are being read."""
        return [arrival for batch in self._batches for arrival in batch.arrivals]

    @property
    def busy(self) -> bool:
        """Whether files are being read."""
        return bool(self._batches)

    def read(self, paths: Sequence[Path], treatment: Treatment, *, pixel: str | None, unit: str | None) -> None:
        """Begin to read these files."""
        batch = Batch(paths, treatment, self._jobs, first=self._count, pixel=pixel, unit=unit, parent=self)
        self._count += len(paths)
        self._batches.append(batch)
        batch.changed.connect(self._show_soon)
        batch.changed.connect(lambda: self.progressed.emit(batch.progress))
        batch.finished.connect(self._land)
        self.changed.emit()
        batch.begin()

    def stop(self) -> None:
        """Read no more; what was read by now lands."""
        for batch in list(self._batches):
            batch.stop()

    def shut(self) -> None:
        """Stop all threads; nothing lands any more."""
        self._settle.stop()
        self._jobs.shut()

    def _show_soon(self) -> None:
        if not self._settle.isActive():
            self._settle.start()

    def _land(self, batch: Batch) -> None:
        self._batches.remove(batch)
        self.landed.emit(batch.scans, batch.refusals)
        batch.deleteLater()
        self.changed.emit()


def _treated(got: Scan | Refusal, treatment: Treatment, ticket: Ticket) -> HeightMap | None:
    """The map as the tile shows it until the comparison is there; None if the treatment refuses it."""
    if not isinstance(got, Scan):
        return None
    try:
        return treatment.apply(got.raw, between=ticket.cancel.check)
    except LowreliefError:
        return None  # the comparison says why, in the scan's own refusal


def _refusal(path: Path, error: Exception) -> Refusal:
    if isinstance(error, LowreliefError):
        return Refusal.of(path, error)
    return Refusal(
        str(path),
        f"Reading stopped: {type(error).__name__}: {error}",
        "Tell the makers of this program, with the file if you may.",
    )
