"""Feature parameters: counts, heights, areas and volumes of the hills and dales that stand out by 5 % of Sz.

ISO 25178-2:2021, clause 5 (clause numbers and the rules that are not stated here from memory).

Open features go on beyond the border of the map or into an opening in it. They count in Spd and, with what is seen of
them, in S5p, S5v and S10z; areas and volumes take the closed ones only, because a part would pass for a whole.
"""

from __future__ import annotations

import numpy as np

from core.heightmap import FloatArray, HeightMap
from core.measures.heights import NOTHING
from core.measures.hills import Hills, volumes
from core.measures.outcome import Outcome
from core.measures.quantity import Quantity
from core.measures.surface import Surface

LEVEL = Outcome(None, "All heights are equal: there are no hills or dales.")

TOP = 5
"""Number of peaks or pits whose heights S5p and S5v average."""


def peak_density(surface: Surface) -> Outcome:
    """Spd: number of hills, open ones too, over the area of the points that count; per square metre."""
    none = _why_none(surface)
    if none:
        return none
    hills = surface.hills
    return Outcome(len(hills) / (surface.points * _point(surface.scan)), _told_open(hills, "hills"))


def peak_curvature(surface: Surface) -> Outcome:
    r"""Spc: mean of :math:`-\tfrac12(z_{xx} + z_{yy})` at the summits of the hills; per metre.

    Second derivatives are the central differences (1, −2, 1)/pitch² along row and column: of second order in the
    pitch. Summits on the border or beside a point that does not count are left out.
    """
    none = _why_none(surface)
    if none:
        return none
    hills = surface.hills
    bent = _curvatures(surface.scan, hills)
    if not bent.size:
        return Outcome(None, "No hill has a summit whose four neighbours all count.")
    lost = len(hills) - bent.size
    note = f"{lost} of {len(hills)} summits lie on the border or beside a point that does not count" if lost else ""
    return Outcome(float(bent.mean()), note)


def five_peaks(surface: Surface) -> Outcome:
    """S5p: mean height of the five highest hills over the mean height of the map; metres."""
    return _why_none(surface) or _top(surface, surface.hills, 1.0, "hills")


def five_pits(surface: Surface) -> Outcome:
    """S5v: mean depth of the five deepest dales under the mean height of the map; metres."""
    return _why_none(surface) or _top(surface, surface.dales, -1.0, "dales")


def ten_points(surface: Surface) -> Outcome:
    """S10z: S5p + S5v; metres."""
    peaks, pits = five_peaks(surface), five_pits(surface)
    if peaks.value is None or pits.value is None:
        return Outcome(None, " ".join(dict.fromkeys(part.note for part in (peaks, pits) if part.value is None)))
    return Outcome(peaks.value + pits.value)


def hill_area(surface: Surface) -> Outcome:
    """Sha: mean area of the closed hills; square metres."""
    return _why_none(surface) or _mean_area(surface, surface.hills, "hills")


def dale_area(surface: Surface) -> Outcome:
    """Sda: mean area of the closed dales; square metres."""
    return _why_none(surface) or _mean_area(surface, surface.dales, "dales")


def hill_volume(surface: Surface) -> Outcome:
    """Shv: mean volume of the closed hills over their highest saddles; cubic metres."""
    return _why_none(surface) or _mean_volume(surface, surface.hills, "hills", down=False)


def dale_volume(surface: Surface) -> Outcome:
    """Sdv: mean volume that the closed dales hold under their lowest saddles; cubic metres."""
    return _why_none(surface) or _mean_volume(surface, surface.dales, "dales", down=True)


def _why_none(surface: Surface) -> Outcome | None:
    if not surface.points:
        return NOTHING
    return LEVEL if surface.highest == surface.lowest else None


def _point(scan: HeightMap) -> float:
    return scan.pitch[0] * scan.pitch[1]


def _told_open(features: Hills, kind: str) -> str:
    opened = int(np.count_nonzero(features.open))
    return f"{opened} of {len(features)} {kind} are open: they touch the border or an opening" if opened else ""


def _top(surface: Surface, features: Hills, sign: float, kind: str) -> Outcome:
    if len(features) < TOP:
        return Outcome(None, f"Five {kind} are needed; the map has {len(features)} that stand out by 5 % of Sz.")
    highest = np.sort(features.heights)[-TOP:]
    return Outcome(float(np.mean([sign * surface.above_mean(sign * height) for height in highest.tolist()])))


def _mean_area(surface: Surface, features: Hills, kind: str) -> Outcome:
    closed = ~features.open
    if not closed.any():
        return _all_open(features, kind)
    points = float(features.points[closed].mean()) / features.coverage
    return Outcome(points * _point(surface.scan), _told_left_out(features, kind))


def _mean_volume(surface: Surface, features: Hills, kind: str, *, down: bool) -> Outcome:
    closed = ~features.open & np.isfinite(features.rims)
    if not closed.any():
        return _all_open(features, kind)
    filled = volumes(features, surface.scan, down=down)[closed]
    return Outcome(float(filled.mean()) / features.coverage, _told_left_out(features, kind))


def _all_open(features: Hills, kind: str) -> Outcome:
    return Outcome(
        None, f"None of the {len(features)} {kind} is closed: all touch the border of the map or an opening."
    )


def _told_left_out(features: Hills, kind: str) -> str:
    told = _told_open(features, kind)
    return f"{told}, and are left out" if told else ""


def _curvatures(scan: HeightMap, hills: Hills) -> FloatArray:
    """−½(z_xx + z_yy) at the summits whose four neighbours count."""
    (ny, nx), (dy, dx) = scan.shape, scan.pitch
    row, column = hills.places.T
    inner = (row > 0) & (row < ny - 1) & (column > 0) & (column < nx - 1)
    row, column = row[inner], column[inner]
    around = ((row - 1, column), (row + 1, column), (row, column - 1), (row, column + 1))
    if not scan.complete:
        whole = np.logical_and.reduce([scan.used[place] for place in around])
        row, column = row[whole], column[whole]
        around = ((row - 1, column), (row + 1, column), (row, column - 1), (row, column + 1))
    z = scan.z
    summit = z[row, column]
    up, down, left, right = (z[place] - summit for place in around)
    return np.asarray(-0.5 * ((up + down) / dy**2 + (left + right) / dx**2))


_PRUNED = "Hills that rise less than 5 % of Sz over their highest saddle are joined with their higher neighbour."
_ASCENT = (
    "Areas follow steepest ascent: every point belongs to the summit that climbing to the highest neighbour reaches. "
    "A flood from the same summits would draw up to 8 % of the points elsewhere on a noisy map. "
)
_NOISE = "On a noisy or finely sampled map every grain of noise is a hill: filter first (S-filter). "
_SZ = "5 % of Sz hangs on two points: one spike raises it and fells most hills. "

ENTRIES = (
    Quantity(
        "Spd",
        "density of peaks",
        "1/m2",
        "ISO 25178-2:2021, 5.2",
        "How many hills there are on the area.",
        "Spd = number of hills / area; " + _PRUNED,
        _NOISE + _SZ + "Hills cut by the border count too, so that small maps read a little high.",
        True,
        peak_density,
    ),
    Quantity(
        "Spc",
        "arithmetic mean peak curvature",
        "1/m",
        "ISO 25178-2:2021, 5.3",
        "How sharp the tops of the hills are: one over their mean radius.",
        "Spc = − ½ mean of (∂²z/∂x² + ∂²z/∂y²) at the summits, by differences of neighbouring points",
        "It lives at the pixel: noise and pixel size decide it, and no summit reads sharper than the tip that felt it. "
        + _NOISE,
        True,
        peak_curvature,
    ),
    Quantity(
        "S10z",
        "ten-point height",
        "m",
        "ISO 25178-2:2021, 5.4",
        "From the five deepest dales to the five highest hills: a peak to valley that no single point makes.",
        "S10z = S5p + S5v",
        "It grows with the scan size as Sz does, more slowly. " + _SZ,
        True,
        ten_points,
    ),
    Quantity(
        "S5p",
        "five-point peak height",
        "m",
        "ISO 25178-2:2021, 5.5",
        "The mean height of the five highest hills over the mean plane.",
        "S5p = mean height of the five highest hills above the mean; " + _PRUNED,
        "With fewer than five hills it does not exist. " + _SZ,
        True,
        five_peaks,
    ),
    Quantity(
        "S5v",
        "five-point pit depth",
        "m",
        "ISO 25178-2:2021, 5.6",
        "The mean depth of the five deepest dales under the mean plane.",
        "S5v = mean depth of the five deepest dales below the mean; pruned as the hills, upside down",
        "With fewer than five dales it does not exist. A blunt tip does not reach the bottom of a narrow dale. " + _SZ,
        True,
        five_pits,
    ),
    Quantity(
        "Sda",
        "mean dale area",
        "m2",
        "ISO 25178-2:2021, 5.7",
        "The mean area that drains into one dale, over the closed dales.",
        "Sda = mean area of the dales that touch neither the border nor an opening",
        _ASCENT + "Large dales touch the border more often and are left out: it reads low on small maps. " + _NOISE,
        True,
        dale_area,
    ),
    Quantity(
        "Sha",
        "mean hill area",
        "m2",
        "ISO 25178-2:2021, 5.8",
        "The mean area that belongs to one hill, over the closed hills.",
        "Sha = mean area of the hills that touch neither the border nor an opening",
        _ASCENT + "Large hills touch the border more often and are left out: it reads low on small maps. " + _NOISE,
        True,
        hill_area,
    ),
    Quantity(
        "Sdv",
        "mean dale volume",
        "m3",
        "ISO 25178-2:2021, 5.9",
        "How much a dale holds on average before it runs over.",
        "Sdv = mean over closed dales of Σ (lowest saddle − z) · area of a point, where z lies below the saddle",
        _ASCENT + "Few large dales decide the mean. " + _NOISE,
        True,
        dale_volume,
    ),
    Quantity(
        "Shv",
        "mean hill volume",
        "m3",
        "ISO 25178-2:2021, 5.10",
        "The mean volume of a hill over its highest saddle, over the closed hills.",
        "Shv = mean over closed hills of Σ (z − highest saddle) · area of a point, where z lies above the saddle",
        _ASCENT + "Few large hills decide the mean. " + _NOISE,
        True,
        hill_volume,
    ),
)
