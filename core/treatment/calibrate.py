"""Calibration: heights and pixel sizes times the factors that standards gave, with their uncertainty on record."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from core.errors import TreatmentError
from core.heightmap import Entry, HeightMap, frozen
from core.treatment import check
from core.treatment.frame import Frame, Lattice
from core.treatment.step import Step

FACTORS = (0.5, 2.0)
"""A scale off by more than that is no matter of calibration but of a wrong unit or pixel size."""

MOST_UNCERTAIN = 0.5


@dataclass(frozen=True, kw_only=True)
class Calibrate(Step):
    """Multiply heights and pixel sizes by calibration factors: certified value over measured value.

    Parameters
    ----------
    z, x, y : float, default 1
        Factors of the heights, of the pixel along the rows (x) and from row to row (y); 0.5 to 2.
    u_z, u_x, u_y : float, default 0
        Their relative standard uncertainties (k = 1), 0 to 0.5.
    standard : str, optional
        The standard and its certificate.
    date : str, optional
        When the instrument was calibrated.

    Raises
    ------
    TreatmentError
        If a factor or an uncertainty is out of its range.

    Notes
    -----
    To be the first step: every length in the steps after it then is a calibrated one. Figures in the history:
    ``z_factor``, ``x_factor``, ``y_factor``, and ``u_z_rel``, ``u_x_rel``, ``u_y_rel``, which enter the budget of
    every reading; the factor is common to all scans and does not touch the standing.

    Examples
    --------
    >>> scan = HeightMap([[0.0, 1e-9]], pitch=(1e-8, 1e-8))
    >>> calibrated = Calibrate(z=1.25, x=0.98, u_z=0.01).apply(scan)
    >>> calibrated.z.tolist(), calibrated.pitch, calibrated.history[0].figures["u_z_rel"]
    ([[0.0, 1.25e-09]], (1e-08, 9.8e-09), 0.01)
    """

    do: ClassVar[str] = "calibrate"

    z: float = 1.0
    x: float = 1.0
    y: float = 1.0
    u_z: float = 0.0
    u_x: float = 0.0
    u_y: float = 0.0
    standard: str | None = None
    date: str | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        for name in ("z", "x", "y"):
            object.__setattr__(self, name, check.number(self.do, name, getattr(self, name), *FACTORS))
        for name in ("u_z", "u_x", "u_y"):
            object.__setattr__(self, name, check.number(self.do, name, getattr(self, name), 0.0, MOST_UNCERTAIN))
        for name in ("standard", "date"):
            value = getattr(self, name)
            if value is not None and not isinstance(value, str):
                raise TreatmentError(f"The step “{self.do}” needs “{name}” as text, not {value!r}")

    def apply(self, scan: HeightMap) -> HeightMap:
        """The map with calibrated heights and pixels."""
        figures = {
            "z_factor": self.z,
            "x_factor": self.x,
            "y_factor": self.y,
            "u_z_rel": self.u_z,
            "u_x_rel": self.u_x,
            "u_y_rel": self.u_y,
        }
        removed = f"heights × {self.z:.6g}, pixels × {self.y:.6g} down and × {self.x:.6g} across"
        dy, dx = scan.pitch
        heights = scan.z if self.z == 1 else frozen(scan.z * self.z)
        return scan.logged(Entry(self.parameters(), removed, figures), z=heights, pitch=(dy * self.y, dx * self.x))

    def describe(self) -> str:
        """Such as ``"calibrated (z × 1.03)"``."""
        scaled = [f"{name} × {getattr(self, name):.6g}" for name in ("z", "x", "y") if getattr(self, name) != 1]
        return f"calibrated ({', '.join(scaled) or 'factors 1'})"

    def frame(self, lattice: Lattice) -> Frame:
        """The lattice with calibrated pixels."""
        return Frame(lattice.shape, (lattice.pitch[0] * self.y, lattice.pitch[1] * self.x))
