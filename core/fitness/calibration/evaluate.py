"""A standard evaluated in one call: what was measured, what follows for the scale, and what can be drawn of it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from core.errors import MapError
from core.fitness.calibration.grating import Grating, gratings
from core.fitness.calibration.record import Calibration
from core.fitness.calibration.step_height import StepHeight, StepProfile, step_height, step_profile
from core.heightmap import HeightMap

KINDS = {
    "groove": "groove or ridge",
    "step": "single step",
    "lines": "grating of lines",
    "cross": "grating both ways",
}
"""Standards that can be evaluated."""

EXPANDED = 2.0
"""Coverage factor of a certificate's uncertainty where it states no other one."""


@dataclass(frozen=True, slots=True, eq=False)
class Evaluated:
    """A standard, measured.

    Attributes
    ----------
    kind : str
        One of `KINDS`.
    calibration : Calibration
        The factors with their uncertainties.
    step : StepHeight or None
        For a groove or step.
    profile : StepProfile or None
        What is drawn of it.
    lines : tuple of Grating
        For a grating.
    """

    kind: str
    calibration: Calibration
    step: StepHeight | None = None
    profile: StepProfile | None = None
    lines: tuple[Grating, ...] = ()


def evaluate(
    scan: HeightMap,
    kind: str,
    certified: float,
    expanded: float = 0.0,
    *,
    along: str = "rows",
    standard: str = "",
    date: str = "",
) -> Evaluated:
    """Measure a standard and say what the scale of the instrument has to be multiplied by.

    Parameters
    ----------
    scan : HeightMap
        The standard, not calibrated and not levelled row by row.
    kind : str
        One of `KINDS`.
    certified : float
        Height or pitch by certificate, metres.
    expanded : float, default 0
        Its expanded uncertainty (k = 2), metres.
    along : {"rows", "columns"}, default "rows"
        Which lines of the map cross the step.
    standard, date : str, optional
        For the record.

    Raises
    ------
    MapError
        If the kind is unknown, or the standard is not found on the map.

    Examples
    --------
    >>> import numpy as np
    >>> x = np.arange(300) * 1e-7
    >>> z = np.where(np.abs(x - 1.5e-5) < 4e-6, -97e-9, 0.0) * np.ones((16, 1))
    >>> found = evaluate(HeightMap(z, pitch=(1e-7, 1e-7)), "groove", 100e-9, 1e-9)
    >>> round(found.calibration.z, 4), round(found.calibration.u_z, 4)
    (1.0309, 0.005)
    """
    if kind not in KINDS:
        raise MapError(f"There is no standard of the kind “{kind}”", fix=f"The kinds are: {', '.join(KINDS)}.")
    record = replace(
        Calibration(),
        standard=standard,
        date=date,
        instrument=str(scan.metadata.get("instrument", "")),
        probe=str(scan.metadata.get("probe", "")),
    )
    u = expanded / EXPANDED
    if kind in ("groove", "step"):
        step = step_height(scan, kind=kind, along=along)
        made = record.with_step(step, certified, u)
        return Evaluated(kind, made, step=step, profile=step_profile(scan, step, along=along))
    lines = gratings(scan, certified, count=2 if kind == "cross" else 1)
    return Evaluated(kind, record.with_gratings(lines, certified, u), lines=lines)
