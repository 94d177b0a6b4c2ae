"""What a composed figure shows: a frozen record that goes to TOML and back, and that the figure carries."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, Self

from core.errors import FigureError

SCHEMA = 1
KEY = "figure"
"""Where the plan stands in what a figure carries."""

MM = 72 / 25.4
"""Points in a millimetre."""


@dataclass(frozen=True, slots=True)
class Page:
    """A kind of page.

    Attributes
    ----------
    name : str
        In the window.
    width, height : float
        Millimetres; a page that is not `fixed` becomes as high as it needs to be, up to `height`.
    points : float
        Size of type that reads well on it.
    least : float
        Size of type below which nobody can read it there.
    fixed : bool
        Whether the height is as said.
    margin : float
        Around everything, points.
    titled : bool
        Whether the title of the bench stands on it if the plan says nothing.
    """

    name: str
    width: float
    height: float
    points: float
    least: float
    fixed: bool = True
    margin: float = 26.0
    titled: bool = True


PAGES: dict[str, Page] = {
    "slide": Page("Slide 16:9", 338.7, 190.5, 14, 8),
    "slide-4-3": Page("Slide 4:3", 254.0, 190.5, 14, 7),
    "column": Page("Journal, one column", 85, 234, 7, 5, fixed=False, margin=3, titled=False),
    "two-columns": Page("Journal, two columns", 174, 234, 7, 5, fixed=False, margin=3, titled=False),
    "poster": Page("Poster A1", 841, 594, 28, 18, margin=60),
}
"""The pages. Widths of journals are common practice, no source."""

ROWS: dict[str, str] = {
    "shared": "One scale for all",
    "own": "Each on its own scale",
    "oblique": "Oblique relief",
    "curves": "Curves",
    "ranking": "Ranking with intervals",
}
"""The rows, and what they are called in the window."""

CURVES: dict[str, str] = {"section": "Section", "window": "RMS by window", "spectrum": "Spectrum"}
"""The curves that the row of curves may hold."""

LOOKS: dict[str, str] = {"light": "Light", "dark": "Dark", "transparent": "Transparent"}
"""Dark ink on white, light ink on dark, dark ink on nothing."""


@dataclass(frozen=True, slots=True)
class FigurePlan:
    """What a composed figure shows and how.

    Attributes
    ----------
    page : str
        Of `PAGES`.
    rows : tuple of str
        Of `ROWS`, from top to bottom.
    scans : tuple of str
        Names of the scans to show, in this order. Empty: the median spot of every specimen, the best first.
    curves : tuple of str
        Of `CURVES`, for the row of curves.
    look : {"light", "dark", "transparent"}
        Colours of page and ink; those of data stay.
    title : str or None
        None: that of the bench, on pages that have one; empty for none.
    notes : str
        Put behind the caption.
    letters : bool
        Whether rows have letters.
    caption : bool
        Whether treatment, band, n, mask and all that a reader must know stands under the rows.
    meter : bool
        Whether a strip under each map shows which part of the colours it uses.
    points : float or None
        Size of type in points on the finished page; None: what suits the page. Where all would not fit it gets smaller,
        down to what can be read.
    dpi : float
        Dots per inch of a picture made of pixels.

    Raises
    ------
    FigureError
        If a word is not known or a number makes no sense.

    Examples
    --------
    >>> plan = FigurePlan(page="column", rows=("shared", "ranking"), notes='say "so"')
    >>> FigurePlan.from_toml(plan.to_toml()) == plan
    True
    """

    page: str = "slide"
    rows: tuple[str, ...] = ("shared", "own")
    scans: tuple[str, ...] = ()
    curves: tuple[str, ...] = ("section", "window", "spectrum")
    look: str = "light"
    title: str | None = None
    notes: str = ""
    letters: bool = True
    caption: bool = True
    meter: bool = True
    points: float | None = None
    dpi: float = 150.0

    def __post_init__(self) -> None:
        words: list[tuple[str, Mapping[str, object], str]] = [
            (self.page, PAGES, "page"),
            (self.look, LOOKS, "look"),
            *((row, ROWS, "row") for row in self.rows),
            *((curve, CURVES, "curve") for curve in self.curves),
        ]
        for word, known, what in words:
            if word not in known:
                raise FigureError(f"There is no {what} “{word}”", fix=f"Take one of: {', '.join(known)}.")
        if not self.rows or len(set(self.rows)) < len(self.rows):
            raise FigureError("A figure has one row at least, and none twice", fix=f"Rows are: {', '.join(ROWS)}.")
        if "curves" in self.rows and not self.curves:
            raise FigureError("The row of curves has no curve", fix=f"Curves are: {', '.join(CURVES)}.")
        if self.points is not None and not 3 <= self.points <= 200:
            raise FigureError("The size of type must be 3 to 200 points", fix="Leave it out.")
        if not 30 <= self.dpi <= 1200:
            raise FigureError("Dots per inch must be 30 to 1200", fix="Take 150 for slides, 300 for print.")

    def to_table(self) -> dict[str, Any]:
        """The plan as a plain table; what is None is left out."""
        told = {key: list(value) if isinstance(value, tuple) else value for key, value in asdict(self).items()}
        return {"schema": SCHEMA} | {key: value for key, value in told.items() if value is not None}

    @classmethod
    def from_table(cls, table: Mapping[str, Any]) -> Self:
        """The plan from a plain table.

        Raises
        ------
        FigureError
            If a key, a word or a number is wrong, or the schema is newer.
        """
        told = dict(table)
        schema = told.pop("schema", SCHEMA)
        if schema != SCHEMA:
            raise FigureError(
                f"This plan has schema {schema!r}, this program reads {SCHEMA}", fix="Use a newer version."
            )
        known = {field.name: str(field.type) for field in fields(cls)}
        for key, value in told.items():
            if key not in known:
                raise FigureError(f"A plan has no key “{key}”", fix=f"Keys are: {', '.join(known)}.")
            if not _fits(value, known[key]):
                raise FigureError(f"“{key}” cannot be {value!r}", fix="See the guide on the figure.")
        given: dict[str, Any] = {key: tuple(value) if isinstance(value, list) else value for key, value in told.items()}
        return cls(**given)

    def to_toml(self) -> str:
        """The plan as TOML."""
        # JSON's text, numbers and lists are TOML's too.
        lines = (f"{key} = {json.dumps(value, ensure_ascii=False)}\n" for key, value in self.to_table().items())
        return "".join(lines).replace("\x7f", "\\u007f")

    @classmethod
    def from_toml(cls, text: str) -> Self:
        """The plan from TOML.

        Raises
        ------
        FigureError
            If it is no TOML, or no plan.
        """
        try:
            table = tomllib.loads(text)
        except (ValueError, RecursionError) as error:
            raise FigureError(f"The plan is no TOML: {error}", fix="Begin with one that this program wrote.") from error
        return cls.from_table(table)


def plan_in(told: Mapping[str, Any]) -> FigurePlan | None:
    """The plan that a figure carries, from `core.carried.carried_by`; None where it is not a composed one."""
    table = told.get(KEY)
    return FigurePlan.from_table(table) if isinstance(table, Mapping) else None


def _fits(value: object, kind: str) -> bool:
    """Whether a value read from text is of the kind that the field has."""
    if kind.startswith("tuple"):
        return isinstance(value, list) and all(isinstance(item, str) for item in value)
    if kind.startswith("bool"):
        return isinstance(value, bool)
    if kind.startswith("float"):
        return isinstance(value, int | float) and not isinstance(value, bool)
    return isinstance(value, str)
