"""The document: the bench, its latest comparison, and every act by which the user changes it.

Widgets hold no truth; they call an act here and redraw from the signals. Each act builds the new bench first, and only
when that succeeded one named command goes on the undo stack: there is no other way to change the bench.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, Signal
from PySide6.QtGui import QUndoStack

from app.document.history import DEPTH, Change
from app.document.jobs import Jobs, Ticket
from app.document.loading import Arrival, Loader
from app.document.renewal import Compared, renewed, same_scans
from app.places import kept_layouts
from core.bench import Bench, Refusal, Scan, Stated
from core.choices import Choices, choices
from core.errors import LowreliefError
from core.gather import expand
from core.replay import bench_of
from core.results import Comparison
from core.scale import Scale
from core.shapes import Shape
from core.sheet.record import Record
from core.treatment import Band, Level, Mask, Rows, Treatment
from core.treatment.step import Step

COMMON_BAND: dict[str, Any] = {"shortest": "common", "longest": "common", "on": True}


class Document(QObject):
    """What the window shows.

    Signals
    -------
    bench_changed()
        Another bench is in place, by an act, by undo or by opening a file.
    compared()
        `comparison` belongs to the bench in place again.
    loading_changed()
        A file began, ended or failed to be read.
    progressed(Progress), busy_changed(bool)
        Of reading, comparing and handing over together.
    noticed(str, str)
        Level ("note", "amber", "red") and a sentence for the user.
    refused(int)
        So many files of a batch could not be read.
    choosing_changed()
        Other treatments began or ceased to be tried.
    title_changed()
        Title, file or unsaved mark changed.
    """

    bench_changed = Signal()
    compared = Signal()
    loading_changed = Signal()
    progressed = Signal(object)
    busy_changed = Signal(bool)
    noticed = Signal(str, str)
    refused = Signal(int)
    title_changed = Signal()
    choosing_changed = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.stack = QUndoStack(self)
        self.stack.setUndoLimit(DEPTH)
        self.stack.cleanChanged.connect(self.title_changed)
        self.file: Path | None = None
        self._bench = Bench()
        self._compared: Compared | None = None
        self._loader = Loader(self)
        self._loader.changed.connect(self.loading_changed)
        self._loader.changed.connect(self._tell_busy)
        self._loader.progressed.connect(self.progressed)
        self._loader.landed.connect(self._land)
        self._workers = Jobs(2, self)
        self._comparing: Ticket | None = None
        self._errands: list[Ticket] = []
        self._choosing: Ticket | None = None
        self._busy = False

    # What it holds ---------------------------------------------------------------------------------------------------

    @property
    def bench(self) -> Bench:
        """The bench in place."""
        return self._bench

    @property
    def comparison(self) -> Comparison | None:
        """The latest comparison; `up_to_date` says whether it belongs to the bench in place."""
        return None if self._compared is None else self._compared.comparison

    @property
    def up_to_date(self) -> bool:
        """Whether every reading that is shown belongs to the bench in place."""
        return self._compared is not None and self._compared.bench is self._bench

    @property
    def arrivals(self) -> list[Arrival]:
        """The files that are being read."""
        return self._loader.arrivals

    @property
    def empty(self) -> bool:
        """Whether there is nothing to show."""
        return not (self._bench.scans or self._bench.refused or self._loader.busy)

    @property
    def busy(self) -> bool:
        """Whether something runs that the user may cancel."""
        return bool(self._loader.busy or self._comparing or self._errands)

    @property
    def limits(self) -> tuple[float, float]:
        """Ends of the shared height scale, metres."""
        scale = self._bench.scale
        if self.comparison is None or scale.preset in ("typed", "hundred"):
            return scale.limits([])
        return self.comparison.shared_range

    # Scans -----------------------------------------------------------------------------------------------------------

    def add_files(self, paths: Iterable[Path], *, pixel: str | None = None, unit: str | None = None) -> None:
        """Read files and folders; one entry in the history when the last of them is done."""
        given = list(paths)
        self._errand(
            lambda _: expand(given, layouts=kept_layouts()), lambda found: self._read(found, given, pixel, unit)
        )

    def retry_refused(self, *, pixel: str | None, unit: str | None) -> None:
        """Read the refused files again, with a pixel size or unit that they do not say themselves."""
        self._read([Path(refusal.file) for refusal in self._bench.refused], [], pixel, unit)

    def remove(self, names: Iterable[str]) -> None:
        """Take scans off the bench."""
        gone = [name for name in names if any(scan.name == name for scan in self._bench.scans)]
        if gone:
            self._apply(f"remove {_counted(len(gone), 'scan')}", self._bench.without_scans(gone))

    def remove_refused(self, files: Iterable[str]) -> None:
        """Forget refused files."""
        gone = set(files)
        kept = tuple(refusal for refusal in self._bench.refused if refusal.file not in gone)
        self._apply("forget refused files", replace(self._bench, refused=kept))

    def move(self, names: Sequence[str], specimen: str) -> None:
        """Say which specimen these scans belong to."""
        if specimen.strip():
            self._apply(f"move {_counted(len(names), 'scan')} to {specimen.strip()}",
                        self._bench.with_specimen(names, specimen.strip()))  # fmt: skip

    def rename_specimen(self, old: str, new: str) -> None:
        """Give a specimen another name; the name of another specimen puts the two together."""
        names = [scan.name for scan in self._bench.specimens.get(old, ())]
        if names and new.strip() and new.strip() != old:
            self._apply(f"rename {old}", self._bench.with_specimen(names, new.strip()))

    # Noise -----------------------------------------------------------------------------------------------------------

    def with_repeats(self, names: Sequence[str]) -> None:
        """Say that these scans show one place: they become one spot of one specimen and tell the noise."""
        if len(names) > 1:
            self._apply(f"say that {len(names)} scans are repeats", self._bench.with_repeats([names]))

    def without_repeats(self, names: Iterable[str]) -> None:
        """Forget that it was said of any of these scans that they show one place."""
        gone = set(names)
        kept = tuple(group for group in self._bench.repeats if not gone & set(group))
        self._apply("forget repeats", replace(self._bench, repeats=kept))

    # What is drawn on a scan and said about it -----------------------------------------------------------------------

    def add_shape(self, name: str, shape: Shape) -> None:
        """Mask a shape by hand on a scan."""
        self._change_scan(name, f"mask a {shape.kind} on {name}", lambda scan: scan.with_shapes((*scan.shapes, shape)))

    def remove_shapes(self, name: str, shapes: Iterable[Shape]) -> None:
        """Take masks drawn by hand away from a scan."""
        gone = set(shapes)
        text = f"take {_counted(len(gone), 'mask')} off {name}"
        self._change_scan(name, text, lambda scan: scan.with_shapes(s for s in scan.shapes if s not in gone))

    def say(self, names: Sequence[str], said: Mapping[str, str], text: str) -> None:
        """Say of these scans what their files do not say, or not so; raises what cannot be understood."""
        scans = tuple(scan.with_said(said) if scan.name in names else scan for scan in self._bench.scans)
        self._apply(text, replace(self._bench, scans=scans))

    def set_spot(self, name: str, spot: str) -> None:
        """Say which spot of its specimen a scan shows."""
        scans = tuple(replace(scan, spot=spot) if scan.name == name else scan for scan in self._bench.scans)
        if spot != self._bench.scan(name).spot:
            self._apply(f"name the spot of {name}", replace(self._bench, scans=scans))

    def _change_scan(self, name: str, text: str, change: Callable[[Scan], Scan]) -> None:
        """Change one scan, large maps in the background; one that changed meanwhile is changed anew."""
        before = next((scan for scan in self._bench.scans if scan.name == name), None)

        def put(changed: Scan) -> None:
            if any(scan is before for scan in self._bench.scans):
                scans = tuple(changed if scan is before else scan for scan in self._bench.scans)
                self._apply(text, replace(self._bench, scans=scans))
            else:
                self._change_scan(name, text, change)

        if before is not None:
            self._errand(lambda _: change(before), put)

    # Claims ----------------------------------------------------------------------------------------------------------

    def add_claim(self, text: str, specimen: str = "") -> None:
        """One more claim, about one specimen or about all."""
        claim = Stated(text.strip(), specimen)
        if claim.text and claim not in self._bench.claims:
            self._apply("add claim", replace(self._bench, claims=(*self._bench.claims, claim)))

    def edit_claim(self, index: int, text: str, specimen: str = "") -> None:
        """Another text for the claim at this place, or another specimen that it is about."""
        claims = list(self._bench.claims)
        claims[index] = Stated(text.strip(), specimen)
        self._apply("edit claim", replace(self._bench, claims=tuple(dict.fromkeys(claims))))

    def remove_claim(self, index: int) -> None:
        """Forget a claim."""
        claims = self._bench.claims
        self._apply("remove claim", replace(self._bench, claims=claims[:index] + claims[index + 1 :]))

    def set_claim_rule(self, rule: str) -> None:
        """The decision rule by which claims are judged."""
        self._apply(f"judge claims by the {rule} rule", replace(self._bench, claim_rule=rule))

    # Treatment -------------------------------------------------------------------------------------------------------

    def set_treatment(self, treatment: Treatment, text: str = "change treatment") -> None:
        """Prepare all scans in another way."""
        self._apply(text, replace(self._bench, treatment=treatment))

    def add_step(self, step: Step) -> None:
        """One more step: a calibration first, any other at the end, before a zero, where the heights are read off."""
        steps = list(self._bench.treatment.steps)
        place = len(steps) - 1 if steps and steps[-1].do == "zero" and step.do != "zero" else len(steps)
        steps.insert(0 if step.do == "calibrate" else place, step)
        self._steps(steps, f"add step {step.do}")

    def add_cure(self, step: Step) -> None:
        """The step that a doubt offers, where it works: a mask before anything is levelled, a levelling behind others.

        Where the same step is switched off, it is switched on.
        """
        steps = list(self._bench.treatment.steps)
        if (off := replace(step, on=False)) in steps:
            self.switch_step(steps.index(off), on=True)
            return
        levels = [place for place, known in enumerate(steps) if isinstance(known, Level | Rows)]
        if isinstance(step, Mask | Level) and levels:
            steps.insert(levels[0] if isinstance(step, Mask) else levels[-1] + 1, step)
            self._steps(steps, f"add step {step.do}")
        else:
            self.add_step(step)

    def add_common_band(self) -> None:
        """The step that makes scans of different size and pixel comparable, in place of a narrower or wider band."""
        bands = [place for place, step in enumerate(self._bench.treatment.steps) if isinstance(step, Band)]
        if bands:
            self.edit_step(bands[0], replace(self._bench.treatment.steps[bands[0]], **COMMON_BAND))
        else:
            self.add_step(Band())

    def edit_step(self, index: int, step: Step) -> None:
        """Other parameters for the step at this place."""
        steps = list(self._bench.treatment.steps)
        steps[index] = step
        self._steps(steps, f"edit step {step.do}")

    def switch_step(self, index: int, on: bool) -> None:
        """Carry the step out, or leave it in the list and do not."""
        steps = list(self._bench.treatment.steps)
        steps[index] = replace(steps[index], on=on)
        self._steps(steps, f"switch {steps[index].do} {'on' if on else 'off'}")

    def move_step(self, index: int, place: int) -> None:
        """Carry the step out at another place in the order."""
        steps = list(self._bench.treatment.steps)
        if index != place and 0 <= place < len(steps):
            steps.insert(place, steps.pop(index))
            self._steps(steps, f"move step {steps[place].do}")

    def remove_step(self, index: int) -> None:
        """Leave the step out for good."""
        steps = list(self._bench.treatment.steps)
        gone = steps.pop(index)
        self._steps(steps, f"remove step {gone.do}")

    def set_zero(self, at: str) -> None:
        """Where the heights are counted from."""
        self.set_treatment(self._bench.treatment.with_zero(at), f"zero at {at}")

    # How it is looked at ---------------------------------------------------------------------------------------------

    def set_rank_by(self, symbol: str) -> None:
        """The reading that makes the standing."""
        self._apply(f"rank by {symbol}", replace(self._bench, rank_by=symbol))

    def set_scale(self, scale: Scale, text: str = "change scale") -> None:
        """How colours are tied to heights."""
        self._apply(text, replace(self._bench, scale=scale))

    def set_title(self, title: str) -> None:
        """Name of the bench, on sheet and figure."""
        self._apply("change title", replace(self._bench, title=title.strip()))

    # Files of the bench ----------------------------------------------------------------------------------------------

    def new(self) -> None:
        """An empty bench."""
        self._show_fresh(Bench(), None)

    def open(self, path: Path, then: Callable[[], None] = lambda: None) -> None:
        """Show the bench that a bench file holds, in place of this one; `then` is called once it is in place."""

        def show(bench: Bench) -> None:
            self._show_fresh(bench, path)
            then()

        self._errand(lambda _: _loaded(path), show)

    def recover(self, load: Callable[[], Bench], done: Callable[[], None]) -> None:
        """Show a bench that was kept against a crash; it has no file of its own and counts as unsaved."""

        def show(bench: Bench) -> None:
            self._show_fresh(bench, None)
            self.stack.resetClean()
            self.title_changed.emit()
            done()

        self._errand(lambda _: load(), show)

    def rebuild(self, told: Record, files: Sequence[Path]) -> None:
        """Show the bench that a figure or sheet was made from; it has no file of its own and counts as unsaved."""

        def show(found: tuple[Bench, tuple[str, ...], tuple[str, ...]]) -> None:
            bench, changed, absent = found
            self._show_fresh(bench, None)
            self.stack.resetClean()
            self.title_changed.emit()
            if changed:
                self.noticed.emit(
                    "amber", f"Not the same bytes as then: {', '.join(changed)}. The readings may differ."
                )
            if absent:
                self.noticed.emit("amber", f"Not found: {', '.join(absent)}.")

        self._errand(
            lambda ticket: bench_of(told, files, layouts=kept_layouts(), report=ticket.report, cancel=ticket.cancel),
            show,
        )

    def save(self, path: Path, then: Callable[[], None] = lambda: None) -> None:
        """Write the bench with its comparison to a bench file; `then` is called once it is there."""
        bench, comparison, index = self._bench, self.comparison if self.up_to_date else None, self.stack.index()

        def saved(_: object) -> None:
            self.file = path
            if self.stack.index() == index:
                self.stack.setClean()
            self.title_changed.emit()
            self.noticed.emit("note", f"Saved {path.name}.")
            then()

        self._errand(lambda _: _saved(bench, path, comparison), saved)

    def run(self, work: Callable[[Ticket], object], done: Callable[..., None]) -> Ticket:
        """Do a piece of work that changes nothing on the bench, such as handing over, in the background."""
        self._errand(work, done)
        return self._errands[-1]

    def join(self, bench: Bench, **parts: Any) -> bool:
        """Add to the comparison what was worked out apart for this bench; False if other maps are in place by now."""
        if self._compared is None or not same_scans(self._compared.bench, bench):
            return False
        self._compared = replace(self._compared, comparison=replace(self._compared.comparison, **parts))
        self.compared.emit()
        return True

    def runs(self, ticket: Ticket) -> bool:
        """Whether a piece of work that `run` began is still going on."""
        return ticket in self._errands

    def stop(self, ticket: Ticket) -> None:
        """Stop one piece of work that `run` began, and nothing else."""
        ticket.drop()
        if ticket in self._errands:
            self._errands.remove(ticket)
        self._tell_busy()

    # Choices ---------------------------------------------------------------------------------------------------------

    @property
    def choosing(self) -> bool:
        """Whether other defensible treatments are being tried."""
        return self._choosing is not None and self._choosing in self._errands

    def try_choices(self) -> None:
        """Try other defensible treatments in the background; what they say joins the comparison."""
        bench = self._bench
        if self.choosing or not self.up_to_date:
            return

        def found(made: Choices) -> None:
            if self._compared is not None and self._compared.bench is bench:
                joined = replace(self._compared.comparison, choices=made)
                self._compared = replace(self._compared, comparison=joined)
                self.compared.emit()

        self._errand(lambda ticket: choices(bench, report=ticket.report, cancel=ticket.cancel), found)
        self._choosing = self._errands[-1]
        self.choosing_changed.emit()

    def stop_choices(self) -> None:
        """Stop trying them, and nothing else."""
        if self._choosing is not None and self._choosing in self._errands:
            self._choosing.drop()
            self._errands.remove(self._choosing)
        self._choosing = None
        self._tell_busy()
        self.choosing_changed.emit()

    # Running ---------------------------------------------------------------------------------------------------------

    def cancel(self) -> None:
        """Stop reading, comparing and handing over. The scans that were read by now are kept."""
        for ticket in [*self._errands, *([self._comparing] if self._comparing else [])]:
            ticket.drop()
        self._errands.clear()
        self._comparing = None
        self._loader.stop()  # what was read by now comes to the bench and is compared
        self._tell_busy()

    def compare_again(self) -> None:
        """Make the comparison of the bench in place, if it is not there."""
        if not self.up_to_date:
            self._compare()

    def shut(self) -> None:
        """Stop all threads."""
        self._loader.shut()
        self._workers.shut()

    def _apply(self, text: str, bench: Bench) -> None:
        """The one place where the bench changes by an act of the user."""
        if bench != self._bench:
            self.stack.push(Change(text, self._bench, bench, self._show))

    def _steps(self, steps: Iterable[Step], text: str) -> None:
        self.set_treatment(Treatment(tuple(steps)), text)

    def _show(self, bench: Bench) -> None:
        self._bench = bench
        self.stop_choices()  # they would be those of another bench
        self.bench_changed.emit()
        self.title_changed.emit()
        self._compare()

    def _show_fresh(self, bench: Bench, file: Path | None) -> None:
        self.cancel()
        self.stack.clear()
        self.file = file
        self._compared = None
        self._show(bench)

    def _compare(self) -> None:
        """Compare in the background; an older run is superseded."""
        if self._comparing is not None:
            self._comparing.drop()
            self._comparing = None
        if not self._bench.scans:
            self._compared = None
            self.compared.emit()
        elif not self.up_to_date:
            bench, earlier = self._bench, self._compared
            self._comparing = self._workers.start(
                lambda ticket: renewed(bench, earlier, report=ticket.report, cancel=ticket.cancel),
                done=self._receive,
                failed=self._comparison_failed,
                progressed=self.progressed.emit,
            )
        self._tell_busy()

    def _receive(self, made: Compared) -> None:
        self._comparing = None
        self._compared = made
        self.compared.emit()
        self._tell_busy()

    def _comparison_failed(self, error: Exception) -> None:
        self._comparing = None
        self._tell(error)
        self._tell_busy()

    def _read(self, paths: Sequence[Path], given: Sequence[Path], pixel: str | None, unit: str | None) -> None:
        if paths:
            self._loader.read(paths, self._bench.treatment, pixel=pixel, unit=unit)
        elif given:
            self.noticed.emit("amber", f"There is no scan in {', '.join(path.name for path in given)}.")

    def _land(self, scans: Sequence[Scan], refusals: Sequence[Refusal]) -> None:
        """Files that were added together come to the bench in one act."""
        read = {scan.raw.source.file for scan in scans}
        bench = replace(self._bench, refused=tuple(r for r in self._bench.refused if r.file not in read))
        text = f"add {_counted(len(scans), 'scan')}" if scans else f"list {_counted(len(refusals), 'refused file')}"
        self._apply(text, bench.with_refused(refusals).with_scans(scans))
        if refusals:
            self.refused.emit(len(refusals))

    def _errand(self, work: Callable[[Ticket], object], done: Callable[..., None]) -> None:
        def over(then: Callable[..., None]) -> Callable[[object], None]:
            def receive(value: object) -> None:
                self._errands.remove(ticket)
                then(value)
                self._tell_busy()

            return receive

        ticket = self._workers.start(work, done=over(done), failed=over(self._tell), progressed=self.progressed.emit)
        self._errands.append(ticket)
        self._tell_busy()

    def _tell(self, error: Exception) -> None:
        """An exception from any thread, to the user."""
        said = str(error) if isinstance(error, LowreliefError) else f"{type(error).__name__}: {error}"
        self.noticed.emit("red", said)

    def _tell_busy(self) -> None:
        if self._busy != self.busy:
            self._busy = self.busy
            self.busy_changed.emit(self._busy)


def _loaded(path: Path) -> Bench:
    from core.benchfile import load  # h5py takes 0.1 s to import: in the thread that needs it

    return load(path)


def _saved(bench: Bench, path: Path, comparison: Comparison | None) -> None:
    from core.benchfile import save

    save(bench, path, comparison)


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
