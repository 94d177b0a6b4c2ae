"""A dock with a slim head of our own: its title, a quiet aside, and a cross that hides it."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDockWidget, QHBoxLayout, QSizePolicy, QWidget

from app.widgets.parts import ElidedLabel, flat_button, label


class DockHead(QWidget):
    """The head of a panel; the dock is dragged by it."""

    def __init__(self, title: str) -> None:
        super().__init__()
        self.setObjectName("dockhead")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.title = title
        self.aside = ElidedLabel(role="muted")
        self.aside.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.hide_it = flat_button("✕", f"Hide {title.lower()}")
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(13, 7, 6, 3)
        self._row.setSpacing(7)
        self._row.addWidget(label(title, strong=True))
        self._row.addWidget(self.aside, 1)
        self._row.addWidget(self.hide_it)

    def carry(self, widget: QWidget) -> None:
        """Put a widget of the panel behind the title, so that it needs no line of its own."""
        self._row.insertWidget(1, widget)

    def add(self, widget: QWidget) -> None:
        """Put a small button beside the cross."""
        self._row.insertWidget(self._row.count() - 1, widget)


class Dock(QDockWidget):
    """Holds one panel.

    Parameters
    ----------
    ident : str
        Stable name under which its place is remembered.
    head : DockHead
        Its title bar.
    panel : QWidget
        What it shows.
    """

    def __init__(self, ident: str, head: DockHead, panel: QWidget) -> None:
        super().__init__(head.title)
        self.setObjectName(ident)
        self.setTitleBarWidget(head)
        self.setWidget(panel)
        head.hide_it.clicked.connect(self.hide)
