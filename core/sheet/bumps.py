"""Bumps on the sheet: one record and one row for each census, so that all sheets say the same."""

from __future__ import annotations

import math
from typing import Any

from core.fitness.bumps.census import Census
from core.sheet.words import NONE, clean
from core.units import format_length, format_number

HEADS = ("Specimen", "Counted", "Area", "Per 100 µm²", "95 % interval", "At most (95 %)", "Least height")
"""Headings of the table of bumps."""

NOT_COUNTED = "not counted in this comparison"

SQUARE = 1e-10
"""100 µm² in m²."""


def bumps_record(census: Census | None) -> dict[str, Any]:
    """A census as a plain record in SI, ready for JSON.

    Parameters
    ----------
    census : Census or None
        None where nobody counted.

    Returns
    -------
    dict
        ``count``, ``density_per_m2`` with ``low95_per_m2`` and ``high95_per_m2`` (two-sided) and ``upper95_per_m2``
        (one-sided: 3.00/area when nothing was seen), ``area_m2``, ``threshold_m``, ``sigma_m``, ``mean_height_m``,
        ``merging_loss``, ``note``. None where nothing was counted: never zero.
    """
    rate = census.rate if census else None
    return {
        "count": None if census is None else census.count,
        "density_per_m2": rate.value if rate else None,
        "low95_per_m2": rate.low if rate else None,
        "high95_per_m2": rate.high if rate else None,
        "upper95_per_m2": rate.upper if rate else None,
        "area_m2": rate.area if rate else None,
        "threshold_m": census.threshold if census else None,
        "sigma_m": census.sigma if census else None,
        "mean_height_m": census.mean_height if census else None,
        "merging_loss": census.merging if census and rate else None,
        "note": clean(census.note) if census else NOT_COUNTED,
    }


def bumps_row(specimen: str, census: Census | None) -> tuple[str, ...]:
    """One line of the table of bumps, by `HEADS`."""
    if census is None or census.rate is None or census.threshold is None:
        return (clean(specimen), *[NONE] * (len(HEADS) - 1))
    rate = census.rate
    return (
        clean(specimen),
        str(int(rate.count)),
        area_text(rate.area),
        format_number(rate.value * SQUARE),
        f"{format_number(rate.low * SQUARE)} to {format_number(rate.high * SQUARE)}",
        format_number(rate.upper * SQUARE),
        format_length(census.threshold),
    )


def area_text(area: float) -> str:
    """An area in the square of a fitting unit.

    >>> area_text(9.2e-11), area_text(2.5e-5)
    ('92 µm²', '25 mm²')
    """
    for unit, metres in (("m²", 1.0), ("mm²", 1e-3), ("µm²", 1e-6), ("nm²", 1e-9)):
        if math.sqrt(area) >= 0.999 * metres:
            return f"{format_number(area / metres**2)} {unit}"
    return f"{format_number(area / 1e-18)} nm²"
