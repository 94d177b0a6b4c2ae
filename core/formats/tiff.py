"""TIFF with heights in its pixels: floats or integers, one page a channel.

A TIFF has no one place for pixel size and unit. Read are, in this order: the JSON description that this program and
tifffile write, OME-XML, a description of key=value lines, then the resolution tags where they can be a microscope's.
"""

from __future__ import annotations

import json
import logging
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element

import numpy as np
from numpy.typing import NDArray

from core.errors import DamagedFile, NoHeights, QuantityError, UnknownFormat
from core.formats.channel import RawChannel, is_numeric
from core.formats.declared import Declared, clean_unit, declared
from core.formats.guard import MOST_POINTS, check_expansion, check_points
from core.formats.metadata import flat, tolerant
from core.heightmap import HeightMap
from core.units import is_length_unit, metres_per

NAME = "TIFF"
SUFFIXES = (".tif", ".tiff")
WRITES = (".tif", ".tiff")

_MARKS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_MOST_PAGES = 256
_MOST_DESCRIPTION = 2**24
_COARSEST = 10e-6  # resolution tags coarser than 2540 dpi are a printer's or a screen's, not a microscope's
_TAG_UNIT = {2: 25.4e-3, 3: 1e-2}
_GDAL_NODATA = 42113

# The library logs what it repairs in foreign files; what matters is raised, and a library of ours prints nothing.
logging.getLogger("tifffile").addHandler(logging.NullHandler())


def sniff(head: bytes, _path: Path) -> bool:
    """Whether the file starts with the mark of TIFF or BigTIFF, in either byte order."""
    return head.startswith(_MARKS)


def read(path: Path) -> list[RawChannel]:
    """Every page with heights in it.

    Raises
    ------
    NoHeights
        If all pages hold colours.
    UnknownFormat
        If the compression needs more than is installed.
    DamagedFile
        If sizes do not fit the bytes that are there.
    """
    import tifffile

    with tifffile.TiffFile(path) as tif:
        number = len(tif.pages)
        if not 0 < number <= _MOST_PAGES:
            raise DamagedFile(f"The file has {number} pages", where=str(path), fix="Keep one scan in a file.")
        first = tif.pages[0].aspage()
        channels: list[RawChannel] = []
        colours = points = 0
        for index in range(number):
            page = tif.pages[index].aspage()
            if page.is_reduced:
                continue  # a thumbnail of another page
            if page.samplesperpixel != 1 or page.photometric not in (0, 1):
                colours += 1
                continue
            points += page.imagelength * page.imagewidth
            if channels and points > MOST_POINTS:
                break  # never more memory than for one map of the largest size
            channels.append(_channel(tif, first, page, index, path))
    if not channels:
        what = "colours, not heights" if colours else "no page of heights"
        raise NoHeights(f"The picture holds {what}", where=str(path), fix="Export the height data as 32-bit float.")
    return channels


def write(scan: HeightMap, path: Path) -> None:
    """Write heights in metres as float64, pitch and unit in a JSON description."""
    import tifffile

    said = {"pitch_m": list(scan.pitch), "unit": "m", "channel": scan.source.channel or "height"}
    others = {key: value if isinstance(value, int | float) else str(value) for key, value in scan.metadata.items()}
    text = json.dumps(said | {"metadata": others}, allow_nan=False, default=str)
    tifffile.imwrite(
        path, scan.z, photometric="minisblack", description=text, metadata=None, software="lowrelief", byteorder="<"
    )


def _channel(tif: Any, first: Any, page: Any, index: int, path: Path) -> RawChannel:
    array = _pixels(page, path)
    shape = (array.shape[0], array.shape[1])
    said = _description(tif, page.description or first.description, index)
    missing = said.missing if said.missing is not None else _nodata(page)
    if missing is not None:
        array = np.where(array == missing, np.nan, array.astype(np.float64))
    return RawChannel(
        said.name or f"page {index + 1}",
        array,
        pitch=said.pitch(shape) or _by_tags(page) or _by_tags(first),
        unit=said.unit,
        metadata=said.metadata,
        spacing=said.spacing(shape),
    )


def _pixels(page: Any, path: Path) -> NDArray[Any]:
    """The pixels of a page, sizes checked before they are unpacked."""
    if len(page.shape) != 2 or page.dtype is None or not is_numeric(page.dtype):
        raise NoHeights(
            f"The picture is no height map: shape {page.shape}, type {page.dtype}",
            where=str(path),
            fix="Export floats.",
        )
    check_points(page.imagelength, page.imagewidth, str(path))
    size = path.stat().st_size
    stored = sum(min(count, size) for count in page.databytecounts)
    if page.compression == 1 and page.nbytes > stored:
        raise DamagedFile(
            f"The file is cut short: {page.nbytes} bytes of heights are promised and {stored} are there",
            where=str(path),
            fix="Copy or export the file again.",
        )
    if any(o + c > size for o, c in zip(page.dataoffsets, page.databytecounts, strict=False)):
        raise DamagedFile("The file is cut short", where=str(path), fix="Copy or export the file again.")
    check_expansion(page.nbytes, min(stored, size), str(path))
    try:
        array: NDArray[Any] = page.asarray()
    except (ValueError, ImportError, KeyError) as error:
        if "imagecodecs" in str(error):
            raise UnknownFormat(
                f"The compression {page.compression.name} is not known here, or its predictor is not",
                where=str(path),
                fix="Save uncompressed.",
            ) from error
        raise
    return array


def _description(tif: Any, text: str, index: int) -> Declared:
    """What the description of a page says, whichever of the known forms it has."""
    if len(text) > _MOST_DESCRIPTION:
        return Declared()
    if text.lstrip().startswith("{"):
        return _json(text)
    if tif.is_ome:
        return _ome(tif.ome_metadata or "", index)
    if tif.is_imagej:
        return _key_values(tif.imagej_metadata or {}, tif.pages[0].aspage(), index)
    return Declared(metadata=tolerant([("description", text[:1000])]) if text.strip() else {})


def _json(text: str) -> Declared:
    try:
        table = json.loads(text)
    except (ValueError, RecursionError):
        return Declared()
    if not isinstance(table, dict):
        return Declared()
    others = table.pop("metadata", {})
    table.pop("shape", None)  # the library's own key: the array as it was saved
    said = declared(((key, _pair(value)) for key, value in table.items()), bare_metres=True)
    if isinstance(others, Mapping):
        said.metadata |= tolerant(flat(others).items())
    return said


def _pair(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


def _ome(xml: str, index: int) -> Declared:
    """PhysicalSizeX/Y of the OME schema, in micrometres unless it says otherwise; names of its channels."""
    from defusedxml.ElementTree import fromstring

    root: Element = fromstring(xml, forbid_dtd=True)
    pixels = next((element for element in root.iter() if str(element.tag).endswith("}Pixels")), None)
    if pixels is None:
        return Declared()
    pairs: list[tuple[str, object]] = []
    for axis in "XY":
        size = pixels.get(f"PhysicalSize{axis}")
        if size is not None:
            pairs.append((f"d{axis.lower()}", f"{size} {pixels.get(f'PhysicalSize{axis}Unit', 'µm')}"))
    names = [element.get("Name") for element in pixels if str(element.tag).endswith("}Channel")]
    if index < len(names) and names[index]:
        pairs.append(("channel", names[index]))
    return declared(pairs)


def _key_values(said: Mapping[str, Any], first: Any, index: int) -> Declared:
    """Lateral unit with the resolution tags; the height unit only where values are calibrated one to one."""
    pairs: list[tuple[str, object]] = [(key, said[key]) for key in ("Info", "title") if key in said]
    unit = clean_unit(str(said.get("unit", "")).replace("\\u00B5", "µ"))
    per_unit = [_per_unit(first, axis) for axis in "YX"]
    if unit and is_length_unit(unit) and all(per_unit):
        pairs += [
            (f"d{axis}", f"{metres_per(unit) / number!r} m")
            for axis, number in zip("yx", per_unit, strict=True)
            if number
        ]
    if said.get("vunit") and float(said.get("c0", 0.0)) == 0.0 and float(said.get("c1", 1.0)) == 1.0:
        pairs.append(("unit", str(said["vunit"])))
    labels = said.get("Labels") or []
    if index < len(labels):
        pairs.append(("channel", str(labels[index])))
    return declared(pairs)


def _per_unit(page: Any, axis: str) -> float | None:
    """Pixels in one resolution unit along an axis."""
    tag = page.tags.get(f"{axis}Resolution")
    if tag is None or not isinstance(tag.value, tuple) or len(tag.value) != 2 or not tag.value[1]:
        return None
    number = float(tag.value[0]) / float(tag.value[1])
    return number if 0 < number < math.inf else None


def _by_tags(page: Any) -> tuple[float, float] | None:
    """Pitch by the resolution tags, where it is fine enough to be meant."""
    unit = page.tags.get("ResolutionUnit")
    metres = _TAG_UNIT.get(int(unit.value)) if unit is not None else None
    per_y, per_x = _per_unit(page, "Y"), _per_unit(page, "X")
    if metres is None or per_y is None or per_x is None:
        return None
    dy, dx = metres / per_y, metres / per_x
    return (dy, dx) if max(dy, dx) < _COARSEST else None


def _nodata(page: Any) -> float | None:
    """The number that geographic pictures use for missing points."""
    tag = page.tags.get(_GDAL_NODATA)
    try:
        return None if tag is None else float(str(tag.value).strip("\0 "))
    except (ValueError, QuantityError):
        return None
