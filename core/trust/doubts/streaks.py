"""Streaks: runs along scan lines that stand off both neighbouring rows."""

from __future__ import annotations

import numpy as np

from core.artefacts import STREAK_RUN, STREAK_SIGMA, find_streaks
from core.heightmap import BoolArray
from core.trust.doubts.doubt import Doubt, Level, Place
from core.trust.doubts.lines import TURN_SCAN, surface_or_scanner
from core.trust.doubts.look import Look
from core.units import format_length, percent

AMBER = 0.005
RED = 0.02
"""Shares of the points on streaks above which a scan is doubted (common practice, no source)."""


def streaks(look: Look) -> Doubt | None:
    """The doubt that the probe dragged or lost contact along scan lines.

    Notes
    -----
    The rule is that of `core.artefacts.find_streaks`. The share of the transposed map stands beside it: marks of the
    surface have no reason to follow the scan lines. Grooves one row wide exactly along the fast axis look the same.

    Simulated for this program (256², ten clean textures; `tests/core/trust/test_doubt_spatial_rates.py`): no alarm in
    1,500 clean maps; streaks on 1.2 % of the points, six sigma high, are found in 200 of 200 maps, of 4.5 sigma in 77.
    """
    if look.blank or min(look.raw.shape) < STREAK_RUN:
        return None
    found = find_streaks(look.level)
    share = float(np.count_nonzero(found.found)) / look.raw.z.size
    if share <= AMBER:
        return None
    level: Level = "red" if share > RED else "amber"
    turned = float(np.count_nonzero(find_streaks(np.ascontiguousarray(look.level.T)).found)) / look.raw.z.size
    return Doubt(
        "streaks",
        level,
        f"{percent(share, 1)} of the points lie on streaks along the scan lines, more than {STREAK_SIGMA:g} σ "
        f"({format_length(STREAK_SIGMA * found.sigma)}) off both neighbouring lines; across them {percent(turned, 1)}.",
        "Loose dirt or poor contact: raise the set-point a little, clean the surface, change the probe, take a new "
        "spot. Streaks are masked, never painted over.",
        {"streak_fraction": share, "streak_fraction_across": turned, "sigma_m": found.sigma},
        place=_around(found.found),
        confused_with=surface_or_scanner(look),
        settled_by=TURN_SCAN,
        cure={"do": "mask", "what": "streaks"},
    )


def _around(found: BoolArray) -> Place:
    """The band of rows that holds the middle 90 % of the streaks: a few stray ones would make it the whole map."""
    rows = np.flatnonzero(np.any(found, axis=1))
    weights = np.cumsum(np.count_nonzero(found[rows], axis=1))
    first, last = np.searchsorted(weights, (0.05 * weights[-1], 0.95 * weights[-1]))
    columns = np.flatnonzero(np.any(found, axis=0))
    return Place(int(rows[first]), int(columns[0]), int(rows[last]) + 1, int(columns[-1]) + 1)
