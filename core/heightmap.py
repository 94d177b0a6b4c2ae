"""The height map: one frozen record that travels from file to result."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from core.errors import MapError
from core.units import format_length

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

EMPTY: Mapping[str, Any] = MappingProxyType({})


def frozen(heights: FloatArray) -> FloatArray:
    """The same array, read-only from now on: hand fresh arrays over this way and nothing is copied."""
    heights.flags.writeable = False
    return heights


@dataclass(frozen=True, slots=True)
class Source:
    """Where a map came from.

    Attributes
    ----------
    file : str
        Path as the user gave it; empty for a map made in memory.
    sha256 : str
        Hash of the raw file's bytes; empty for a map made in memory.
    format : str
        Name of the reader.
    channel : str
        Name of the channel that was taken.
    channels : tuple of str
        All channels the file offers, the taken one among them.
    unit : str
        Unit in which the heights were read, as file, sidecar or caller say it.
    """

    file: str = ""
    sha256: str = ""
    format: str = ""
    channel: str = ""
    channels: tuple[str, ...] = ()
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a map's history: what a treatment step did.

    Attributes
    ----------
    step : mapping
        The step with its parameters, as it stands in the TOML.
    removed : str
        What it removed, in words.
    figures : mapping of str to float
        The same in SI numbers, such as ``removed_rms_m``.
    """

    step: Mapping[str, Any]
    removed: str
    figures: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class HeightMap:
    """Heights on a regular lattice, metres; row 0 is the top line as shown, columns run along the fast scan axis.

    Parameters
    ----------
    z : array_like, shape (ny, nx)
        Heights in metres. Not-finite values are missing points and become NaN.
    pitch : (float, float)
        Distance of neighbouring points down and across ``(dy, dx)``, metres. Required: it is never guessed.
    name : str, optional
        Name of the scan.
    mask : array_like of bool, shape (ny, nx), optional
        True where a measured point is left out of fits and readings. Masking never destroys heights.
    source : Source, optional
        File, hash, format and channel.
    metadata : mapping, optional
        What file and sidecar say beside the heights (instrument, date, line rate ...).
    history : tuple of Entry, optional
        What treatment did so far.

    Raises
    ------
    MapError
        If `z` is not a two-dimensional array of numbers, `pitch` not two positive lengths, or `mask` of another shape.

    Examples
    --------
    >>> import numpy as np
    >>> scan = HeightMap([[0.0, 1e-9], [np.nan, 2e-9]], pitch=(1e-8, 1e-8), name="tiny")
    >>> scan.shape, scan.missing, scan.size
    ((2, 2), 1, (2e-08, 2e-08))
    """

    z: FloatArray
    pitch: tuple[float, float]
    name: str = ""
    mask: BoolArray | None = None
    source: Source = field(default_factory=Source)
    metadata: Mapping[str, Any] = field(default_factory=lambda: EMPTY)
    history: tuple[Entry, ...] = ()
    missing: int = field(init=False, default=0)

    def __init__(
        self,
        z: ArrayLike,
        pitch: tuple[float, float],
        name: str = "",
        *,
        mask: ArrayLike | None = None,
        source: Source | None = None,
        metadata: Mapping[str, Any] = EMPTY,
        history: tuple[Entry, ...] = (),
    ) -> None:
        heights, missing = _checked_heights(z)
        put = object.__setattr__
        put(self, "z", heights)
        put(self, "pitch", _checked_pitch(pitch))
        put(self, "name", str(name))
        put(self, "mask", _checked_mask(mask, heights.shape))
        put(self, "source", source or Source())
        put(self, "metadata", MappingProxyType(dict(metadata)))
        put(self, "history", tuple(history))
        put(self, "missing", missing)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.z.shape[0], self.z.shape[1]

    @property
    def size(self) -> tuple[float, float]:
        """Height and width of the scan, metres: rows × dy, columns × dx (cell-centred points)."""
        return self.shape[0] * self.pitch[0], self.shape[1] * self.pitch[1]

    @property
    def valid(self) -> BoolArray:
        """True where a height was measured (not missing), whether masked or not; shape (ny, nx)."""
        return np.ones(self.shape, bool) if self.missing == 0 else ~np.isnan(self.z)

    @property
    def used(self) -> BoolArray:
        """True where a point counts in fits and readings: measured and not masked; shape (ny, nx)."""
        return self.valid if self.mask is None else self.valid & ~self.mask

    @property
    def complete(self) -> bool:
        """Whether every point counts: the fast paths ask this first."""
        return self.missing == 0 and self.mask is None

    @property
    def masked(self) -> int:
        """Number of measured points that are masked."""
        return 0 if self.mask is None else int(np.count_nonzero(self.mask & self.valid))

    @property
    def missing_fraction(self) -> float:
        """Share of points without a height, 0 to 1."""
        return self.missing / self.z.size

    @property
    def masked_fraction(self) -> float:
        """Share of points that are measured but masked, 0 to 1."""
        return self.masked / self.z.size

    def heights(self) -> FloatArray:
        """The heights that count, flat, metres: measured and unmasked. A view where all count."""
        return self.z.reshape(-1) if self.complete else self.z[self.used]

    def with_(self, **changes: Any) -> Self:
        """A copy with some fields replaced; arrays that stay are shared."""
        fields: dict[str, Any] = {
            "z": self.z,
            "pitch": self.pitch,
            "name": self.name,
            "mask": self.mask,
            "source": self.source,
            "metadata": self.metadata,
            "history": self.history,
        }
        return type(self)(**(fields | changes))

    def logged(self, entry: Entry, **changes: Any) -> Self:
        """A copy whose history gained `entry`, with some fields replaced."""
        return self.with_(history=(*self.history, entry), **changes)

    def named(self, name: str) -> Self:
        """The same map under another name; the heights are shared."""
        return self.with_(name=name)

    def __repr__(self) -> str:
        rows, columns = self.shape
        high, wide = (format_length(side) for side in self.size)
        gaps = f", {self.missing_fraction:.2%} missing" if self.missing else ""
        return f"<HeightMap “{self.name}”: {rows} × {columns} points, {high} × {wide}{gaps}>"


def _checked_heights(z: ArrayLike) -> tuple[FloatArray, int]:
    """Read-only float64 heights with NaN for every not-finite point, and the number of such points."""
    try:
        heights = np.asarray(z, dtype=np.float64, order="C")
    except (TypeError, ValueError) as error:
        raise MapError("Heights must be numbers") from error
    if heights.ndim != 2 or heights.size == 0:
        raise MapError(f"A height map has rows and columns; this array has shape {heights.shape}")
    missing = 0
    # One dot product tells whether all is finite; only then are the points counted. A product may overflow on huge
    # heights, which sends us down the slow path and no further.
    with np.errstate(over="ignore", invalid="ignore"):
        clean = math.isfinite(float(np.dot(heights.reshape(-1), heights.reshape(-1))))
    if not clean:
        bad = ~np.isfinite(heights)
        missing = int(np.count_nonzero(bad))
        if np.isinf(heights).any():
            heights = np.where(bad, np.nan, heights)
    if heights.flags.writeable and isinstance(z, np.ndarray) and np.may_share_memory(heights, z):
        heights = heights.copy()  # the caller may still write to hers
    return frozen(heights), missing


def _checked_pitch(pitch: tuple[float, float]) -> tuple[float, float]:
    try:
        dy, dx = (float(step) for step in pitch)
    except (TypeError, ValueError) as error:
        raise MapError(f"Pitch must be two lengths (dy, dx) in metres, not {pitch!r}") from error
    if not (0 < dy < math.inf and 0 < dx < math.inf):
        raise MapError(f"Pitch must be positive and finite, not ({dy}, {dx}) m")
    return dy, dx


def _checked_mask(mask: ArrayLike | None, shape: tuple[int, ...]) -> BoolArray | None:
    if mask is None:
        return None
    left_out = np.array(mask, dtype=bool)
    if left_out.shape != shape:
        raise MapError(f"The mask has shape {left_out.shape}, the heights {shape}")
    if not left_out.any():
        return None
    left_out.flags.writeable = False
    return left_out
