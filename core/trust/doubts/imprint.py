"""What detectors that compare maps need of each: small, so that no map is looked at twice or kept for it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Self

from core.heightmap import FloatArray
from core.trust.doubts.echo import Echo, echo_of
from core.trust.doubts.legendre import legendre_terms
from core.trust.doubts.look import Look


@dataclass(frozen=True, slots=True, eq=False)
class Imprint:
    """One scan, as far as scanner bow and double tips across specimens show in it.

    Attributes
    ----------
    name : str
        Of the scan.
    shape : (int, int)
        Rows and columns.
    pitch, size : (float, float)
        Down and across, metres.
    rough : float
        RMS of the levelled map without its outliers, metres.
    blank : bool
        Whether the map has no relief at all.
    terms : ndarray, shape (6, 6)
        Mean products with orthonormal polynomials of degree 0 to 5 down and across, metres.
    echo : Echo or None
        At which shifts the map repeats itself; None where its texture cannot show it.
    """

    name: str
    shape: tuple[int, int]
    pitch: tuple[float, float]
    size: tuple[float, float]
    rough: float
    blank: bool
    terms: FloatArray = field(repr=False)
    echo: Echo | None = field(repr=False)

    @classmethod
    def of(cls, look: Look) -> Self:
        """The imprint of a map that is looked at."""
        raw = look.raw
        return cls(
            name=raw.name,
            shape=raw.shape,
            pitch=raw.pitch,
            size=raw.size,
            rough=look.rough,
            blank=look.blank,
            terms=legendre_terms(look.clipped),
            echo=None if look.obstacle else echo_of(look),
        )
