"""The window: it puts the parts together and passes their signals on, and does nothing else."""

from __future__ import annotations

import signal
import sys
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from types import TracebackType

from PySide6.QtCore import Qt
from PySide6.QtGui import QCloseEvent, QIcon
from PySide6.QtWidgets import QApplication, QMainWindow, QMenuBar, QStackedWidget, QVBoxLayout, QWidget

from app.commands.acts import Acts, Samples
from app.commands.commands import Commands
from app.commands.window_commands import window_commands
from app.docks.by_hand import ByHandPanel
from app.docks.curves import CurvesHost
from app.docks.details import DetailsPanel
from app.docks.dock import Dock
from app.docks.fitness.panel import FitnessPanel
from app.docks.help import HelpPanel
from app.docks.log.panel import LogPanel
from app.docks.standing import StandingPanel
from app.docks.treatment import TreatmentPanel
from app.docks.trust.panel import TrustPanel
from app.document.autosave import Autosave, autosave_folder
from app.document.document import Document
from app.document.watch import Watch
from app.hand.hand import Hand
from app.shell.bar import Bar
from app.shell.drops import DropZone
from app.shell.emptystate import EmptyState
from app.shell.finder import Finder
from app.shell.layout import first_size, place_docks, remember, restore, settings
from app.shell.notices import Notices
from app.shell.statusline import Height, StatusLine
from app.theme import Pin, theme
from app.tiles.grid import TileGrid
from app.tiles.state import Area, Line
from app.told.doubts import Seen, area_of
from app.told.presenter import Presenter
from app.told.words import SAY_QUANTITIES, lacks_quantities

SWITCH = 0.001  # seconds a thread may keep the interpreter: five times less waiting for the GUI thread
ICONS = Path(__file__).parents[1] / "icons"


class Window(QMainWindow):
    """The main window.

    Parameters
    ----------
    samples : callable, optional
        Writes the sample scans and says where they are; without it there are none to open.
    autosave : Path
        Folder for what must survive a crash.
    """

    def __init__(self, samples: Samples | None, autosave: Path) -> None:
        super().__init__()
        self.setWindowIcon(QIcon(str(ICONS / "lowrelief.svg")))
        self.document = Document(self)
        self.presenter = Presenter(self.document)
        self.acts = Acts(self, self.document, self.presenter, samples)
        self._section: Line | None = None
        self._leaving = False
        self._make_centre()
        self._make_docks()
        self.status = StatusLine()
        self.setStatusBar(self.status)
        self.bar: Bar = self._make_bar()
        self.drops = DropZone(self)
        self.autosave = Autosave(self.document, autosave)
        self._wire()
        self.resize(first_size())
        self._place()
        self._show_all()

    # Parts -----------------------------------------------------------------------------------------------------------

    def _make_centre(self) -> None:
        self.notices = Notices()
        self.grid = TileGrid()
        self.empty = EmptyState()
        self.empty.samples.setVisible(self.acts.has_samples)
        self.stack = QStackedWidget()
        self.stack.addWidget(self.empty)
        self.stack.addWidget(self.grid)
        centre = QWidget()
        centre.setObjectName("bench")
        column = QVBoxLayout(centre)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.notices)
        column.addWidget(self.stack, 1)
        self.setCentralWidget(centre)

    def _make_docks(self) -> None:
        self.treatment = TreatmentPanel(self.document)
        self.standing = StandingPanel(self.document)
        self.curves = CurvesHost()
        self.trust = TrustPanel(self.document)
        self.fitness = FitnessPanel(self.document)
        self.help = HelpPanel()
        self.hand = Hand(self.grid, self.document)
        self.by_hand = ByHandPanel(self.hand, self.document)
        self.details = DetailsPanel(self.document)
        self.log = LogPanel(self.document)
        self.watch = Watch(self.document)
        self.watch.changed.connect(self._show_state_later)
        self.docks = [
            Dock("treatment", self.treatment.head, self.treatment),
            Dock("curves", self.curves.head, self.curves),
            Dock("standing", self.standing.head, self.standing),
            Dock("help", self.help.head, self.help),
            Dock("trust", self.trust.head, self.trust),  # from here on: tabs behind the standing
            Dock("fitness", self.fitness.head, self.fitness),
            Dock("by-hand", self.by_hand.head, self.by_hand),
            Dock("details", self.details.head, self.details),
            Dock("log", self.log.head, self.log),
        ]

    def _make_bar(self) -> Bar:
        bar = Bar(self.document)
        self.bar = bar
        self.commands = Commands(self, window_commands(self))
        bar.take_commands(self.commands)
        self.setMenuWidget(bar)
        if sys.platform == "darwin":  # there the menus are looked for at the top of the screen
            self._screen_menus = QMenuBar()
            for menu in self.commands.menus(self):
                self._screen_menus.addMenu(menu)
        return bar

    def _wire(self) -> None:
        document, acts, grid = self.document, self.acts, self.grid
        self.presenter.tiles_changed.connect(self._show_tiles)
        document.bench_changed.connect(self._show_scale)
        document.compared.connect(self._show_scale)
        for change in (document.busy_changed, document.compared, document.bench_changed, document.loading_changed):
            change.connect(self._show_state)
        document.progressed.connect(self.status.show_progress)
        document.noticed.connect(self.notices.tell)
        acts.offered.connect(self.notices.tell)
        document.refused.connect(self._tell_refused)
        document.title_changed.connect(self._show_title)
        document.stack.undoTextChanged.connect(lambda text: self.commands["undo"].setText(f"Undo {text}".strip()))
        document.stack.redoTextChanged.connect(lambda text: self.commands["redo"].setText(f"Redo {text}".strip()))
        grid.pointed.connect(self._show_cursor)
        grid.section_drawn.connect(self._show_section)
        grid.chosen.connect(self._choose)
        grid.remove_asked.connect(acts.remove)
        grid.spot_asked.connect(self.presenter.step_spot)
        grid.doubt_asked.connect(self.show_doubts)
        grid.gathered.connect(self._gather)
        self.trust.doubt_shown.connect(self._show_doubt)
        self.fitness.marked.connect(grid.set_marks)
        self.fitness.looked.connect(self._look_at)
        self.standing.trust_asked.connect(self.show_trust)
        self.empty.add_asked.connect(acts.add_scans)
        self.empty.samples_asked.connect(acts.open_samples)
        self.bar.add_asked.connect(acts.add_scans)
        self.standing.help_asked.connect(self.explain)
        self.standing.retry_asked.connect(acts.retry_refused)
        self.status.cancel_asked.connect(document.cancel)
        self.drops.dropped.connect(acts.receive)
        for dock in self.docks:
            self.drops.cover(dock)

    # What it shows ---------------------------------------------------------------------------------------------------

    def _show_all(self) -> None:
        self._show_tiles()
        self._show_scale()
        self._show_state()
        self._show_title()

    def _show_tiles(self) -> None:
        empty = self.document.empty
        self.stack.setCurrentWidget(self.empty if empty else self.grid)
        tiles = self.presenter.tiles()
        self.grid.set_tiles(tiles)
        self.hand.attach()
        if not self.document.arrivals:  # while files come in, the curves wait for the last of them
            self.curves.set_tiles(tiles, self.presenter.spots())

    def _show_scale(self) -> None:
        self.grid.set_shared(self.document.bench.scale.shared)
        self.grid.set_limits(*self.document.limits)

    def _show_state(self) -> None:
        document = self.document
        self.grid.set_busy(bool(document.bench.scans) and not document.up_to_date)
        if document.busy:
            self.status.show_state("working", busy=True)
        elif not document.bench.scans:
            self.status.show_state(self.watch.told, busy=False)
        else:
            said = "all readings up to date" if document.up_to_date else "stopped: readings are out of date (F5)"
            watched = f" · {self.watch.told}" if self.watch.told else ""
            self.status.show_state(f"{said}{watched}", busy=False)
        self.commands.refresh()

    def _show_state_later(self) -> None:
        """The watch tells of itself at the end too, when there is no status line to tell it in."""
        if self.isVisible():
            self._show_state()

    def _show_title(self) -> None:
        document = self.document
        name = document.bench.title or (document.file.stem if document.file else "")
        mark = "" if document.stack.isClean() else " •"
        self.setWindowTitle(f"{name or 'Untitled bench'}{mark}")  # the platform adds the program's name

    def _tell_refused(self, count: int) -> None:
        said = "1 file was refused; the reason is on its tile." if count == 1 else f"{count} files were refused."
        known = any(lacks_quantities(refusal) for refusal in self.document.bench.refused)
        self.notices.tell("amber", said, [(SAY_QUANTITIES, self.acts.retry_refused)] if known else [])

    def _show_cursor(self, at: tuple[float, float] | None) -> None:
        readings = {} if at is None else self.grid.readings_at(*at)
        tiles = [self.grid.tile(key).state for key in readings]
        heights = [Height(tile.colour, tile.title, readings[tile.key]) for tile in tiles if tile.scan is not None]
        self.status.cursor_readings.show_heights(at, heights)

    def _show_section(self, line: Line | None) -> None:
        self.grid.set_section(line)
        self.curves.set_section(line)

    def _choose(self, key: str) -> None:
        self.acts.chosen = key
        tile = self.grid.tile(key).state if key in self.grid.keys else None
        name = tile.scan.name if tile is not None and tile.scan is not None else ""
        self.details.show_scan(name)
        self.fitness.chosen.choose(name)
        self.standing.select(self.presenter.specimen_of(key))
        self.commands.refresh()

    def _show_doubt(self, seen: Seen | None) -> None:
        """Bring the tile of a doubt, and the place on it, before the user's eyes."""
        comparison = self.document.comparison
        scan = None if seen is None or comparison is None else comparison.scans_by_name.get(seen.scan)
        area = None if seen is None or scan is None else area_of(scan, seen.doubt)
        self.grid.set_frame("" if scan is None else scan.name, area)
        key = "" if seen is None else self.presenter.show_scan(seen.scan) or self.presenter.key_of(seen.specimen)
        if key in self.grid.keys:
            self.grid.look_at(key, area)
            self._choose(key)

    def _look_at(self, scan: str, area: Area) -> None:
        """Bring a part of this scan before the user's eyes."""
        key = self.presenter.show_scan(scan)
        if key in self.grid.keys:
            self.grid.look_at(key, area)
            self._choose(key)

    def _gather(self, key: str) -> None:
        scan = self.grid.tile(key).state.scan
        if scan is not None:
            self.show_trust("noise")
            self.trust.noise.tick(scan.name)

    # What the user asks of the window itself -------------------------------------------------------------------------

    def fit(self) -> None:
        """Show all of every map."""
        self.grid.sync.fit()

    def clear_section(self) -> None:
        """Take the section away."""
        self._show_section(None)

    def type_scale(self) -> None:
        """Put the keyboard into the lower end of the scale."""
        self.bar.scale.low.setFocus()
        self.bar.scale.low.selectAll()

    def explain(self, symbol: str = "") -> None:
        """Show what a reading means; the ranking one, if none is named."""
        self.help.explain(symbol or self.document.bench.rank_by)
        self.bring("help")

    def open_guide(self) -> None:
        """Show the user guide."""
        self.help.open_guide()
        self.bring("help")

    def bring(self, name: str) -> None:
        """Show this panel, in front of those that share its place."""
        dock = next(dock for dock in self.docks if dock.objectName() == name)
        dock.show()
        dock.raise_()

    def show_trust(self, pane: str) -> None:
        """Show a pane of the trust panel."""
        self.bring("trust")
        self.trust.open(pane)

    def show_fitness(self, pane: str) -> None:
        """Show a pane of the fitness panel."""
        self.bring("fitness")
        self.fitness.open(pane)

    def show_doubts(self, key: str = "", chip: str = "") -> None:
        """The doubts about a tile, or those that a chip on it stands for; the tile that was clicked last, if none."""
        self.show_trust("doubts")
        key = key or self.acts.chosen
        if key in self.grid.keys and (scan := self.grid.tile(key).state.scan) is not None:
            self.trust.doubts.choose([scan.name, *self.presenter.scans_of(key), self.presenter.specimen_of(key)], chip)

    def find_command(self) -> None:
        """Find a command by its name."""
        finder = Finder(self.commands)
        finder.show()
        finder.line.setFocus()

    def open_menu(self) -> None:
        """Open the menu of all commands."""
        self.bar.menu.showMenu()

    @property
    def theme_pin(self) -> Pin:
        """Which colours the user wants."""
        return theme().pin

    def pin_theme(self, pin: Pin) -> None:
        """Light, dark, or as the system has it; remembered."""
        theme().set_pin(pin)
        settings().setValue("theme", pin)

    def toggle_theme(self) -> None:
        """The other one of light and dark."""
        self.pin_theme("light" if theme().mode == "dark" else "dark")

    def toggle_full_screen(self) -> None:
        """Fill the screen, or go back."""
        self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)

    def reset_layout(self) -> None:
        """All panels in their first places."""
        for dock in self.docks:
            dock.setFloating(False)
            dock.show()
        self._default_places()

    def _place(self) -> None:
        self._default_places()
        restore(self)

    def _default_places(self) -> None:
        treatment, curves, standing, explain, *behind = self.docks
        place_docks(self, treatment, curves, standing, explain, behind)

    def _close_now(self) -> None:
        self._leaving = True
        self.close()

    def closeEvent(self, event: QCloseEvent) -> None:
        if self.acts.unsaved and not self._leaving:
            event.ignore()
            self.acts.leave(self._close_now)
            return
        remember(self)
        self.grid.set_tiles([])
        self.curves.shut()
        self.hand.shut()
        self.watch.shut()
        self.trust.shut()
        self.document.shut()
        self.autosave.end()
        event.accept()


def run(
    paths: Sequence[Path], *, pixel: str | None = None, unit: str | None = None, samples: Samples | None = None
) -> int:
    """Open the window and stay until it is closed.

    Parameters
    ----------
    paths : sequence of Path
        Scans, folders or a bench file to begin with.
    pixel, unit : str, optional
        For files that do not say.
    samples : callable, optional
        Writes the sample scans and says where they are.

    Returns
    -------
    int
        Exit status.
    """
    app = QApplication.instance() or QApplication(sys.argv[:1])
    if not isinstance(app, QApplication):
        raise TypeError("Another kind of Qt application is running")
    app.setApplicationName("lowrelief")
    app.setApplicationDisplayName("Lowrelief")
    app.setDesktopFileName("lowrelief")
    pin = settings().value("theme", "system")
    theme().set_pin(pin if pin in ("light", "dark") else "system")
    theme().install(app)
    sys.setswitchinterval(SWITCH)
    window = Window(samples, autosave_folder())
    sys.excepthook = partial(_tell_fault, window.notices)
    signal.signal(signal.SIGINT, signal.SIG_DFL)  # Ctrl+C in the terminal ends it; the bench is kept
    window.show()
    window.autosave.offer_lost(window.notices)
    if paths:
        window.acts.receive(list(paths), pixel=pixel, unit=unit)
    return app.exec()


def _tell_fault(notices: Notices, kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    """A fault of ours in the GUI thread: said to the user too, and the bench goes on."""
    sys.__excepthook__(kind, error, trace)
    notices.tell("red", f"Something went wrong: {kind.__name__}: {error}. What is on the bench is kept.")
