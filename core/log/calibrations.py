"""What a calibration adds to the log: one entry for each factor that a standard gave."""

from __future__ import annotations

from core.fitness.calibration import Calibration
from core.heightmap import HeightMap
from core.log.entry import LogEntry

COVERAGE = 1.959963984540054  # Φ⁻¹(0.975)


def entries_of_calibration(made: Calibration, scan: HeightMap, at: str) -> list[LogEntry]:
    """The factors of a calibration as entries.

    Parameters
    ----------
    made : Calibration
        Heights are entered if a step was certified, an axis of the pixels if its factor has an uncertainty or is not 1.
    scan : HeightMap
        The scan of the standard: it says the file, and instrument and probe where the calibration does not.
    at : str
        Date, ISO 8601, for a calibration that has none.

    Returns
    -------
    list of LogEntry
        Kind ``"calibration"``, symbols such as ``"z factor"``, 95 % intervals.

    Raises
    ------
    LogError
        If the date cannot be read.

    Examples
    --------
    >>> scan = HeightMap([[0.0, 1e-9]], pitch=(1e-8, 1e-8), name="groove")
    >>> [day] = entries_of_calibration(Calibration(z=1.03, u_z=0.005, certified_step=1e-7), scan, "2024-05-31")
    >>> day.symbol, day.subject, round(day.low, 3), round(day.high, 3)
    ('z factor', 'groove', 1.02, 1.04)
    """
    told = {
        "z": (made.z, made.u_z, made.certified_step is not None),
        "x": (made.x, made.u_x, made.u_x > 0 or made.x != 1),
        "y": (made.y, made.u_y, made.u_y > 0 or made.y != 1),
    }
    return [
        LogEntry(
            at=made.date or at,
            kind="calibration",
            subject=made.standard or scan.name,
            symbol=f"{axis} factor",
            value=factor,
            unit="1",
            low=factor * (1 - COVERAGE * u),
            high=factor * (1 + COVERAGE * u),
            n=1,
            instrument=made.instrument or str(scan.metadata.get("instrument", "")),
            probe=made.probe or str(scan.metadata.get("probe", "")),
            sha256=scan.source.sha256 or "",
        )
        for axis, (factor, u, wanted) in told.items()
        if wanted
    ]
