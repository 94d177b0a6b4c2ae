"""The look: one palette for light and one for dark, the bundled typeface, and a small style sheet over Qt's Fusion.

Widgets ask for a colour by its *role* and never name a colour themselves. The colours of data (heights, specimens)
live in `core.colours` and do not follow the theme.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtGui import QColor, QFont, QFontDatabase, QGuiApplication, QPalette
from PySide6.QtWidgets import QApplication

from core import colours

Mode = Literal["light", "dark"]
Pin = Literal["light", "dark", "system"]

ROLES: dict[str, tuple[str, str]] = {
    #             light      dark
    "window":    ("#EFF1F4", "#15181D"),
    "panel":     ("#F8FAFC", "#1B1F25"),
    "card":      ("#FFFFFF", "#22262E"),
    "border":    ("#D8DEE6", "#343A44"),
    "text":      ("#14191F", "#E8ECF1"),
    "muted":     ("#5B6573", "#9BA6B4"),
    "accent":    ("#1C6CB5", "#62AEEF"),
    "on-accent": ("#FFFFFF", "#0D1B29"),
    "hover":     ("#E9F0F8", "#2B323C"),
    "good":      ("#157347", "#4CC38A"),
    "amber":     ("#8A5800", "#F0B541"),
    "red":       ("#C0224E", "#FF7A92"),
    "amber-wash": ("#F8EBD3", "#43351A"),
    "red-wash":  ("#FADDE4", "#4B1F2B"),
    "good-wash": ("#DDF1E6", "#173A2A"),
    "plot":      ("#FFFFFF", "#1B1F25"),
}  # fmt: skip
"""Colours by role, light and dark. Text on window, panel and card has a contrast of at least 4.5 : 1 in both."""

SCHEMES: dict[Pin, Qt.ColorScheme] = {
    "light": Qt.ColorScheme.Light,
    "dark": Qt.ColorScheme.Dark,
    "system": Qt.ColorScheme.Unknown,
}

ICONS = Path(__file__).parent / "icons"
FONTS = Path(colours.__file__).parent / "fonts"


class Theme(QObject):
    """Which of the two palettes is shown: the system's, until the user pins one.

    There is one for the application: `theme()`. Its `changed` fires after palette and style sheet are in place.
    """

    changed = Signal()

    def __init__(self) -> None:
        super().__init__()
        self._pin: Pin = "system"
        self._installed: Mode | None = None

    @property
    def pin(self) -> Pin:
        """``"light"``, ``"dark"`` or ``"system"``."""
        return self._pin

    def set_pin(self, pin: Pin) -> None:
        """Show this palette from now on."""
        self._pin = pin
        hints = QGuiApplication.styleHints()
        if hints is not None and hasattr(hints, "setColorScheme"):  # Qt 6.8: window frames and file dialogs follow
            hints.setColorScheme(SCHEMES[pin])
        self.refresh()

    @property
    def mode(self) -> Mode:
        """The palette that is shown."""
        if self._pin != "system":
            return self._pin
        app = QGuiApplication.instance()
        if isinstance(app, QGuiApplication) and app.styleHints().colorScheme() == Qt.ColorScheme.Dark:
            return "dark"
        return "light"

    def install(self, app: QApplication) -> None:
        """Dress the application: style, typeface, palette, style sheet; follow the system from now on."""
        app.setStyle("Fusion")
        app.setFont(text_font())
        app.styleHints().colorSchemeChanged.connect(self.refresh)
        self._installed = None
        self.refresh()

    def refresh(self) -> None:
        """Show the palette that `mode` names, if another one is in place."""
        app = QApplication.instance()
        if not isinstance(app, QApplication) or self._installed == self.mode:
            return
        self._installed = self.mode
        app.setPalette(palette())
        app.setStyleSheet(style_sheet())
        self.changed.emit()


_theme: Theme | None = None


def theme() -> Theme:
    """The theme of this application, made when first asked for."""
    global _theme
    if _theme is None:
        _theme = Theme()
    return _theme


def colour(role: str) -> QColor:
    """The colour of a role in the palette that is shown now."""
    light, dark = ROLES[role]
    return QColor(dark if theme().mode == "dark" else light)


def load_fonts() -> str:
    """Family name of the bundled typeface; the platform's own when it cannot be loaded."""
    if "Inter" not in QFontDatabase.families():
        for file in sorted(FONTS.glob("*.ttf")):
            QFontDatabase.addApplicationFont(str(file))
    return "Inter" if "Inter" in QFontDatabase.families() else QFont().family()


def text_font(points: float = 10.0, *, strong: bool = False) -> QFont:
    """The typeface of the program with figures of equal width, so that columns of numbers line up."""
    font = QFont(load_fonts())
    font.setPointSizeF(points)
    if strong:
        font.setWeight(QFont.Weight.DemiBold)
    if hasattr(font, "setFeature"):  # Qt 6.7
        font.setFeature(QFont.Tag("tnum"), 1)
    return font


def palette() -> QPalette:
    """Qt's palette in our colours, so that every stock widget fits in."""
    made = QPalette()
    role = QPalette.ColorRole
    pairs = {
        role.Window: "panel", role.WindowText: "text", role.Base: "card", role.AlternateBase: "window",
        role.Text: "text", role.Button: "card", role.ButtonText: "text", role.ToolTipBase: "card",
        role.ToolTipText: "text", role.PlaceholderText: "muted", role.Highlight: "accent",
        role.HighlightedText: "on-accent", role.Link: "accent", role.Mid: "border", role.Dark: "border",
        role.Midlight: "border", role.Light: "card", role.Shadow: "border",
    }  # fmt: skip
    for qt_role, ours in pairs.items():
        made.setColor(qt_role, colour(ours))
    for qt_role in (role.WindowText, role.Text, role.ButtonText):
        made.setColor(QPalette.ColorGroup.Disabled, qt_role, colour("muted"))
    return made


def style_sheet() -> str:
    """The few rules that Fusion and the palette cannot express."""
    sheet = _SHEET.replace("@chevron", (ICONS / f"chevron-{theme().mode}.svg").as_posix())
    for role in sorted(ROLES, key=len, reverse=True):
        sheet = sheet.replace(f"@{role}", colour(role).name())
    return sheet


_SHEET = """
QMainWindow, QMainWindow > QWidget#bench { background: @window; }
QMainWindow::separator { background: @border; width: 1px; height: 1px; }
QMainWindow::separator:hover { background: @accent; }
QToolTip { background: @card; color: @text; border: 1px solid @border; padding: 6px; }
QWidget#bar { background: @panel; border-bottom: 1px solid @border; }
QStatusBar { background: @panel; border-top: 1px solid @border; }
QStatusBar::item { border: none; }
QDockWidget > QWidget, QWidget#dockhead { background: @panel; }
QFrame[card="true"] { background: @card; border: 1px solid @border; border-radius: 7px; }
QFrame[card="true"]:focus { border-color: @accent; }
QFrame[row="true"] { border: 1px solid transparent; border-radius: 5px; }
QFrame[row="true"]:hover, QFrame[marked="true"] { background: @hover; }
QFrame[row="true"]:focus { border-color: @accent; }
QFrame#scale { background: @card; border: 1px solid @accent; border-radius: 16px; }
QFrame#scale[shared="false"] { border: 1px dashed @amber; }
QLabel[muted="true"] { color: @muted; }
QLabel[level="amber"] { color: @amber; }
QLabel[level="red"] { color: @red; }
QLabel[level="good"] { color: @good; }
QPushButton, QToolButton[button="true"] {
    background: @card; color: @text; border: 1px solid @border; border-radius: 6px; padding: 5px 12px; }
QPushButton:hover, QToolButton[button="true"]:hover { background: @hover; border-color: @accent; }
QPushButton:focus, QToolButton[button="true"]:focus { border-color: @accent; }
QPushButton:pressed, QToolButton[button="true"]:pressed { background: @window; }
QPushButton:disabled, QToolButton[button="true"]:disabled { color: @muted; background: @panel; }
QPushButton[accent="true"], QToolButton[accent="true"] {
    background: @accent; color: @on-accent; border: 1px solid @accent; border-radius: 6px; padding: 5px 12px; }
QPushButton[accent="true"]:hover, QToolButton[accent="true"]:hover,
QPushButton[accent="true"]:focus, QToolButton[accent="true"]:focus { border-color: @text; }
QPushButton[accent="true"]:disabled, QToolButton[accent="true"]:disabled {
    background: @panel; color: @muted; border-color: @border; }
QToolButton[button="true"]::menu-indicator, QToolButton[accent="true"]::menu-indicator,
QToolButton[flat="true"]::menu-indicator { image: none; width: 0; }
QToolButton[flat="true"] { border: 1px solid transparent; border-radius: 5px; padding: 3px 5px; color: @muted; }
QToolButton[flat="true"]:hover { background: @hover; color: @text; }
QToolButton[flat="true"]:focus { border-color: @accent; color: @text; }
QToolButton[flat="true"]:disabled { color: @border; }
QFrame#scale QToolButton[flat="true"]:disabled { color: @muted; }
QLineEdit, QDoubleSpinBox, QSpinBox, QComboBox {
    background: @card; color: @text; border: 1px solid @border; border-radius: 5px; padding: 3px 6px;
    selection-background-color: @accent; selection-color: @on-accent; }
QLineEdit:focus, QDoubleSpinBox:focus, QSpinBox:focus, QComboBox:focus { border-color: @accent; }
QComboBox::drop-down { border: none; width: 20px; }
QComboBox::down-arrow { image: url("@chevron"); width: 12px; height: 12px; }
QComboBox QAbstractItemView { background: @card; color: @text; border: 1px solid @border; outline: none;
    selection-background-color: @hover; selection-color: @text; }
QLineEdit[wrong="true"] { border-color: @red; color: @red; }
QLineEdit#title { background: transparent; border: 1px solid transparent; }
QLineEdit#title:hover { border-color: @border; }
QLineEdit#title:focus { border-color: @accent; background: @card; }
QScrollArea, QScrollArea > QWidget > QWidget[plain="true"] { background: transparent; border: none; }
QTableView { background: transparent; border: none; selection-background-color: @hover; selection-color: @text;
    outline: none; }
QHeaderView { background: transparent; }
QHeaderView::section { background: transparent; color: @muted; border: none; padding: 2px 4px; font-size: 8.5pt; }
QHeaderView::up-arrow, QHeaderView::down-arrow { width: 0; height: 0; }
QWidget#finder { background: @card; border: 1px solid @border; }
QMenu { background: @card; border: 1px solid @border; padding: 4px; }
QMenu::item { padding: 5px 24px 5px 12px; border-radius: 4px; }
QMenu::item:selected { background: @hover; color: @text; }
QMenu::item:disabled { color: @muted; }
QMenu::separator { height: 1px; background: @border; margin: 4px 8px; }
QScrollBar:vertical { background: transparent; width: 10px; margin: 0; }
QScrollBar:horizontal { background: transparent; height: 10px; margin: 0; }
QScrollBar::handle { background: @border; border-radius: 3px; margin: 2px; min-height: 28px; min-width: 28px; }
QScrollBar::handle:hover { background: @muted; }
QScrollBar::add-line, QScrollBar::sub-line { width: 0; height: 0; }
QScrollBar::add-page, QScrollBar::sub-page { background: transparent; }
QTabWidget, QTabWidget > QStackedWidget { background: @panel; }
QTabWidget::tab-bar { left: 12px; }
QTabWidget::pane { border: none; border-top: 1px solid @border; }
QTabBar::tab { background: transparent; color: @muted; border: none; border-bottom: 2px solid transparent;
    padding: 5px 2px; margin: 0 10px 0 0; }
QTabBar::tab:selected { color: @text; border-bottom-color: @accent; }
QTabBar::tab:hover, QTabBar::tab:focus { color: @text; }
QTextBrowser { background: transparent; border: none; }
QListWidget { background: @card; color: @text; outline: none; }
QListWidget::item { padding: 5px; border-radius: 4px; }
QListWidget::item:selected { background: @hover; color: @text; }
QProgressBar { background: @window; border: none; border-radius: 3px; }
QProgressBar::chunk { background: @accent; border-radius: 3px; }
"""
