"""The catalogue of readings: one record for each quantity, and one call that reads them all.

Clause numbers of ISO 25178-2:2021 and ISO 12781-1:2011 are given as best known: they are from memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np

from core.errors import ReadingUnknown
from core.heightmap import HeightMap
from core.measures import features, flatness, functional, heights, hybrid, spatial
from core.measures.outcome import Outcome
from core.measures.quantity import Quantity
from core.measures.reading import Reading
from core.measures.surface import Surface

FAMILIES: dict[str, tuple[Quantity, ...]] = {
    "heights": heights.ENTRIES,
    "slopes": hybrid.ENTRIES,
    "spatial": spatial.ENTRIES,
    "material ratio": functional.ENTRIES,
    "hills and dales": features.ENTRIES,
    "flatness": flatness.ENTRIES,
}
"""The readings by family, in the order in which they are shown."""

CATALOGUE: dict[str, Quantity] = {quantity.symbol: quantity for family in FAMILIES.values() for quantity in family}
"""All readings by symbol, in the order in which they are shown."""

TOO_LARGE = Outcome(None, "The heights are too large to be evaluated.")


def readings(
    scan: HeightMap, symbols: Iterable[str] | None = None, *, between: Callable[[], None] = lambda: None
) -> dict[str, Reading]:
    """The readings of one map.

    Parameters
    ----------
    scan : HeightMap
        The map, usually treated. Missing and masked points do not count, nothing is filled in.
    symbols : iterable of str, optional
        Which readings; all of the catalogue by default.
    between : callable, optional
        Called before each reading; it may raise to stop (cancelling).

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
    found = {}
    for symbol in wanted:
        between()
        found[symbol] = _read(CATALOGUE[symbol], surface)
    return found


def _read(quantity: Quantity, surface: Surface) -> Reading:
    try:
        with np.errstate(over="ignore", invalid="ignore"):
            outcome = quantity.function(surface)
    except OverflowError:
        outcome = TOO_LARGE
    if outcome.value is not None and not math.isfinite(outcome.value):
        outcome = TOO_LARGE
    return Reading(quantity.symbol, outcome.value, quantity.unit, quantity.clause, note=outcome.note)
