"""The shared height scale: one absolute range for the colours of all tiles, exact, never sub-sampled."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from core.errors import QuantityError
from core.heightmap import FloatArray, HeightMap
from core.selection import bracketed, thinning
from core.units import parse_length

Preset = Literal["pooled", "widest", "tightest", "hundred", "typed"]

PRESETS: dict[Preset, str] = {
    "pooled": "0.1–99.9 % of all points, rounded outward",
    "widest": "widest: lowest to highest point of all",
    "tightest": "tightest: the flattest scan fills it",
    "hundred": "0 to 100 nm",
    "typed": "as typed",
}
"""What each preset is called in the window."""

LOWER, UPPER = 0.001, 0.999


@dataclass(frozen=True, slots=True)
class Scale:
    """How the colours of all tiles are tied to heights.

    Attributes
    ----------
    shared : bool
        One range for all tiles; off, every tile has its own and says so.
    preset : {"pooled", "widest", "tightest", "hundred", "typed"}
        Where the range comes from.
    low, high : float
        Ends of a typed range, metres.
    """

    shared: bool = True
    preset: Preset = "pooled"
    low: float = 0.0
    high: float = 100e-9

    @classmethod
    def typed(cls, low: float, high: float, *, shared: bool = True) -> Scale:
        """A scale with ends given in metres.

        Raises
        ------
        QuantityError
            If the range is empty, upside down or not finite.
        """
        if not (np.isfinite(low) and np.isfinite(high) and low < high):
            raise QuantityError("A height range needs two ends, the lower one first", fix="Write 0nm:100nm.")
        return cls(shared=shared, preset="typed", low=low, high=high)

    @classmethod
    def parse(cls, text: str) -> Scale:
        """A scale from text such as ``"0nm:100nm"``.

        Raises
        ------
        QuantityError
            If it is not two lengths with a colon between, the lower one first.

        Examples
        --------
        >>> Scale.parse("0nm:100nm").high
        1e-07
        """
        low, colon, high = text.partition(":")
        if not colon:
            raise QuantityError(f"“{text}” is not a height range", fix="Write 0nm:100nm.")
        return cls.typed(parse_length(low), parse_length(high))

    def limits(self, maps: Sequence[HeightMap]) -> tuple[float, float]:
        """Lowest and highest height of the shared range, metres, for these treated maps."""
        if self.preset == "typed":
            return self.low, self.high
        if self.preset == "hundred":
            return 0.0, 100e-9
        maps = [scan for scan in maps if scan.heights().size]
        if not maps:
            return 0.0, 100e-9
        if self.preset == "pooled":
            return rounded_outward(*opened(*pooled_quantiles(maps, (LOWER, UPPER))))
        ranges = [own_extremes(scan) for scan in maps]
        if self.preset == "tightest":
            return opened(*min(ranges, key=lambda ends: ends[1] - ends[0]))
        return opened(min(low for low, _ in ranges), max(high for _, high in ranges))


def own_extremes(scan: HeightMap) -> tuple[float, float]:
    """Lowest and highest height that counts, metres."""
    heights = scan.heights()
    return float(heights.min()), float(heights.max())


def own_limits(scan: HeightMap) -> tuple[float, float]:
    """The range of a tile that has its own scale: its 0.1–99.9 % quantiles rounded outward, metres."""
    if scan.heights().size == 0:
        return 0.0, 100e-9
    return rounded_outward(*opened(*pooled_quantiles([scan], (LOWER, UPPER))))


def opened(low: float, high: float) -> tuple[float, float]:
    """The same range; a range without width (a perfectly flat map) is opened to 1 nm about it."""
    if high > low:
        return low, high
    return low - 0.5e-9, low + 0.5e-9


def rounded_outward(low: float, high: float) -> tuple[float, float]:
    """The smallest range of round numbers that holds this one: steps of 1, 2 or 5 × 10^k, a 25th of the range or less.

    A range that begins just above zero begins at zero then, so that the flattest surface, which lies all at the
    bottom, is not drawn as outside; and people read 32 nm better than 31.87.

    Examples
    --------
    >>> rounded_outward(0.081e-9, 31.6e-9)
    (0.0, 3.2e-08)
    >>> rounded_outward(-13.88e-9, 12.76e-9)
    (-1.4e-08, 1.3e-08)
    """
    finest = (high - low) / 25
    power = math.floor(math.log10(finest))
    factor = next(f for f in (5, 2, 1) if f * 10.0**power <= finest * (1 + 1e-9))
    first, last = (int(end(x / factor * 10.0**-power)) for end, x in ((math.floor, low), (math.ceil, high)))
    # Through decimal text, so that 32 nm is 3.2e-8 to the last bit.
    return float(f"{first * factor}e{power}"), float(f"{last * factor}e{power}")


def clipped(scan: HeightMap, low: float, high: float) -> tuple[float, float]:
    """Shares of the points that count lying below and above a range, each 0 to 1."""
    heights = scan.heights()
    if heights.size == 0:
        return 0.0, 0.0
    under = np.count_nonzero(heights < low) / heights.size
    return float(under), float(np.count_nonzero(heights > high) / heights.size)


def pooled_quantiles(maps: Sequence[HeightMap], shares: tuple[float, float]) -> tuple[float, float]:
    """Exact quantiles of all points of all maps together.

    A thinned sample brackets each quantile; one pass counts what lies below the bracket and picks what lies within,
    which is little, and that is sorted. Should the bracket miss, everything is sorted.

    Parameters
    ----------
    maps : sequence of HeightMap
        With at least one point that counts among them.
    shares : (float, float)
        Such as ``(0.001, 0.999)``.

    Returns
    -------
    (float, float)
        Metres; the point of rank ``round(share · (n − 1))``, no interpolation.
    """
    pools = [scan.heights() for scan in maps]
    total = sum(pool.size for pool in pools)
    thin = np.sort(np.concatenate([pool[:: thinning(total)] for pool in pools]))
    first, second = (_quantile(pools, total, thin, share) for share in shares)
    return first, second


def _quantile(pools: Sequence[FloatArray], total: int, thin: FloatArray, share: float) -> float:
    rank = round(share * (total - 1))
    centre = share * (thin.size - 1)
    spread = 6 * np.sqrt(max(thin.size * share * (1 - share), 1.0)) + 2
    low = thin[int(max(0, np.floor(centre - spread)))] if centre > spread else -np.inf
    high = thin[int(np.ceil(centre + spread))] if centre + spread < thin.size - 1 else np.inf
    counts, picked = zip(*(bracketed(pool, float(low), float(high)) for pool in pools), strict=True)
    below, inside = sum(counts), np.concatenate(picked)
    if not below <= rank < below + inside.size:
        below, inside = 0, np.concatenate(list(pools))
    return float(np.partition(inside, rank - below)[rank - below])
