"""What curves show, said in a few lines below them."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.widgets.parts import SMALL, ElidedLabel, emptied

LINES = 3
"""Lines at most: the plot above needs its room."""


class Said(QWidget):
    """A few sentences, one a line, or all in one line where there is little room; the tool tip has what is cut off."""

    def __init__(self) -> None:
        super().__init__()
        self._sentences: tuple[str, ...] = ()
        self._low = False
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(13, 0, 12, 6)
        self._column.setSpacing(1)
        self.setAccessibleName("What the curves show")
        self.hide()

    @property
    def sentences(self) -> tuple[str, ...]:
        """All of them."""
        return self._sentences

    @property
    def lines(self) -> list[str]:
        """The lines, each as long as it would be with room enough."""
        items = (self._column.itemAt(place) for place in range(self._column.count()))
        widgets = (item.widget() for item in items if item is not None)
        return [widget.text() for widget in widgets if isinstance(widget, ElidedLabel)]

    def set_sentences(self, sentences: Sequence[str]) -> None:
        """Say these; with none the room is given back."""
        if tuple(sentences) != self._sentences:
            self._sentences = tuple(sentences)
            self._lay_out()

    def set_low(self, low: bool) -> None:
        """Whether there is room for one line only."""
        if low != self._low:
            self._low = low
            self._lay_out()

    def _lay_out(self) -> None:
        emptied(self._column)
        said = self._sentences
        if self._low and said:
            lines, rest = [" ".join(said)], 0
        else:
            rest = 0 if len(said) <= LINES else len(said) - LINES + 1
            lines = list(said[: len(said) - rest])
        for line in lines:
            self._column.addWidget(ElidedLabel(line, points=SMALL))
        if rest:
            self._column.addWidget(ElidedLabel(f"And {rest} more.", points=SMALL, role="muted"))
        self.setToolTip("\n".join(said) if rest else "")
        self.setAccessibleDescription(" ".join(said))
        self.setVisible(bool(said))
