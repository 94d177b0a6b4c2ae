"""Scan lines by their medians, thinned where a map is wide: what detectors of jumps, creep and tip changes share."""

from __future__ import annotations

import numpy as np

from core.heightmap import FloatArray
from core.treatment.rows import row_medians
from core.trust.doubts.look import Look

COLUMNS = 256
"""Columns that are enough for a median of a row: its scatter is 8 % of that of one point."""

LEAST_LINES = 64
"""Rows and columns below which jumps, drift and tip changes are not told from texture."""

FEWEST = 16
"""Rows and columns below which nothing at all is said about lines."""

TURN_SCAN = "Turn the scan by 90°: marks of the surface turn with it."


def surface_or_scanner(look: Look) -> str:
    """What marks along the scan lines may be confused with."""
    lapped = " Directional texture: they cannot be told from lapping in one map." if look.directional else ""
    return f"Marks follow the scan lines, as grooves one or two points wide would: surface or scanner?{lapped}"


def thinned(level: FloatArray) -> FloatArray:
    """Every so many columns, so that some 256 to 511 remain; a copy in one piece."""
    return np.ascontiguousarray(level[:, :: max(1, level.shape[1] // COLUMNS)])


def medians(rows: FloatArray) -> FloatArray:
    """Median of each row; NaN for a row with fewer than a quarter of its points."""
    middle, points = row_medians(rows)
    return np.where(points >= max(1, rows.shape[1] // 4), middle, np.nan)


def steps(level: FloatArray) -> FloatArray:
    """Medians of the differences between each row and the next, shape (ny − 1,); NaN where too few points decide."""
    thin = thinned(level)
    return medians(thin[1:] - thin[:-1])
