"""What the numbers of an HDF5 data set mean: scaled integers, missing points, masks.

Two conventions are understood. CF (climate and forecast, section 8.1): attributes of the data set, stored ·
``scale_factor`` + ``add_offset``; ``_FillValue`` and ``missing_value`` are numbers as stored. NeXus (NXdata; from
memory): fields beside the signal, (stored + ``NAME_offset``) · ``NAME_scaling_factor``, in older files ``offset`` and
``scaling_factor``; a ``pixel_mask`` or ``NAME_mask`` of whole numbers, not 0 where a point is bad.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from core.errors import DamagedFile

MASKS = ("_mask",)
"""How the names of data sets end that are no channel but say which points of one are bad."""

Attribute = Callable[[Any, str], Any]
"""Reads one attribute of an item safely, None where it is not there."""


def physical(data: Any, group: Any | None, attribute: Attribute, missing: float | None, where: str) -> NDArray[Any]:
    """The heights of a data set in its unit; as stored where nothing has to be done.

    Parameters
    ----------
    data : h5py.Dataset
        Two-dimensional, of real numbers.
    group : h5py.Group or None
        The NXdata group that it is in.
    attribute : callable
        Reads an attribute.
    missing : float or None
        A stored number that stands for a missing point, said elsewhere.
    where : str
        File and data set, for refusals.

    Raises
    ------
    DamagedFile
        If a scaling factor is zero or not finite.
    """
    stored: NDArray[Any] = data[()]
    marks = [value for name in ("_FillValue", "missing_value") if _is_number(value := attribute(data, name))]
    marks += [] if missing is None else [missing]
    bad = _mask(data, group)
    for mark in marks:
        here = stored == mark
        bad = here if bad is None else bad | here
    before, factor, after = _scaling(data, group, attribute)
    if factor == 0 or not all(map(math.isfinite, (before, factor, after))):
        raise DamagedFile(
            f"The heights are scaled by {factor} and shifted by {before or after}", where=where, fix="Export it again."
        )
    if bad is None and (before, factor, after) == (0.0, 1.0, 0.0):
        return stored
    heights = (stored.astype(np.float64) + before) * factor + after
    if bad is not None:
        heights[bad] = np.nan
    return heights


def _scaling(data: Any, group: Any | None, attribute: Attribute) -> tuple[float, float, float]:
    """What is added before, multiplied, and added after."""
    factor, after = attribute(data, "scale_factor"), attribute(data, "add_offset")
    if _is_number(factor) or _is_number(after):
        return 0.0, float(factor) if _is_number(factor) else 1.0, float(after) if _is_number(after) else 0.0
    name = data.name.rpartition("/")[2]
    factor = _first(attribute(data, "scaling_factor"), _field(group, f"{name}_scaling_factor"))
    before = _first(attribute(data, "offset"), _field(group, f"{name}_offset"))
    if group is not None and attribute(group, "signal") in (name, None):  # the bare names speak of the signal only
        factor, before = _first(factor, _field(group, "scaling_factor")), _first(before, _field(group, "offset"))
    return before or 0.0, 1.0 if factor is None else factor, 0.0


def _mask(data: Any, group: Any | None) -> NDArray[np.bool_] | None:
    for name in (f"{data.name.rpartition('/')[2]}{MASKS[0]}", "pixel_mask"):
        item = _plain(group, name)
        if item is not None and item.shape == data.shape and item.dtype.kind in "iu":
            return np.asarray(item[()] != 0)
    return None


def _field(group: Any | None, name: str) -> float | None:
    """The one number of a field; None where there is none."""
    item = _plain(group, name)
    if item is None or item.size != 1 or item.dtype.kind not in "iuf":
        return None
    return float(item[()].reshape(-1)[0] if item.shape else item[()])


def _plain(group: Any | None, name: str) -> Any | None:
    """A data set of plain numbers inside this very file."""
    import h5py

    if group is None or not isinstance(group.get(name, getlink=True), h5py.HardLink):
        return None
    item = group[name]
    if not isinstance(item, h5py.Dataset) or item.shape is None or item.is_virtual or item.external:
        return None
    return item if isinstance(item.id.get_type(), h5py.h5t.TypeIntegerID | h5py.h5t.TypeFloatID) else None


def _first(*values: Any) -> float | None:
    return next((float(value) for value in values if _is_number(value)), None)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
