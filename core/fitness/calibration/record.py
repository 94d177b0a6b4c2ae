"""The record of a calibration: factors, uncertainties, and by which standard, instrument and day."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Self

from core.errors import MapError
from core.fitness.calibration.grating import Grating
from core.fitness.calibration.step_height import StepHeight
from core.treatment.calibrate import Calibrate


@dataclass(frozen=True, slots=True)
class Calibration:
    """What calibrates an instrument.

    Attributes
    ----------
    z, x, y : float
        Factors: certified over measured.
    u_z, u_x, u_y : float
        Relative standard uncertainties of the factors (k = 1), that of the certificate included.
    angle : float
        Angle between the scan axes, degrees; 90 is ideal. Told, not corrected.
    certified_step, certified_pitch : float or None
        Certificate values, metres.
    standard, date, instrument, probe : str
        What, when and with what; empty where not recorded.
    """

    z: float = 1.0
    x: float = 1.0
    y: float = 1.0
    u_z: float = 0.0
    u_x: float = 0.0
    u_y: float = 0.0
    angle: float = 90.0
    certified_step: float | None = None
    certified_pitch: float | None = None
    standard: str = ""
    date: str = ""
    instrument: str = ""
    probe: str = ""

    def with_step(self, measured: StepHeight, certified: float, u_certified: float = 0.0) -> Self:
        """The record with the height factor of a step standard.

        Parameters
        ----------
        measured : StepHeight
        certified : float
            Certified height or depth, metres, positive.
        u_certified : float, default 0
            Its standard uncertainty, metres: that of the certificate over its coverage factor.

        Raises
        ------
        MapError
            If the certified height is not positive or nothing was measured.

        Examples
        --------
        >>> found = StepHeight(-97e-9, 0.0, (1e-6, 4e-6), 1e-10, 0.2e-9, 256)
        >>> record = Calibration().with_step(found, 100e-9, 0.5e-9)
        >>> round(record.z, 4), round(record.u_z, 4)
        (1.0309, 0.0054)
        """
        size = abs(measured.height)
        if not (certified > 0 and size > 0):
            raise MapError("A step standard has a height above 0, certified and measured")
        u = math.hypot(u_certified / certified, measured.u / size)
        return replace(self, z=certified / size, u_z=u, certified_step=certified)

    def with_gratings(self, measured: Sequence[Grating], certified: float, u_certified: float = 0.0) -> Self:
        r"""The record with the factors of the pixel sizes.

        One set of lines gives the factor of the axis that it lies nearer to, the other axis taken as right; two sets
        give both, from :math:`(f_x/c_x)^2 + (f_y/c_y)^2 = 1/P^2` for each, and the angle between the axes if the sets
        are at right angles by certificate.

        Parameters
        ----------
        measured : sequence of Grating
            One or two, of one certified pitch.
        certified : float
            Certified pitch P, metres.
        u_certified : float, default 0
            Its standard uncertainty, metres.

        Raises
        ------
        MapError
            If there are other than one or two sets, or they do not determine the factors.
        """
        if len(measured) not in (1, 2) or not certified > 0:
            raise MapError("One or two sets of lines and a positive certified pitch are needed")
        relative = u_certified / certified
        target = 1 / certified**2
        if len(measured) == 1:
            (fy, fx), u = measured[0].frequency, math.hypot(relative, measured[0].u)
            across = abs(fx) >= abs(fy)
            along, other = (fx, fy) if across else (fy, fx)
            left = target - other**2
            if not left > 0:
                raise MapError("The lines lie too far askew for one factor", fix="Turn the grating along an axis.")
            factor = abs(along) / math.sqrt(left)
            if across:
                return replace(self, certified_pitch=certified, x=factor, u_x=u)
            return replace(self, certified_pitch=certified, y=factor, u_y=u)
        (ay, ax), (by, bx) = (one.frequency for one in measured)
        determinant = ax**2 * by**2 - ay**2 * bx**2
        if abs(determinant) < 0.05 * target**2:
            raise MapError("Both sets of lines lie askew to the axes by about 45°", fix="Turn the grating.")
        over_x2 = target * (by**2 - ay**2) / determinant
        over_y2 = target * (ax**2 - bx**2) / determinant
        if not (over_x2 > 0 and over_y2 > 0):
            raise MapError("The two sets of lines contradict each other", fix="Check the certified pitch.")
        x, y = 1 / math.sqrt(over_x2), 1 / math.sqrt(over_y2)
        cosine = (ax * bx / x**2 + ay * by / y**2) / target
        return replace(
            self,
            x=x,
            y=y,
            u_x=math.hypot(relative, measured[0].u),
            u_y=math.hypot(relative, measured[1].u),
            angle=math.degrees(math.acos(max(-1.0, min(1.0, cosine)))),
            certified_pitch=certified,
        )

    @property
    def step(self) -> Calibrate:
        """The treatment step that applies it."""
        return Calibrate(
            z=self.z,
            x=self.x,
            y=self.y,
            u_z=self.u_z,
            u_x=self.u_x,
            u_y=self.u_y,
            standard=self.standard or None,
            date=self.date or None,
        )
