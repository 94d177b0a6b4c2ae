"""What keys mean on a tile, and what its buttons are called."""

from __future__ import annotations

from PySide6.QtCore import Qt

from app.tiles.header import Button

ARROWS: dict[Qt.Key, tuple[int, int]] = {
    Qt.Key.Key_Left: (-1, 0),
    Qt.Key.Key_Right: (1, 0),
    Qt.Key.Key_Up: (0, -1),
    Qt.Key.Key_Down: (0, 1),
}
ACTIONS: dict[Qt.Key, str] = {
    Qt.Key.Key_Plus: "closer",
    Qt.Key.Key_Equal: "closer",
    Qt.Key.Key_Minus: "farther",
    Qt.Key.Key_0: "fit",
    Qt.Key.Key_Return: "choose",
    Qt.Key.Key_Enter: "choose",
    Qt.Key.Key_Delete: "remove",
    Qt.Key.Key_Escape: "hide",
    Qt.Key.Key_PageUp: "previous",
    Qt.Key.Key_PageDown: "next",
}
HELP: dict[Button, str] = {
    "previous": "Previous spot of this specimen (Page Up)",
    "next": "Next spot of this specimen (Page Down)",
    "remove": "Take this off the bench (Delete)",
}
