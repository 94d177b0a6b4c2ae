"""A folder that is watched: each new scan in it comes to the bench once its file is complete.

Folders are asked again and again, not listened to: shares on a network tell nothing. A file is complete when size and
time stayed the same over two looks and it can be opened; one that was there before counts once it changes. A share that
is gone for a while is waited for.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from PySide6.QtCore import QObject, QTimer, Signal

from app.document.document import Document
from app.document.jobs import Jobs, Ticket
from app.places import kept_layouts
from core.gather import expand

PERIOD = 1500  # ms between two looks

Stamp = tuple[int, int]
"""Size in bytes and time of the last change in nanoseconds."""


class Watch(QObject):
    """Watches one folder at a time.

    Signals
    -------
    changed()
        It began, ended, took a file, or lost or found the folder.
    """

    changed = Signal()

    def __init__(self, document: Document, period: int = PERIOD) -> None:
        super().__init__(document)
        self._document = document
        self.folder: Path | None = None
        self.taken = 0
        self.lost = False
        self._known: dict[Path, Stamp] | None = None
        self._before: Mapping[Path, Stamp] = {}
        self._jobs = Jobs(1, self)
        self._ticket: Ticket | None = None
        self._timer = QTimer(self)
        self._timer.setInterval(period)
        self._timer.timeout.connect(self.look)

    @property
    def told(self) -> str:
        """What is going on, for the status line; empty when nothing is watched."""
        if self.folder is None:
            return ""
        if self.lost:
            return f"watching {self.folder.name}: the folder cannot be reached, waiting"
        return f"watching {self.folder.name}: {self.taken} new scan{'s'[: self.taken != 1]}"

    def begin(self, folder: Path) -> None:
        """Watch this folder from now on; what is in it already is left alone."""
        self.end()
        self.folder, self.taken, self.lost = folder, 0, False
        self._known, self._before = None, {}
        self._timer.start()
        self.look()
        self.changed.emit()

    def end(self) -> None:
        """Watch no more."""
        self._timer.stop()
        if self._ticket is not None:
            self._ticket.drop()
            self._ticket = None
        if self.folder is not None:
            self.folder = None
            self.changed.emit()

    def shut(self) -> None:
        """Stop all threads."""
        self.end()
        self._jobs.shut()

    def look(self) -> None:
        """Look once, in the background; a look that still waits for a slow share is waited for."""
        if self.folder is None or self._ticket is not None:
            return
        folder = self.folder
        self._ticket = self._jobs.start(lambda _: stamps(folder), done=self._seen, failed=self._failed)

    def _seen(self, found: Mapping[Path, Stamp]) -> None:
        self._ticket = None
        if self.lost:
            self.lost = False
            self.changed.emit()
        if self._known is None:
            self._known = dict(found)
        ready = [path for path, stamp in found.items()
                 if self._known.get(path) != stamp and self._before.get(path) == stamp and stamp[0] > 0]  # fmt: skip
        self._before = found
        if ready:
            self._known.update({path: found[path] for path in ready})
            self.taken += len(ready)
            self._document.add_files(ready)
            self.changed.emit()

    def _failed(self, _error: Exception) -> None:
        self._ticket = None
        if not self.lost:
            self.lost = True
            self.changed.emit()


def stamps(folder: Path) -> dict[Path, Stamp]:
    """The files of a folder that may be scans and can be opened, with size and time.

    Raises
    ------
    OSError
        If the folder cannot be reached.
    """
    next(folder.iterdir(), None)  # walking a folder that is gone would say that it is empty
    found = {}
    for path in expand([folder], layouts=kept_layouts()):
        try:
            with path.open("rb"):
                told = path.stat()
        except OSError:
            continue  # being written, or gone by now
        found[path] = (told.st_size, told.st_mtime_ns)
    return found
