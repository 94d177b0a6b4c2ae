"""What a reader hands over: one channel of a file as it stands there, before anything is made of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from core.errors import NoHeights
from core.units import is_length_unit


@dataclass(frozen=True, slots=True, eq=False)
class RawChannel:
    """One two-dimensional channel of a file, in the file's own unit.

    Attributes
    ----------
    name : str
        As the file calls it; empty where it does not.
    z : ndarray, shape (ny, nx)
        Integers or floats; missing points are NaN.
    pitch : (float, float) or None
        Distance of neighbouring points ``(dy, dx)`` in metres; None where the file does not say.
    unit : str or None
        Unit of `z`, a length or not; None where the file does not say.
    metadata : mapping
        What else the file says about it.
    spacing : (float, float) or None
        Distance of neighbouring points as a bare number whose unit the file does not say.
    coordinates : bool
        Whether `spacing` comes from coordinates that stand beside the heights, as numbers of the same hand.
    hint : str
        Why there is no pitch, where there is more to tell than that nothing is said.
    dialect : str
        The form of the file, where one reader knows several.
    """

    name: str
    z: NDArray[Any]
    pitch: tuple[float, float] | None = None
    unit: str | None = None
    metadata: Mapping[str, Any] = field(default_factory=dict)
    spacing: tuple[float, float] | None = None
    coordinates: bool = False
    hint: str = ""
    dialect: str = ""

    @property
    def is_length(self) -> bool:
        """Whether its unit is said and is a length."""
        return self.unit is not None and is_length_unit(self.unit)

    @property
    def may_be_heights(self) -> bool:
        """Whether its unit is a length or not said."""
        return self.unit is None or self.is_length


def is_numeric(dtype: np.dtype[Any]) -> bool:
    """Whether values of this type can be heights: integers and real floats, no truth values, no complex numbers.

    >>> is_numeric(np.dtype("<i2")), is_numeric(np.dtype("c16")), is_numeric(np.dtype("O"))
    (True, False, False)
    """
    return dtype.kind in "iuf"


def check_is_map(shape: tuple[int, ...], where: str) -> None:
    """Refuse what has no two directions.

    Raises
    ------
    NoHeights
        If there are fewer than two rows or two columns.
    """
    if min(shape) < 2:
        raise NoHeights(
            f"This is a profile, not a map: {shape[0]} × {shape[1]} points; a map needs at least 2 rows and 2 columns",
            where=where,
            fix="Export the whole height map.",
        )
