"""Lowrelief's core: compare flat surfaces scanned by atomic force microscope. No window, no printing, no global state.

The public face, stable for notebooks and checks; everything is imported when first used:

>>> import core
>>> scan = core.HeightMap([[0.0, 2e-9], [2e-9, 0.0]], pitch=(1e-8, 1e-8), name="tiny")
>>> core.readings(scan, ["Sq"])["Sq"].value
1e-09
"""

from __future__ import annotations

import importlib
import sys
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from core.compare import compare
    from core.errors import LowreliefError
    from core.formats import read, write
    from core.heightmap import HeightMap
    from core.measures import readings
    from core.treatment import Treatment

__all__ = ["HeightMap", "LowreliefError", "Treatment", "compare", "read", "readings", "write"]

_HOME = {
    "HeightMap": "core.heightmap",
    "LowreliefError": "core.errors",
    "Treatment": "core.treatment",
    "compare": "core.compare",
    "read": "core.formats",
    "readings": "core.measures",
    "write": "core.formats",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(importlib.import_module(_HOME[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})


class _Face(ModuleType):
    """The package itself. Importing a submodule sets it as an attribute here; the function `compare` and the module
    it lives in share their name, and the function must win, whichever was asked for first."""

    def __setattr__(self, name: str, value: object) -> None:
        if name in _HOME and isinstance(value, ModuleType):
            value = getattr(value, name)
        super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Face
