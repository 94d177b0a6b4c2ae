"""Commands are data: what they are called, their keys, where they stand in the menus, and what they do."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction, QActionGroup, QKeySequence
from PySide6.QtWidgets import QMenu, QWidget


def always() -> bool:
    """The condition of a command that can be given at any time."""
    return True


@dataclass(frozen=True, kw_only=True)
class Command:
    """One thing the user can do.

    Attributes
    ----------
    id : str
        Stable short name.
    text : str
        In menus and in the list of commands.
    menu : str
        Path such as ``"View"`` or ``"View/Panels"``; empty for a command that is only in the list and on its key.
    keys : tuple of str
        Shortcuts; the first is shown.
    run : callable
        What it does.
    enabled : callable
        Whether it can be given now.
    checked : callable, optional
        For a command that is on or off.
    one_of : str
        Commands that exclude each other share this name.
    rule : bool
        Whether a line stands above it in the menu.
    """

    id: str
    text: str
    run: Callable[[], object]
    menu: str = ""
    keys: tuple[str, ...] = ()
    enabled: Callable[[], bool] = always
    checked: Callable[[], bool] | None = None
    one_of: str = ""
    rule: bool = False


class Commands:
    """The actions made of a list of commands; they belong to the window, so that their keys work everywhere in it."""

    def __init__(self, window: QWidget, commands: Sequence[Command]) -> None:
        self.window = window
        self.by_id = {command.id: command for command in commands}
        if len(self.by_id) != len(commands):
            raise ValueError("Two commands have the same id")
        self.actions: dict[str, QAction] = {}
        groups: dict[str, QActionGroup] = {}
        for command in commands:
            action = self._action(command)
            if command.one_of:
                groups.setdefault(command.one_of, QActionGroup(window)).addAction(action)
            self.actions[command.id] = action
            window.addAction(action)
        self.refresh()

    def __getitem__(self, ident: str) -> QAction:
        return self.actions[ident]

    def refresh(self) -> None:
        """Ask every command whether it can be given now and whether it is on."""
        for ident, command in self.by_id.items():
            action = self.actions[ident]
            action.setEnabled(command.enabled())
            if command.checked is not None:
                action.setChecked(command.checked())

    def menus(self, parent: QWidget) -> list[QMenu]:
        """The top menus, generated: sub-menus by the slashes in `Command.menu`."""
        made: dict[str, QMenu] = {}
        for ident, command in self.by_id.items():
            if command.menu:
                menu = self._menu(command.menu, made, parent)
                if command.rule and menu.actions():
                    menu.addSeparator()
                menu.addAction(self.actions[ident])
        return [menu for path, menu in made.items() if "/" not in path]

    def menu(self, idents: Sequence[str], parent: QWidget, title: str = "") -> QMenu:
        """A menu of these commands; an empty id is a line."""
        menu = QMenu(title, parent)
        for ident in idents:
            if ident:
                menu.addAction(self.actions[ident])
            else:
                menu.addSeparator()
        menu.aboutToShow.connect(self.refresh)
        return menu

    def _menu(self, path: str, made: dict[str, QMenu], parent: QWidget) -> QMenu:
        if path not in made:
            above, _, title = path.rpartition("/")
            made[path] = QMenu(title, parent)
            made[path].aboutToShow.connect(self.refresh)
            if above:
                self._menu(above, made, parent).addMenu(made[path])
        return made[path]

    def _action(self, command: Command) -> QAction:
        action = QAction(command.text, self.window)
        action.setObjectName(command.id)
        action.setShortcuts([QKeySequence(keys) for keys in command.keys])
        action.setShortcutContext(Qt.ShortcutContext.WindowShortcut)
        action.setCheckable(command.checked is not None)
        action.triggered.connect(lambda _=False, command=command: self._run(command))
        return action

    def _run(self, command: Command) -> None:
        command.run()
        self.refresh()
