"""HDF5: NeXus ``NXdata`` groups, or plain two-dimensional data sets with a few attributes.

Only hard links inside the file are followed, so nothing outside it is opened, and soft links bring nothing that is not
found anyway. Data kept in other files (external storage, virtual data sets) is passed over.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from core.errors import NoHeights
from core.formats.channel import RawChannel, check_is_map, is_numeric
from core.formats.declared import clean_unit, declared
from core.formats.guard import FREE_BYTES, MOST_POINTS, check_expansion, check_points
from core.formats.hdf5_heap import attribute_leads_to_text, opened
from core.formats.hdf5_values import MASKS, physical
from core.formats.lattice import even_step
from core.formats.metadata import tolerant
from core.heightmap import HeightMap
from core.units import is_length_unit, metres_per

NAME = "HDF5"
SUFFIXES = (".h5", ".hdf5", ".nxs", ".hdf")
WRITES = (".h5", ".hdf5", ".nxs")

_SIGNATURE = b"\x89HDF\r\n\x1a\n"
_MOST_OBJECTS = 10_000
_DEEPEST = 32
_LONGEST_ATTRIBUTE = 2**16
_POINTER = 16  # bytes that stand in the file for a text of variable length: length, heap address, index
_STRUCTURE = frozenset({
    "signal", "axes", "nx_class", "default", "interpretation", "target", "auxiliary_signals", "class", "version",
    "_fillvalue", "missing_value", "scale_factor", "add_offset", "scaling_factor", "offset",
    "dimension_list", "reference_list", "dimension_labels", "empty_dimension_size",
})  # fmt: skip
_OWN = frozenset({"unit", "units", "channel", "channel_name", "long_name"})
_NOTES = "lowrelief"


@dataclass(frozen=True, slots=True)
class _Found:
    """A two-dimensional data set and the NXdata group whose axes it has, if any."""

    path: str
    data: Any
    group: Any | None


def sniff(head: bytes, _path: Path) -> bool:
    """Whether the signature stands at the start, or behind a user block of 512 bytes and its doubles."""
    return head.startswith(_SIGNATURE) or any(head[at : at + 8] == _SIGNATURE for at in (512, 1024, 2048))


def read(path: Path) -> list[RawChannel]:
    """Every two-dimensional data set of real numbers, that of the default NXdata group first.

    Raises
    ------
    NoHeights
        If there is none.
    DamagedFile
        If declared sizes do not fit the bytes that are stored.
    """
    with opened(path) as file:
        objects = dict(_walk(file))
        found = _ordered(file, objects)
        if not found:
            raise NoHeights(
                "The file holds no two-dimensional data set of numbers", where=str(path), fix="Export the height map."
            )
        total = sum(int(np.prod(one.data.shape)) for one in found)
        if total > MOST_POINTS:
            found = found[:1]  # never more memory than for one map of the largest size
        return [_channel(one, path) for one in found]


def write(scan: HeightMap, path: Path) -> None:
    """Write an NXdata group with heights, coordinates and units; the pitch itself is an attribute, to the last bit."""
    import h5py

    name = "height"
    with h5py.File(path, "w", locking=False) as file:
        file.attrs["default"] = "entry"
        entry = _group(file, "entry", "NXentry")
        entry.attrs["default"] = "data"
        group = _group(entry, "data", "NXdata")
        group.attrs["signal"] = name
        group.attrs["axes"] = ["y", "x"]
        data = group.create_dataset(name, data=scan.z, compression="gzip", compression_opts=4, shuffle=True)
        data.attrs["units"] = "m"
        data.attrs["pitch"] = scan.pitch
        data.attrs["long_name"] = (scan.source.channel or name).replace("\0", " ")
        for axis, count, step in zip("yx", scan.shape, scan.pitch, strict=True):
            group[axis] = np.arange(count) * step
            group[axis].attrs["units"] = "m"
        notes = _group(entry, _NOTES, "NXcollection")
        for key, value in scan.metadata.items():
            number = isinstance(value, int | float) and not isinstance(value, bool)
            notes.attrs[str(key)[:200].replace("\0", " ")] = value if number else str(value).replace("\0", " ")[:8000]


def _group(parent: Any, name: str, kind: str) -> Any:
    group = parent.create_group(name)
    group.attrs["NX_class"] = kind
    return group


def _walk(root: Any) -> Iterator[tuple[str, Any]]:
    """All groups and data sets by path, each once: links may go in circles."""
    import h5py

    seen = {h5py.h5o.get_info(root.id).addr}
    waiting = [("", root, 0)]
    count = 0
    while waiting:
        place, group, depth = waiting.pop(0)
        for name in group:
            count += 1
            if count > _MOST_OBJECTS:
                return
            if not isinstance(group.get(name, getlink=True), h5py.HardLink):
                continue
            item = group.get(name)
            address = h5py.h5o.get_info(item.id).addr
            if address in seen:
                continue
            seen.add(address)
            yield f"{place}/{name}", item
            if isinstance(item, h5py.Group) and depth < _DEEPEST:
                waiting.append((f"{place}/{name}", item, depth + 1))


def _ordered(file: Any, objects: dict[str, Any]) -> list[_Found]:
    """Signals of NXdata groups, the default one first, then all other data sets."""
    groups = {place: item for place, item in objects.items() if _word(item, "NX_class") == "NXdata"}
    default = _default(file, objects)
    places = sorted(groups, key=lambda place: place != default)
    found: dict[str, _Found] = {}
    for place in places:
        for name in _signals(groups[place], objects, place):
            found.setdefault(f"{place}/{name}", _Found(f"{place}/{name}", objects[f"{place}/{name}"], groups[place]))
    for place, item in objects.items():
        if not place.endswith(("_errors", "/errors", *MASKS)):
            parent = groups.get(place.rpartition("/")[0])
            found.setdefault(place, _Found(place, item, parent))
    if default in objects and default not in groups:
        found = {default: found[default], **found}  # the attribute may name a data set itself
    return [one for one in found.values() if _is_map(one.data)]


def _default(file: Any, objects: dict[str, Any]) -> str:
    """The path that the ``default`` attributes lead to, from the root down."""
    place, item = "", file
    for _ in range(_DEEPEST):
        name = _word(item, "default").strip("/")
        following = f"{place}/{name}"
        if not name or following not in objects:
            break
        place, item = following, objects[following]
    return place


def _signals(group: Any, objects: dict[str, Any], place: str) -> list[str]:
    names = [_word(group, "signal"), *_words(group, "auxiliary_signals")]
    if not names[0]:  # the older way: the data set itself says that it is the signal
        names = [name for name in group if f"{place}/{name}" in objects and _word(objects[f"{place}/{name}"], "signal")]
    return [name for name in names if f"{place}/{name}" in objects]


def _is_map(item: Any) -> bool:
    """A two-dimensional data set of real numbers whose bytes are in this file."""
    import h5py

    if not isinstance(item, h5py.Dataset) or item.shape is None or len(item.shape) != 2:
        return False
    if not isinstance(item.id.get_type(), h5py.h5t.TypeIntegerID | h5py.h5t.TypeFloatID):
        return False
    return is_numeric(item.dtype) and min(item.shape) > 1 and not item.is_virtual and not item.external


def _channel(found: _Found, path: Path) -> RawChannel:
    data, where = found.data, f"{path}, {found.path}"
    rows, columns = data.shape
    check_points(rows, columns, where)
    check_is_map((rows, columns), where)
    wanted = rows * columns * data.dtype.itemsize
    if wanted > FREE_BYTES:
        check_expansion(wanted, data.id.get_storage_size(), where)
    said = declared(_attributes(found), bare_metres=True)
    heights = physical(data, found.group, _attribute, said.missing, where)
    pitch, spacing, hint = said.pitch(data.shape), None, ""
    if found.group is not None:
        if pitch is None:
            pitch, spacing, hint = _axes(found.group, data, (rows, columns))
        if _is_transposed(found.group, data):
            heights = heights.T
            pitch, spacing = (one and one[::-1] for one in (pitch, spacing))
    return RawChannel(
        said.name or found.path.strip("/"),
        heights,
        pitch=pitch,
        unit=said.unit,
        metadata=said.metadata | _notes(found),
        spacing=spacing or said.spacing(data.shape),
        hint=hint,
    )


def _attributes(found: _Found) -> list[tuple[str, object]]:
    """Attributes of the data set first, then of its group."""
    pairs = _pairs(found.data)
    # A group's unit or name is not that of each data set in it; a pixel size that it states is.
    pairs += [pair for pair in _pairs(found.data.parent) if pair[0].lower() not in _OWN]
    return pairs


def _notes(found: _Found) -> dict[str, Any]:
    """What `write` put beside the group: mere metadata, whatever its keys are called."""
    import h5py

    above = found.data.parent.parent
    if found.group is None or not isinstance(above.get(_NOTES, getlink=True), h5py.HardLink):
        return {}
    return tolerant(_pairs(above[_NOTES]))


def _pairs(item: Any) -> list[tuple[str, object]]:
    pairs = []
    for name in item.attrs:
        if name.lower() in _STRUCTURE:
            continue
        value = _attribute(item, name)
        if value is not None:
            pairs.append((str(name), value))
    return pairs


def _axes(
    group: Any, data: Any, shape: tuple[int, int]
) -> tuple[tuple[float, float] | None, tuple[float, float] | None, str]:
    """Pitch, or bare spacing, or why neither, by the axes of an NXdata group."""
    import h5py

    names = _words(group, "axes") or _words(data, "axes")
    if len(names) != 2:
        return None, None, ""
    steps, metres = [], []
    for name, count in zip(names, shape, strict=True):
        if name == "." or not isinstance(group.get(name, getlink=True), h5py.HardLink):
            return None, None, f"the axis “{name}” is not there"
        axis = group[name]
        if not isinstance(axis, h5py.Dataset) or axis.shape != (count,) or not is_numeric(axis.dtype):
            return None, None, f"the axis “{name}” does not fit the heights"
        step = even_step(axis[()])
        if step is None:
            return None, None, f"the axis “{name}” is not evenly spaced"
        unit = clean_unit(_word(axis, "units") or _word(axis, "unit"))
        steps.append(step)
        metres.append(metres_per(unit) if unit and is_length_unit(unit) else None)
    if metres[0] is None or metres[1] is None:
        return None, (steps[0], steps[1]), ""
    return (steps[0] * metres[0], steps[1] * metres[1]), None, ""


def _is_transposed(group: Any, data: Any) -> bool:
    """Whether the axes say that the first direction of the array is x and the second y."""
    names = _words(group, "axes") or _words(data, "axes")
    return [name.lower().strip() for name in names] == ["x", "y"]


def _attribute(item: Any, name: str) -> Any:
    """An attribute of text or a few numbers; None for all else.

    The type is looked at before anything is converted: the HDF5 library can crash, and the program with it, on
    references and sequences whose bytes are damaged.
    """
    import h5py

    if name not in item.attrs:
        return None
    found = item.attrs.get_id(name)
    kind = found.get_type()
    if not isinstance(kind, h5py.h5t.TypeStringID | h5py.h5t.TypeIntegerID | h5py.h5t.TypeFloatID):
        return None
    variable = isinstance(kind, h5py.h5t.TypeStringID) and kind.is_variable_str()
    wanted = math.prod(found.shape) * (_POINTER if variable else kind.get_size())
    if found.get_storage_size() != wanted or wanted > _LONGEST_ATTRIBUTE:
        return None
    if variable and not attribute_leads_to_text(item, name, math.prod(found.shape)):
        return None
    return _value(item.attrs[name])


def _value(value: Any) -> Any:
    """An attribute as text, number or short tuple; None for what is neither."""
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    if isinstance(value, np.ndarray):
        flat = [_value(item) for item in value.reshape(-1)[:16].tolist()]
        return flat[0] if len(flat) == 1 else tuple(flat) or None
    if isinstance(value, np.generic):
        return _value(value.item())
    return value if isinstance(value, str | int | float | bool | tuple) else None


def _word(item: Any, name: str) -> str:
    value = _attribute(item, name)
    return value if isinstance(value, str) else str(value) if value is not None else ""


def _words(item: Any, name: str) -> list[str]:
    """An attribute that lists names: an array, or one text parted by colons or commas, as older files have it."""
    value = _attribute(item, name)
    if isinstance(value, tuple):
        return [str(word) for word in value]
    return value.strip("[]").replace(",", ":").split(":") if isinstance(value, str) else []
