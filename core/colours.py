"""The colours of data: heights, what lies outside the range, and one colour per specimen. They never follow the theme.

Heights use *davos* (F. Crameri, Scientific colour maps, doi:10.5281/zenodo.1243862; see Nat. Commun. 11 (2020) 5444):
perceptually uniform and readable with colour-vision deficiency. The table is read from the library's data file, because
importing the library draws in a plotting library and half a second.

Specimens use the *bright* and *muted* qualitative schemes of P. Tol (SRON/EPS/TN/09-002), from memory.
"""

from __future__ import annotations

import importlib.util
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

UNDER = (0xE0, 0x2C, 0x8C)  # below the range: magenta, which the height table does not contain
OVER = (0xFF, 0x5C, 0x5C)  # above the range: red
MISSING = (0x8C, 0x8C, 0x8C)  # no height measured: grey
MASKED = (0xE8, 0xA3, 0x3D)  # left out by a mask: amber, drawn translucent over the height

SPECIMENS = (
    "#4477AA", "#66CCEE", "#228833", "#CCBB44", "#EE6677", "#AA3377",
    "#332288", "#44AA99", "#999933", "#CC6677", "#882255", "#DDCC77",
)  # fmt: skip


def specimen_colour(index: int) -> str:
    """Colour of the specimen that came to the bench as number `index`, ``#RRGGBB``; they repeat after twelve."""
    return SPECIMENS[index % len(SPECIMENS)]


@cache
def height_table() -> NDArray[np.uint8]:
    """The 256 height colours from lowest to highest, shape (256, 3)."""
    spec = importlib.util.find_spec("cmcrameri")
    places = spec.submodule_search_locations if spec is not None else None
    if not places:
        raise ModuleNotFoundError("cmcrameri is not installed; it holds the height colours")
    table = np.loadtxt(Path(places[0]) / "cmaps" / "davos.txt")
    colours = np.round(table * 255).astype(np.uint8)
    colours.flags.writeable = False
    return colours
