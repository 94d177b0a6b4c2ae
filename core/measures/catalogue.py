"""The catalogue of readings: one record for each quantity, and one call that reads them all.

Clause numbers of ISO 25178-2:2021 are given as best known (clause number from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np

from core.errors import ReadingUnknown
from core.heightmap import HeightMap
from core.measures import heights, hybrid
from core.measures.outcome import Outcome
from core.measures.reading import Reading
from core.measures.surface import Surface


@dataclass(frozen=True, slots=True)
class Quantity:
    """One entry of the catalogue: what a symbol means and how it is computed.

    Attributes
    ----------
    symbol, name : str
        Such as ``"Sq"``, ``"root mean square height"``.
    unit : str
        SI: ``"m"``, or ``"1"`` for a pure number.
    clause : str
        Where the standard defines it.
    meaning : str
        What it says about a surface, in plain words.
    formula : str
        One line of text.
    misleads : str
        When not to trust it.
    positive : bool
        Whether it is positive by nature: then it scatters by factors and the logarithm is its scale.
    function : callable
        From a `Surface` to an `Outcome`.
    """

    symbol: str
    name: str
    unit: str
    clause: str
    meaning: str
    formula: str
    misleads: str
    positive: bool
    function: Callable[[Surface], Outcome] = field(repr=False)


_DERIVATIVE = (
    "Slopes by the seven-point derivative (−1, 9, −45, 0, 45, −9, 1)/60 along rows and columns, at inner points whose "
    "whole stencil was measured and unmasked."
)

_ENTRIES = (
    Quantity(
        "Sq",
        "root mean square height",
        "m",
        "ISO 25178-2:2021, 4.3.2",
        "The usual roughness: the spread of the heights about their mean.",
        "Sq = √( mean of u² ), u = height above the mean",
        "It grows with the scan size, loses with every levelling step, and one tall speck can make most of it. "
        "Two values compare only within the same band, area and treatment.",
        True,
        heights.root_mean_square,
    ),
    Quantity(
        "Sa",
        "arithmetical mean height",
        "m",
        "ISO 25178-2:2021, 4.3.8",
        "The mean distance of the heights from their mean; 0.80 Sq for Gaussian heights.",
        "Sa = mean of |u|",
        "It hides rare bumps and pits better than any other reading; otherwise as Sq.",
        True,
        heights.mean_absolute,
    ),
    Quantity(
        "Sz",
        "maximum height",
        "m",
        "ISO 25178-2:2021, 4.3.7",
        "From the lowest to the highest point: peak to valley.",
        "Sz = Sp + Sv",
        "Two points decide. It grows with the number of points even on a perfect surface, and one spike makes it. "
        "S99.8 is steadier.",
        True,
        heights.peak_to_valley,
    ),
    Quantity(
        "Sp",
        "maximum peak height",
        "m",
        "ISO 25178-2:2021, 4.3.5",
        "The highest point above the mean.",
        "Sp = max u",
        "One point decides: dust, or a spike of the feedback.",
        True,
        heights.highest_peak,
    ),
    Quantity(
        "Sv",
        "maximum pit depth",
        "m",
        "ISO 25178-2:2021, 4.3.6",
        "The lowest point below the mean, counted positive.",
        "Sv = −min u",
        "One point decides, and a blunt tip does not reach the bottom of a narrow pit.",
        True,
        heights.deepest_pit,
    ),
    Quantity(
        "Ssk",
        "skewness",
        "1",
        "ISO 25178-2:2021, 4.3.3",
        "Above 0: bumps on a plain. Below 0: pits or scratches in a plateau. 0: as many of both.",
        "Ssk = mean of u³ / Sq³",
        "A few extreme points decide; on small maps it scatters widely. Bow left in the map shows as skewness.",
        False,
        heights.skewness,
    ),
    Quantity(
        "Sku",
        "kurtosis",
        "1",
        "ISO 25178-2:2021, 4.3.4",
        "3 for Gaussian heights; more where rare tall or deep features stand on a smooth ground, less for waves.",
        "Sku = mean of u⁴ / Sq⁴",
        "The most extreme points decide almost alone. A single speck gives values of hundreds.",
        True,
        heights.kurtosis,
    ),
    Quantity(
        "S99.8",
        "robust height range",
        "m",
        "no standard: quantile range, common practice",
        "The height range that holds 99.8 % of the points: peak to valley without the extremes.",
        "S99.8 = z(99.9 %) − z(0.1 %), linear interpolation",
        "Features that cover less than 0.1 % of the area do not show in it.",
        True,
        heights.robust_range,
    ),
    Quantity(
        "Sdq",
        "root mean square gradient",
        "1",
        "ISO 25178-2:2021, 4.5.2",
        f"How steep the surface is, as rise over run. {_DERIVATIVE}",
        "Sdq = √( mean of (∂z/∂x)² + (∂z/∂y)² )",
        "The pixel size and the noise decide: finer pixels read steeper. Compare only at equal pixels and noise.",
        True,
        hybrid.rms_gradient,
    ),
    Quantity(
        "Sdr",
        "developed interfacial area ratio",
        "1",
        "ISO 25178-2:2021, 4.5.3",
        f"How much larger the true area is than its projection: 0.01 is 1 %. {_DERIVATIVE}",
        "Sdr = mean of √(1 + (∂z/∂x)² + (∂z/∂y)²) − 1",
        "As Sdq, squared: on smooth surfaces Sdr = Sdq²/2, so noise counts twice as much.",
        True,
        hybrid.developed_area,
    ),
)

CATALOGUE: dict[str, Quantity] = {quantity.symbol: quantity for quantity in _ENTRIES}
"""All readings by symbol, in the order in which they are shown."""


def readings(scan: HeightMap, symbols: Iterable[str] | None = None) -> dict[str, Reading]:
    """The readings of one map.

    Parameters
    ----------
    scan : HeightMap
        The map, usually treated. Missing and masked points do not count, nothing is filled in.
    symbols : iterable of str, optional
        Which readings; all of the catalogue by default.

    Returns
    -------
    dict of str to Reading
        In SI, by symbol, in the order asked for. A reading that cannot be had has the value None and a note saying why.

    Raises
    ------
    ReadingUnknown
        If the catalogue has no such symbol.

    References
    ----------
    ISO 25178-2:2021, Geometrical product specifications: Surface texture: Areal, part 2: terms and parameters.

    Examples
    --------
    >>> scan = HeightMap([[0.0, 2e-9], [2e-9, 0.0]], pitch=(1e-8, 1e-8))
    >>> found = readings(scan, ["Sq", "Sdq"])
    >>> float(found["Sq"]), found["Sdq"].value
    (1e-09, None)
    """
    wanted = tuple(CATALOGUE if symbols is None else [symbols] if isinstance(symbols, str) else symbols)
    for symbol in wanted:
        if symbol not in CATALOGUE:
            raise ReadingUnknown(f"There is no reading “{symbol}”", fix=f"The readings are: {', '.join(CATALOGUE)}.")
    surface = Surface(scan)
    return {symbol: _read(CATALOGUE[symbol], surface) for symbol in wanted}


def _read(quantity: Quantity, surface: Surface) -> Reading:
    with np.errstate(over="ignore", invalid="ignore"):
        outcome = quantity.function(surface)
    if outcome.value is not None and not math.isfinite(outcome.value):
        outcome = Outcome(None, "The heights are too large to be evaluated.")
    return Reading(quantity.symbol, outcome.value, quantity.unit, quantity.clause, note=outcome.note)
