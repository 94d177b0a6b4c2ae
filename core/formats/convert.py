"""From the channels of a file to height maps: which channel, which pixel, which unit. The one place that decides.

The caller wins over the sidecar, the sidecar over the file. What nobody says is never guessed.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from core.errors import MapError, NoHeights, PixelMissing, UnitMissing
from core.formats.channel import RawChannel, check_is_map, is_numeric
from core.formats.sidecar import Sidecar, beside
from core.heightmap import HeightMap, Source, frozen
from core.units import metres_per

_HEIGHT_WORDS = re.compile(r"height|topograph|elevation|\bz\b|^z|surface", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Wish:
    """What the caller says about a file.

    Attributes
    ----------
    pixel : (float, float) or None
        Pitch ``(dy, dx)``, metres.
    unit : str or None
        Unit of the heights.
    channel : str or None
        Name of the channel to take.
    """

    pixel: tuple[float, float] | None = None
    unit: str | None = None
    channel: str | None = None


def to_maps(
    path: Path, channels: Sequence[RawChannel], wish: Wish, sidecar: Sidecar, source: Source
) -> list[HeightMap]:
    """All channels that are heights as maps in metres, the chosen one first.

    Parameters
    ----------
    path : Path
        The file; its stem is the name of the first map.
    channels : sequence of RawChannel
        What the reader found.
    wish, sidecar : Wish, Sidecar
        What caller and sidecar say.
    source : Source
        File, hash and format; the channel is filled in.

    Raises
    ------
    NoHeights
        If no channel is heights, the wanted one is not there, or nothing was measured in it.
    PixelMissing, UnitMissing
        If nobody says the pixel size or the unit of the chosen channel.
    """
    chosen = _chosen(path, channels, wish, sidecar)
    maps = [_to_map(path, chosen, wish, sidecar, source, first=True, forced=True)]
    for channel in channels:
        if channel is chosen or not channel.may_be_heights:
            continue
        try:
            maps.append(_to_map(path, channel, wish, sidecar, source, first=False, forced=False))
        except (NoHeights, PixelMissing, UnitMissing):
            continue  # not the one that is asked for; source.channels still names it
    return maps


def _chosen(path: Path, channels: Sequence[RawChannel], wish: Wish, sidecar: Sidecar) -> RawChannel:
    if not channels:
        raise NoHeights("The file holds no height map", where=str(path), fix="Choose a file with a height channel.")
    if wish.channel is not None:
        return _named(path, channels, wish.channel, "the command")
    if sidecar.channel is not None and len(channels) > 1:
        return _named(path, channels, sidecar.channel, str(beside(path)))
    candidates = [channel for channel in channels if channel.may_be_heights]
    if not candidates:
        units = ", ".join(f"{channel.name or 'unnamed'} in {channel.unit}" for channel in channels)
        raise NoHeights(
            f"The file holds no heights, only {units}",
            where=str(path),
            fix="Export the height channel; if the unit is wrong, name the channel and say --unit nm.",
        )
    by_name = [channel for channel in candidates if _HEIGHT_WORDS.search(channel.name)]
    by_unit = [channel for channel in candidates if channel.is_length]
    return (by_name or by_unit or candidates)[0]


def _named(path: Path, channels: Sequence[RawChannel], name: str, who: str) -> RawChannel:
    for same in (str.strip, lambda text: text.strip().casefold()):
        for channel in channels:
            if same(channel.name) == same(name):
                return channel
    there = ", ".join(f"“{channel.name}”" for channel in channels)
    raise NoHeights(f"There is no channel “{name}” (asked for by {who})", where=str(path), fix=f"The file has {there}.")


def _to_map(
    path: Path, raw: RawChannel, wish: Wish, sidecar: Sidecar, source: Source, *, first: bool, forced: bool
) -> HeightMap:
    pitch = wish.pixel or sidecar.pixel or raw.pitch
    metadata = {**raw.metadata, **sidecar.metadata}
    if pitch is None and raw.coordinates and _unit(raw, wish, sidecar) == "m":
        # Heights in plain metres: the file speaks SI, and so do its bare coordinates. Any other unit asks for the
        # pixel, because heights in nm beside coordinates in µm are common.
        pitch = raw.spacing
        metadata["assumed"] = "coordinates in metres, as the heights are"
    factor = _metres_per(path, raw, wish, sidecar, forced=forced, pitch=pitch)
    if pitch is None:
        raise _no_pitch(path, raw, wish)
    check_is_map(raw.z.shape, str(path))
    if not is_numeric(raw.z.dtype):
        raise NoHeights(f"The channel “{raw.name}” holds {raw.z.dtype}, no heights", where=str(path))
    heights = np.asarray(raw.z, dtype=np.float64, order="C")  # the reader's own array where it is metres already
    if factor != 1.0:
        heights = heights * factor
    try:
        scan = HeightMap(
            frozen(heights),
            pitch,
            path.stem if first else f"{path.stem} · {raw.name}",
            source=replace(source, channel=raw.name, unit=_unit(raw, wish, sidecar) or ""),
            metadata=metadata,
        )
    except MapError as error:
        raise NoHeights(error.what, where=str(path), fix="Check the pixel size and the unit.") from error
    if scan.missing == scan.z.size:
        raise NoHeights(
            f"Nothing was measured: all {scan.z.size} points are missing", where=str(path), fix="Choose another scan."
        )
    return scan


def _metres_per(
    path: Path,
    raw: RawChannel,
    wish: Wish,
    sidecar: Sidecar,
    *,
    forced: bool,
    pitch: tuple[float, float] | None,
) -> float:
    """Metres in one unit of the channel. Where nobody says the pitch either, the refusal asks for both at once."""
    said = wish.unit or sidecar.unit
    if said is not None and (forced or raw.may_be_heights):
        return metres_per(said)
    if raw.unit is None and pitch is None:
        raise _no_pitch(path, raw, wish, and_unit=True)
    if raw.unit is None:
        raise UnitMissing(
            f"The unit of the heights{_of(raw)} is not said",
            where=str(path),
            fix=f'Add --unit nm, or the line unit = "nm" in {beside(path).name} (with the unit that is true).',
        )
    if not raw.is_length:
        raise NoHeights(
            f"The channel “{raw.name}” is in {raw.unit}, which is no length",
            where=str(path),
            fix="Choose a height channel, or say --unit nm if the unit in the file is wrong.",
        )
    return metres_per(raw.unit)


def _unit(raw: RawChannel, wish: Wish, sidecar: Sidecar) -> str | None:
    """The unit of the heights as caller, sidecar or file say it, in this order."""
    return wish.unit or sidecar.unit or raw.unit


def _no_pitch(path: Path, raw: RawChannel, wish: Wish, *, and_unit: bool = False) -> PixelMissing:
    """The refusal that says what is missing and the very words to add."""
    example, told = "9.8nm", f": {raw.hint}" if raw.hint else ""
    if raw.spacing is not None:
        dy, dx = (float(step) for step in raw.spacing)
        unit = wish.unit or (raw.unit if raw.is_length and raw.unit else "um")
        example = f"{dy!r}{unit}x{dx!r}{unit}"
        told = f": its points are {dy:g} apart down and {dx:g} across, in a unit that is not said"
    what = (
        f"Neither the pixel size nor the unit of the heights{_of(raw)} is"
        if and_unit
        else f"The pixel size{_of(raw)} is not"
    )
    flags = f"--pixel {example} --unit nm" if and_unit else f"--pixel {example}"
    lines = f'the lines pixel = "{example}" and unit = "nm"' if and_unit else f'the line pixel = "{example}"'
    return PixelMissing(
        f"{what} said{told}",
        where=str(path),
        fix=f"Add {flags}, or {lines} in {beside(path).name} (with the size that is true).",
    )


def _of(raw: RawChannel) -> str:
    return f" of “{raw.name}”" if raw.name else ""
