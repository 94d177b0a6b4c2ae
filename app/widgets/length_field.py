"""A field for a length: shows nanometres, understands every unit and a decimal comma, says when it does not."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFocusEvent
from PySide6.QtWidgets import QLineEdit, QWidget

from core.errors import QuantityError
from core.units import format_number, metres_per, parse_length


def understood(text: str, unit: str = "nm") -> float:
    """Metres of what was typed; a bare number is in `unit`.

    Raises
    ------
    QuantityError
        If it is no length.

    Examples
    --------
    >>> understood("12,5"), understood("0.02 µm"), understood("-3 nm")
    (1.25e-08, 2e-08, -3e-09)
    """
    text = text.strip().replace("−", "-")
    try:
        return parse_length(text)
    except QuantityError:
        return parse_length(f"{text} {unit}")


class LengthField(QLineEdit):
    """One length, committed by Enter or by leaving the field.

    Signals
    -------
    committed(float)
        Metres; only when it changed and can be understood.
    """

    committed = Signal(float)

    def __init__(self, name: str, parent: QWidget | None = None, *, unit: str = "nm", bare: bool = False) -> None:
        super().__init__(parent)
        self._unit, self._bare, self._metres = unit, bare, 0.0
        self.setAccessibleName(name)
        self.setToolTip(f"{name}. Type a number in {unit}, or with its unit: 12,5 nm, 0.02 µm.")
        self.setAcceptDrops(False)  # a file dropped here is meant for the bench
        self.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.textEdited.connect(lambda _: self._mark(wrong=False))
        self.returnPressed.connect(self._commit)

    @property
    def metres(self) -> float:
        """The length that is shown."""
        return self._metres

    def show_metres(self, metres: float) -> None:
        """Show a length, unless the user is just typing another one."""
        self._metres = metres
        if not (self.hasFocus() and self.isModified()):
            self._write()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        if self.isModified():
            self._commit()

    def _commit(self) -> None:
        try:
            metres = understood(self.text(), self._unit)
        except QuantityError as error:
            self._mark(wrong=True)
            self.setToolTip(str(error))
            return
        changed = abs(metres - self._metres) > 1e-15
        self.setModified(False)
        if changed:
            self._metres = metres
        self._write()
        if changed:
            self.committed.emit(metres)

    def _write(self) -> None:
        number = format_number(self._metres / metres_per(self._unit), digits=4)
        self.setText(number if self._bare else f"{number} {self._unit}")
        self.setModified(False)
        self._mark(wrong=False)

    def _mark(self, *, wrong: bool) -> None:
        if self.property("wrong") != wrong:
            self.setProperty("wrong", wrong)
            self.style().polish(self)
