"""Find a command by typing a part of its name: every command within reach of the keyboard."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QAction, QKeyEvent, QKeySequence
from PySide6.QtWidgets import QLineEdit, QListWidget, QListWidgetItem, QVBoxLayout, QWidget

from app.commands.commands import Commands
from app.theme import text_font
from app.widgets.parts import NORMAL


class Finder(QWidget):
    """A small window with a line to type in and the commands that fit."""

    def __init__(self, commands: Commands) -> None:
        super().__init__(commands.window, Qt.WindowType.Popup)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setObjectName("finder")
        self._commands = commands
        self.line = QLineEdit()
        self.line.setPlaceholderText("Type a part of a command")
        self.line.setAccessibleName("Part of a command")
        self.list = QListWidget()
        self.list.setAccessibleName("Commands that fit")
        self.list.setFont(text_font(NORMAL))
        self.list.setFrameShape(QListWidget.Shape.NoFrame)
        column = QVBoxLayout(self)
        column.setContentsMargins(10, 10, 10, 10)
        column.addWidget(self.line)
        column.addWidget(self.list)
        self.line.textChanged.connect(self._fill)
        self.line.returnPressed.connect(self._run)
        self.list.itemActivated.connect(lambda _: self._run())
        self.list.itemClicked.connect(lambda _: self._run())
        self.line.installEventFilter(self)
        self._fill("")
        self.resize(420, 360)
        window = commands.window
        self.move(
            window.mapToGlobal(window.rect().center()).x() - 210, window.mapToGlobal(window.rect().topLeft()).y() + 60
        )

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.KeyPress and isinstance(event, QKeyEvent):
            by = {Qt.Key.Key_Down: 1, Qt.Key.Key_Up: -1}.get(Qt.Key(event.key()))
            if by is not None and self.list.count():
                self.list.setCurrentRow((self.list.currentRow() + by) % self.list.count())
                return True
        return super().eventFilter(watched, event)

    def _fill(self, typed: str) -> None:
        self.list.clear()
        words = typed.casefold().split()
        for ident, command in self._commands.by_id.items():
            action = self._commands[ident]
            where = command.menu.replace("/", " › ")
            text = f"{where} › {action.text()}" if where else action.text()
            if action.isEnabled() and all(word in text.casefold() for word in words):
                keys = action.shortcut().toString(QKeySequence.SequenceFormat.NativeText)
                item = QListWidgetItem(f"{text}    {keys}" if keys else text)
                item.setData(Qt.ItemDataRole.UserRole, ident)
                self.list.addItem(item)
        self.list.setCurrentRow(0)

    def _run(self) -> None:
        item = self.list.currentItem()
        if item is not None:
            action: QAction = self._commands[item.data(Qt.ItemDataRole.UserRole)]
            self.close()
            action.trigger()
