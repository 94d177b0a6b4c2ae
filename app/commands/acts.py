"""What the user can do that needs a question first: files, hand-over, names."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QWidget

from app.commands import handover
from app.document.document import Document
from app.document.watch import Watch
from app.shell import dialogs
from app.told.presenter import Presenter
from core.carried import CARRIERS, carries
from core.errors import LowreliefError, TreatmentError
from core.progress import Report
from core.replay import likely_files
from core.sheet.record import Record
from core.treatment import Treatment

BENCH_SUFFIXES = (".h5", ".hdf5")

Samples = Callable[[Report], Sequence[Path]]
"""Writes the sample scans and says where they are."""


def _nothing() -> None:
    """What follows when nothing has to."""


class Acts(QObject):
    """Asks, then calls the document.

    Signals
    -------
    offered(str, str, list of (str, callable))
        Level, a sentence, and what can be done about it.
    """

    offered = Signal(str, str, object)

    def __init__(self, window: QWidget, document: Document, presenter: Presenter, samples: Samples | None) -> None:
        super().__init__(window)
        self._window, self._document, self._presenter, self._samples = window, document, presenter, samples
        self.chosen = ""  # key of the tile that was clicked last

    # Files -----------------------------------------------------------------------------------------------------------

    def receive(self, paths: Sequence[Path], *, pixel: str | None = None, unit: str | None = None) -> None:
        """Files and folders from a drop or the command line; a bench file among them is opened first."""
        document = self._document

        def sort(_: object) -> tuple[list[Path], dict[Path, Record], list[Path]]:
            benches = [path for path in paths if _is_bench(path)]
            told = {path: carries(path) for path in paths if path not in benches and path.suffix.lower() in CARRIERS}
            carriers = {path: carried for path, carried in told.items() if carried is not None}
            return benches, carriers, [path for path in paths if path not in benches and path not in carriers]

        def go_on(found: tuple[list[Path], dict[Path, Record], list[Path]]) -> None:
            benches, carriers, scans = found
            if benches:
                self.leave(lambda: document.open(benches[0], lambda: self._add(scans, pixel, unit)))
            else:
                self._add(scans, pixel, unit)
            for path, told in carriers.items():
                self._offer_rebuilding(path, told)

        document.run(sort, go_on)

    def rebuild(self, path: Path, told: Record) -> None:
        """The bench that a figure or sheet was made from, in place of this one; asks where the scans are if need be."""
        files = likely_files(told, path)
        if len(files) < len(told["scans"]):
            folder = dialogs.ask_folder(self._window, "Folder with the scans of this figure")
            files += [folder] if folder is not None else []
        if files:
            self.leave(lambda: self._document.rebuild(told, files))

    def _offer_rebuilding(self, path: Path, told: Record) -> None:
        count = len(told["scans"])
        said = f"{path.name} carries a comparison of {count} scan{'s' if count > 1 else ''}."
        self.offered.emit("note", said, [("Rebuild the bench", lambda: self.rebuild(path, told))])

    def add_scans(self) -> None:
        """Ask for files and read them."""
        self.receive(dialogs.ask_scans(self._window))

    def add_folder(self) -> None:
        """Ask for a folder and read what is in it."""
        folder = dialogs.ask_folder_of_scans(self._window)
        if folder is not None:
            self._document.add_files([folder])

    def watch_folder(self, watch: Watch) -> None:
        """Ask for a folder and take each new scan in it."""
        folder = dialogs.ask_folder(self._window, "Folder to watch for new scans")
        if folder is not None:
            watch.begin(folder)

    def open_samples(self) -> None:
        """Write the sample scans and read them."""
        document, samples = self._document, self._samples
        if samples is None:
            return

        def ready(paths: Sequence[Path]) -> None:
            if not document.bench.title:
                document.set_title("Carrier for 30 nm particles")
            document.add_files(paths)

        document.run(lambda ticket: samples(ticket.report), ready)

    @property
    def has_samples(self) -> bool:
        """Whether there are samples to open."""
        return self._samples is not None

    def retry_refused(self) -> None:
        """Ask for pixel size and unit and read the refused files again."""
        said = dialogs.ask_quantities(self._window)
        if said is not None:
            self._document.retry_refused(pixel=said[0], unit=said[1])

    def new(self) -> None:
        """An empty bench."""
        self.leave(self._document.new)

    def open(self) -> None:
        """Ask for a bench file and open it."""
        path = dialogs.ask_bench(self._window)
        if path is not None:
            self.leave(lambda: self._document.open(path))

    def save(self, then: Callable[[], None] = _nothing) -> None:
        """Save where it was saved before, or ask where; `then` is called once it is saved."""
        if self._document.file is None:
            self.save_as(then)
        else:
            self._document.save(self._document.file, then)

    def save_as(self, then: Callable[[], None] = _nothing) -> None:
        """Ask where, and save."""
        name = f"{self._document.bench.title or 'bench'}.h5".replace("/", "-")
        path = dialogs.ask_save(self._window, "Save the bench", name, dialogs.BENCH_FILES)
        if path is not None:
            self._document.save(path, then)

    def leave(self, then: Callable[[], None]) -> None:
        """Go on to something that takes the place of this bench, once nothing of it can be lost."""
        if not self.unsaved:
            then()
            return
        answer = dialogs.ask_keep(self._window, self._document.bench.title or "this bench")
        if answer == "save":
            self.save(then)
        elif answer == "discard":
            then()

    @property
    def unsaved(self) -> bool:
        """Whether the bench in place holds changes that no bench file has."""
        return bool(self._document.bench.scans) and not self._document.stack.isClean()

    # Hand-over -------------------------------------------------------------------------------------------------------

    def hand_over_all(self) -> None:
        """Sheet and figure to a folder."""
        folder = dialogs.ask_folder(self._window, "Folder for sheet and figure")
        if folder is not None:
            handover.write_everything(self._document, folder)

    def hand_over_figure(self) -> None:
        """The figure to a file."""
        path = dialogs.ask_save(self._window, "Save the figure", "figure.png", handover.FIGURES)
        if path is not None:
            handover.write_figure(self._document, path)

    def hand_over_treatment(self) -> None:
        """The treatment to a file."""
        path = dialogs.ask_save(self._window, "Save the treatment", "treatment.toml", "Treatment (*.toml)")
        if path is not None:
            handover.write_treatment(self._document, path)

    def open_treatment(self) -> None:
        """Take the treatment from a file."""
        path = dialogs.ask_treatment(self._window)
        if path is None:
            return
        try:
            self._document.set_treatment(_treatment(path), f"treatment of {path.name}")
        except LowreliefError as error:
            self._document.noticed.emit("red", str(error))

    # Names -----------------------------------------------------------------------------------------------------------

    def remove(self, key: str = "") -> None:
        """Take the scans behind a tile off the bench; the tile that was clicked last, if none is named."""
        key = key or self.chosen
        kind, _, file = key.partition(":")
        if kind == "refused":
            self._document.remove_refused([file])
        else:
            self._document.remove(self._presenter.scans_of(key))

    def rename(self) -> None:
        """Give the specimen that was clicked last another name."""
        old = self._presenter.specimen_of(self.chosen)
        if old:
            new = dialogs.ask_text(self._window, "Rename specimen", "Name of the specimen", old)
            self._document.rename_specimen(old, new)

    def move(self) -> None:
        """Say to which specimen the scans of the tile that was clicked last belong."""
        names = self._presenter.scans_of(self.chosen)
        if names:
            known = list(self._document.bench.specimens)
            said = dialogs.ask_text(self._window, "Move to specimen", "Specimen, known or new", choices=known)
            self._document.move(names, said)

    def _add(self, paths: Sequence[Path], pixel: str | None, unit: str | None) -> None:
        if paths:
            self._document.add_files(paths, pixel=pixel, unit=unit)


def _is_bench(path: Path) -> bool:
    if path.suffix.lower() not in BENCH_SUFFIXES:
        return False
    from core.benchfile import is_benchfile  # h5py takes 0.1 s to import

    return is_benchfile(path)


def _treatment(path: Path) -> Treatment:
    try:
        return Treatment.from_toml(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise TreatmentError("The treatment cannot be read", where=str(path)) from error
