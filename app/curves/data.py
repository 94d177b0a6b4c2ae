"""What the curves are made of: core's sections and height distributions of several maps, in the units of the axes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np

from app.tiles.state import Line
from core.heightmap import FloatArray, HeightMap
from core.measures.window_curve import WindowCurve, window_curve
from core.scale import opened, own_extremes, own_limits
from core.sections import height_distribution, section
from core.spectrum import fast_axis_spectrum
from core.trust.crossings import crossings, sentences

BINS, FEWEST = 200, 12
PER_DECADE = 20  # points of a spectrum drawn for each decade
NM, UM = 1e-9, 1e-6

Spots = Mapping[str, Sequence[HeightMap]]
"""The treated spots of each specimen, specimens in the order of the standing."""


@dataclass(frozen=True, eq=False)
class Curve:
    """One line of a plot.

    Attributes
    ----------
    x, y : ndarray
        In the units of the axes; NaN breaks the line.
    """

    x: FloatArray
    y: FloatArray

    def at(self, x: float) -> float | None:
        """The curve's value at a place, interpolated between its points; None outside and in gaps."""
        if self.x.size < 2 or not self.x[0] <= x <= self.x[-1]:
            return None
        value = float(np.interp(x, self.x, self.y))
        return value if np.isfinite(value) else None


@dataclass(frozen=True)
class Kind:
    """A kind of curve: a tab of the panel.

    Attributes
    ----------
    title : str
        On the tab.
    x, y : str
        Labels of the axes, with their units.
    x_unit, y_unit : str
        The units alone, for the read-out.
    logarithmic : bool
        Whether the y axis is.
    make : callable
        From the maps and the section to one curve for each map.
    logarithmic_x : bool
        Whether the x axis is logarithmic too.
    note : str
        What is drawn, in a few words for the line above the plot.
    tell : callable, optional
        From the spots of all specimens to sentences on what the curves show, and a check between them that may stop it.
    """

    title: str
    x: str
    y: str
    x_unit: str
    y_unit: str
    logarithmic: bool
    make: Callable[[Sequence[HeightMap], Line | None], list[Curve]]
    logarithmic_x: bool = False
    note: str = ""
    tell: Callable[[Spots, Callable[[], None]], list[str]] | None = None


def middle_line(scans: Sequence[HeightMap]) -> Line:
    """The horizontal line through the centre, as long as the widest map."""
    reach = max(scan.size[1] for scan in scans) / 2
    return -reach, 0.0, reach, 0.0


def sections(scans: Sequence[HeightMap], line: Line | None) -> list[Curve]:
    """Height, nm, over distance, µm, along the same line in every map; without a line the middle one is taken."""
    x0, y0, x1, y1 = line or middle_line(scans)
    curves = []
    for scan in scans:
        distance, height = section(scan, (x0, y0), (x1, y1))
        curves.append(Curve(distance / UM, height / NM))
    return curves


def distributions(scans: Sequence[HeightMap], _line: Line | None) -> list[Curve]:
    """Share of points for each nm of height, over height, nm.

    Every map has bins of its own width: a very flat map among rough ones would vanish in a single common bin. Shares
    for each nm stay comparable. The bins reach from the 0.1 % to the 99.9 % quantile and as far again on both sides, so
    that one spike does not squeeze the rest into one bin. They are widened while heights are so coarsely quantised that
    bins inside stay empty; the empty ones of the tails are left out of the line.
    """
    return [_distribution(scan) for scan in scans]


def _distribution(scan: HeightMap) -> Curve:
    if scan.heights().size == 0:
        return Curve(np.empty(0), np.empty(0))
    inner = own_limits(scan)
    lowest, highest = opened(*own_extremes(scan))
    span = inner[1] - inner[0]
    ends = max(lowest, inner[0] - span), min(highest, inner[1] + span)
    bins = BINS
    while True:
        edges, density = height_distribution(scan, bins, *opened(*ends))
        middles = (edges[:-1] + edges[1:]) / 2
        inside = (middles > inner[0]) & (middles < inner[1])
        if bins <= FEWEST or np.mean(density[inside] == 0) < 0.05:
            break
        bins = int(bins / 1.5)
    there = density > 0
    return Curve(middles[there] / NM, 100 * density[there] * NM)


def spectra(scans: Sequence[HeightMap], _line: Line | None) -> list[Curve]:
    """One-sided power spectral density along the fast axis, nm²·µm, over spatial frequency, 1/µm.

    Along the rows row offsets do not show; neighbouring bins are joined, so that the line is calm where there are many.
    """
    curves = []
    for scan in scans:
        spectrum = fast_axis_spectrum(scan).one_sided().joined(PER_DECADE)
        frequency, density, _, _ = spectrum.in_units("nm", "um")
        curves.append(_positive(frequency, density))
    return curves


def window_curves(scans: Sequence[HeightMap], _line: Line | None) -> list[Curve]:
    """RMS, nm, in square windows over their side, µm, each window about its own plane."""
    curves = []
    for scan in scans:
        curve = _window_curve(scan)
        curves.append(_positive(curve.side / UM, curve.rms / NM))
    return curves


def window_crossings(spots: Spots, check: Callable[[], None]) -> list[str]:
    """Which neighbours in the standing change places in other windows; nothing to say of a single specimen."""
    if len(spots) < 2:
        return []
    curves: dict[str, list[WindowCurve]] = {}
    for specimen, scans in spots.items():
        curves[specimen] = []
        for scan in scans:
            check()
            curves[specimen].append(_window_curve(scan))
    return sentences(crossings(curves, list(spots)))


_known: WeakKeyDictionary[HeightMap, WindowCurve] = WeakKeyDictionary()


def _window_curve(scan: HeightMap) -> WindowCurve:
    """Kept as long as the map itself: tiles, spots and crossings ask for the same ones again and again."""
    curve = _known.get(scan)
    if curve is None:
        curve = _known[scan] = window_curve(scan)
    return curve


def _positive(x: FloatArray, y: FloatArray) -> Curve:
    """What a double logarithmic plot can show."""
    there = (x > 0) & (y > 0)
    return Curve(x[there], y[there])


KINDS: tuple[Kind, ...] = (
    Kind("Section", "distance, µm", "height, nm", "µm", "nm", False, sections),
    Kind("Heights", "height, nm", "points, % per nm", "nm", "% per nm", True, distributions),
    Kind(
        "Spectrum",
        "spatial frequency, 1/µm",
        "PSD, nm²·µm",
        "1/µm",
        "nm²·µm",
        True,
        spectra,
        logarithmic_x=True,
        note="One-sided, along the fast axis, Hann window.",
    ),
    Kind(
        "RMS by window",
        "window side, µm",
        "RMS, nm",
        "µm",
        "nm",
        True,
        window_curves,
        logarithmic_x=True,
        note="In square windows, a plane taken off in each.",
        tell=window_crossings,
    ),
)
