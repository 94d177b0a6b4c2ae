"""The list of all commands of the window: one line each."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from app.commands.commands import Command
from app.hand.tools import TOOLS
from app.tiles.look import MODES, Mode, stepped
from core.scale import PRESETS

if TYPE_CHECKING:
    from app.shell.window import Window


def window_commands(window: Window) -> list[Command]:
    """Every command, in the order of the menus."""
    return [*_file(window), *_edit(window), *_by_hand(window), *_scale(window), *_view(window), *_help(window)]


def _file(w: Window) -> list[Command]:
    acts, document = w.acts, w.document

    def compared() -> bool:
        return document.comparison is not None

    def has_scans() -> bool:
        return bool(document.bench.scans)

    return [
        Command(id="add", text="Add scans…", menu="File", keys=("Ctrl+O",), run=acts.add_scans),
        Command(id="add-folder", text="Add a folder…", menu="File", keys=("Ctrl+Shift+O",), run=acts.add_folder),
        Command(id="watch", text="Watch a folder…", menu="File", run=lambda: acts.watch_folder(w.watch)),
        Command(id="watch-end", text="Stop watching the folder", menu="File", run=w.watch.end,
                enabled=lambda: w.watch.folder is not None),
        Command(id="samples", text="Open the sample bench", menu="File", run=acts.open_samples,
                enabled=lambda: acts.has_samples),
        Command(id="retry", text="Read refused files again…", menu="File", run=acts.retry_refused,
                enabled=lambda: bool(document.bench.refused)),
        Command(id="new", text="New bench", menu="File", keys=("Ctrl+N",), run=acts.new, rule=True),
        Command(id="open", text="Open bench…", menu="File", keys=("Ctrl+B",), run=acts.open),
        Command(id="save", text="Save bench", menu="File", keys=("Ctrl+S",), run=lambda: acts.save(),
                enabled=has_scans),
        Command(id="save-as", text="Save bench as…", menu="File", keys=("Ctrl+Shift+S",), run=lambda: acts.save_as(),
                enabled=has_scans),
        Command(id="hand-over-all", text="Sheet and figure to a folder…", menu="File/Hand over", keys=("Ctrl+E",),
                run=acts.hand_over_all, enabled=compared, rule=True),
        Command(id="hand-over-figure", text="Figure as PNG, SVG or PDF…", menu="File/Hand over",
                keys=("Ctrl+Shift+E",), run=acts.hand_over_figure, enabled=compared),
        Command(id="hand-over-treatment", text="Treatment as TOML…", menu="File/Hand over",
                run=acts.hand_over_treatment),
        Command(id="quit", text="Quit", menu="File", keys=("Ctrl+Q",), run=w.close, rule=True),
    ]  # fmt: skip


def _edit(w: Window) -> list[Command]:
    acts, document = w.acts, w.document
    stack = document.stack

    def chosen() -> bool:
        return bool(w.presenter.scans_of(acts.chosen))

    return [
        Command(id="undo", text="Undo", menu="Edit", keys=("Ctrl+Z",), run=stack.undo, enabled=stack.canUndo),
        Command(id="redo", text="Redo", menu="Edit", keys=("Ctrl+Shift+Z", "Ctrl+Y"), run=stack.redo,
                enabled=stack.canRedo),
        Command(id="remove", text="Remove the chosen tile", menu="Edit", keys=("Delete",), run=acts.remove,
                enabled=lambda: bool(acts.chosen), rule=True),
        Command(id="rename", text="Rename specimen…", menu="Edit", keys=("F2",), run=acts.rename, enabled=chosen),
        Command(id="move", text="Move to specimen…", menu="Edit", keys=("M",), run=acts.move, enabled=chosen),
        Command(id="treatment-open", text="Treatment from a file…", menu="Edit", run=acts.open_treatment, rule=True),
        Command(id="compare", text="Compare again", menu="Edit", keys=("F5",), run=document.compare_again,
                enabled=lambda: bool(document.bench.scans) and not document.up_to_date),
        Command(id="cancel", text="Stop what is running", menu="Edit", keys=("Escape",), run=document.cancel,
                enabled=lambda: document.busy),
    ]  # fmt: skip


def _by_hand(w: Window) -> list[Command]:
    hand = w.hand

    def take(name: str) -> None:
        hand.take(name)  # type: ignore[arg-type]
        w.bring("by-hand")

    tools = [
        Command(id=f"hand-{name}", text=f"{'Mask' if tool.masks else 'Measure'}: {tool.text.lower()}",
                menu="Edit/By hand", run=lambda name=name: take(name),  # type: ignore[misc]
                checked=lambda name=name: hand.tool == name, enabled=lambda: bool(w.document.bench.scans))  # type: ignore[misc]
        for name, tool in TOOLS.items()
    ]  # fmt: skip
    clear = Command(id="hand-clear", text="Take places and region away", menu="Edit/By hand", run=hand.clear_looks,
                    enabled=lambda: bool(hand.points or hand.region))  # fmt: skip
    return [*tools, clear]


def _scale(w: Window) -> list[Command]:
    document, box = w.document, w.bar.scale

    def preset(name: str) -> bool:
        return document.bench.scale.preset == name

    presets = [
        Command(id=f"scale-{name}", text=text.capitalize(), menu="Scale",
                run=lambda name=name: box.choose(name),  # type: ignore[misc]
                checked=lambda name=name: preset(name), one_of="preset", rule=name == "pooled")  # type: ignore[misc]
        for name, text in PRESETS.items() if name != "typed"
    ]  # fmt: skip
    return [
        Command(id="shared", text="One scale for all tiles", menu="Scale", keys=("S",), run=box.switch.toggle,
                checked=lambda: document.bench.scale.shared),
        Command(id="scale-type", text="Type the scale", menu="Scale", keys=("Ctrl+L",), run=w.type_scale),
        *presets,
        Command(id="zero-mean", text="Zero at the mean", menu="Scale", run=lambda: document.set_zero("mean"),
                rule=True),
        Command(id="zero-median", text="Zero at the median", menu="Scale", run=lambda: document.set_zero("median")),
        Command(id="zero-lowest", text="Zero at the lowest point", menu="Scale",
                run=lambda: document.set_zero("lowest")),
    ]  # fmt: skip


def _view(w: Window) -> list[Command]:
    presenter = w.presenter
    panels = [
        Command(id=f"panel-{dock.objectName()}", text=dock.windowTitle(), menu="View/Panels", keys=(f"Ctrl+{number}",),
                run=lambda dock=dock: dock.setVisible(not dock.isVisible()),  # type: ignore[misc]
                checked=lambda dock=dock: not dock.isHidden())  # type: ignore[misc]
        for number, dock in enumerate(w.docks, start=1)
    ]  # fmt: skip
    panes = [
        Command(id=f"trust-{pane}", text=text, menu="View/Trust", keys=keys, run=run)
        for pane, text, keys, run in (
            ("doubts", "Doubts of the chosen tile", ("D",), w.show_doubts),
            ("comparable", "What may stand side by side", (), lambda: w.show_trust("comparable")),
            ("noise", "Noise and repeats", (), lambda: w.show_trust("noise")),
            ("budget", "Where an interval comes from", (), lambda: w.show_trust("budget")),
            ("choices", "Other defensible treatments", (), lambda: w.show_trust("choices")),
        )
    ]
    fitness = [
        Command(id=f"fitness-{pane}", text=text, menu="View/Fitness", run=lambda pane=pane: w.show_fitness(pane))  # type: ignore[misc]
        for pane, text in (
            ("claims", "What vendors claim"),
            ("bumps", "Bumps and hollows"),
            ("trial", "Trial with virtual particles"),
            ("ladder", "Steps of a crystal"),
            ("calibration", "Calibration by a standard"),
        )
    ]
    marks = Command(id="bump-marks", text="Bumps on the tiles", menu="View/Fitness", keys=("B",), rule=True,
                    run=w.fitness.toggle_marks, checked=w.fitness.bumps.show_marks.isChecked)  # fmt: skip
    pins = [
        Command(id=f"theme-{pin}", text=text, menu="View/Colours", run=lambda pin=pin: w.pin_theme(pin),  # type: ignore[misc]
                checked=lambda pin=pin: w.theme_pin == pin, one_of="theme")  # type: ignore[misc]
        for pin, text in (("system", "As the system"), ("light", "Light"), ("dark", "Dark"))
    ]  # fmt: skip
    return [
        Command(id="fit", text="Fit the tiles", menu="View", keys=("0",), run=w.fit),
        *_looks(w),
        Command(id="every-scan", text="A tile for every scan", menu="View", keys=("E",),
                run=lambda: presenter.set_every_scan(not presenter.every_scan), checked=lambda: presenter.every_scan),
        Command(id="as-added", text="Tiles in the order they came", menu="View", keys=("O",),
                run=lambda: presenter.set_as_added(not presenter.as_added), checked=lambda: presenter.as_added),
        Command(id="spot-next", text="Next spot of the chosen tile", menu="View", keys=("]",),
                run=lambda: presenter.step_spot(w.acts.chosen, 1), rule=True),
        Command(id="spot-previous", text="Previous spot of the chosen tile", menu="View", keys=("[",),
                run=lambda: presenter.step_spot(w.acts.chosen, -1)),
        Command(id="no-section", text="Take the section away", menu="View", keys=("X",), run=w.clear_section),
        *panels,
        *panes,
        *fitness,
        marks,
        Command(id="panels-default", text="Panels in their first places", menu="View/Panels", run=w.reset_layout,
                rule=True),
        *pins,
        Command(id="light-dark", text="Light or dark", menu="View", keys=("L",), run=w.toggle_theme),
        Command(id="full-screen", text="Full screen", menu="View", keys=("F11",), run=w.toggle_full_screen,
                checked=w.isFullScreen),
    ]  # fmt: skip


def _looks(w: Window) -> list[Command]:
    sync = w.grid.sync

    def draw(mode: Mode) -> None:
        sync.set_look(replace(sync.look, mode=mode))

    def step(up: bool) -> None:
        sync.set_look(replace(sync.look, exaggeration=stepped(sync.cast.exaggeration, up)))

    def raised() -> bool:
        return sync.look.mode != "flat"

    modes = [
        Command(id=f"look-{mode}", text=text, menu="View/Heights", keys=(f"Alt+{number}",),
                run=lambda mode=mode: draw(mode), checked=lambda mode=mode: sync.look.mode == mode,  # type: ignore[misc]
                one_of="look")
        for number, (mode, text) in enumerate(MODES.items(), start=1)
    ]  # fmt: skip
    return [
        *modes,
        Command(id="higher", text="Heights drawn higher", menu="View/Heights", keys=("Alt+Up",),
                run=lambda: step(True), enabled=raised, rule=True),
        Command(id="lower", text="Heights drawn lower", menu="View/Heights", keys=("Alt+Down",),
                run=lambda: step(False), enabled=raised),
        Command(id="exaggeration-auto", text="Heights as the range asks", menu="View/Heights",
                run=lambda: sync.set_look(replace(sync.look, exaggeration=None)), enabled=raised,
                checked=lambda: sync.look.exaggeration is None),
        Command(id="alone", text="Chosen tile alone", menu="View", keys=("F",),
                run=lambda: w.grid.toggle_alone(w.acts.chosen or next(iter(w.grid.keys), "")),
                enabled=lambda: bool(w.grid.keys), checked=lambda: bool(w.grid.alone)),
        Command(id="one-scale", text="One lateral scale for all tiles", menu="View", keys=("Z",),
                run=lambda: sync.set_one_scale(not sync.one_scale), checked=lambda: sync.one_scale),
    ]  # fmt: skip


def _help(w: Window) -> list[Command]:
    return [
        Command(id="explain", text="What the reading means", menu="Help", keys=("F1",), run=w.explain),
        Command(id="guide", text="User guide", menu="Help", keys=("Shift+F1",), run=w.open_guide),
        Command(id="find", text="Find a command…", menu="Help", keys=("Ctrl+K",), run=w.find_command),
        Command(id="menu", text="Open the menu", menu="Help", keys=("F10",), run=w.open_menu),
    ]
