"""One look at a raw map: what several detectors need is computed once here, and only when asked for."""

from __future__ import annotations

from functools import cached_property

from core.heightmap import FloatArray, HeightMap
from core.polynomials.fit import fit_polynomial


class Look:
    """A raw map with the pieces that detectors share.

    Parameters
    ----------
    raw : HeightMap
        As recorded; ``raw.z`` are the untouched numbers.
    """

    def __init__(self, raw: HeightMap) -> None:
        self.raw = raw

    @cached_property
    def level(self) -> FloatArray:
        """Heights less their least-squares plane, metres; NaN where missing."""
        return fit_polynomial(self.raw, 1).residual
