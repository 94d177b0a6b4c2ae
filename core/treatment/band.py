"""The band: waves shorter and longer than stated are taken off, so that two maps show the same waves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Self

import numpy as np

from core.errors import QuantityError, TreatmentError
from core.filters.bandpass import Banded, band_pass
from core.filters.gaussian import cut_margins
from core.heightmap import Entry, HeightMap
from core.treatment import check
from core.treatment.crop import SMALLEST
from core.treatment.extent import exact_length
from core.treatment.frame import Frame, Lattice
from core.treatment.step import Step
from core.units import format_length, parse_length

COMMON = "common"

COMMON_PIXELS = 5
"""Shortest common wavelength in pixels of the coarsest scan. At 3, rough textures of one kind and two pixel sizes still
differ by 3 %, at 5 by less than 1 % (measured for this program)."""

COMMON_SHARE = 1 / 4
"""Longest common wavelength as a share of the smallest side: the bias stays below 0.3 %, and enough is left."""

LEAST_PIXELS = 2
"""A map holds no waves shorter than two of its pixels."""

KINDS = ("gaussian", "robust")


@dataclass(frozen=True, kw_only=True)
class Band(Step):
    """Keep a band of wavelengths: Gaussian low-pass at the shortest, then less the low-pass at the longest.

    Parameters
    ----------
    shortest : str, optional
        S nesting index: a length such as ``"40 nm"``, or ``"common"``: 5 pixels of the coarsest scan on the bench.
        Left out, the short waves stay.
    longest : str, optional
        L nesting index: a length, or ``"common"``: a quarter of the smallest side on the bench. Left out, the long
        waves stay. With both left out, both are common.
    kind : {"gaussian", "robust"}, default "gaussian"
        Robust: the long waves are found by robust Gaussian regression, which bumps and pits do not pull. It needs a
        longest wavelength; the short waves are taken off by the linear filter in either case.

    Raises
    ------
    TreatmentError
        If a value is not one of these, or the shortest wavelength is not the shorter one.

    Notes
    -----
    ISO 16610-61 (areal Gaussian) and -71 (robust regression, here of order 1: see `core.filters.robust`). Level first:
    a tilt is a long wave that the edges of the map feel. From every side half of the longest wavelength is cut off, or
    of the shortest where there is no longest: there the weights reach beyond the map. Missing and masked points have
    weight 0. Masked points keep their heights above the ground, and the short-wave filter leaves them alone; a point
    with more than half of its footprint missing becomes missing. A ``"common"`` that was not resolved on the bench is
    resolved on the map alone.

    Figures in the history: ``shortest_m``, ``longest_m`` (where set), ``removed_rms_m`` (RMS about its mean of all that
    was taken off, over the points that count and are kept), ``removed_short_rms_m``, ``removed_long_rms_m`` (the same
    for each filter), ``points_cut``, ``cut_m``, ``points_lost`` (measured points that became missing),
    ``sparse_fraction`` (share of points whose footprint misses more than 10 %), and for a robust filter ``rounds`` and
    ``converged`` (1 or 0).

    Examples
    --------
    >>> z = 1e-9 * np.random.default_rng(1).standard_normal((100, 100))
    >>> band = Band(shortest="50 nm", longest="200 nm")
    >>> banded = band.apply(HeightMap(z, pitch=(1e-8, 1e-8)))
    >>> banded.shape, band.describe()
    ((80, 80), 'band 50 nm – 200 nm (Gaussian)')
    """

    do: ClassVar[str] = "band"

    shortest: str | None = None
    longest: str | None = None
    kind: str = "gaussian"

    def __post_init__(self) -> None:
        super().__post_init__()
        for name in ("shortest", "longest"):
            if getattr(self, name) == "":  # an emptied field of a form
                object.__setattr__(self, name, None)
        if self.shortest is None and self.longest is None:
            object.__setattr__(self, "shortest", COMMON)
            object.__setattr__(self, "longest", COMMON)
        check.one_of(self.do, "kind", self.kind, KINDS)
        if self.kind == "robust" and self.longest is None:
            raise TreatmentError(
                "A robust band needs “longest”: it is the long waves that bumps disturb",
                fix='Give a longest wavelength, or take kind = "gaussian".',
            )
        short, long = self.limits
        if short is not None and long is not None and short >= long:
            raise TreatmentError(
                f"The band from {self.shortest} to {self.longest} is empty",
                fix="“shortest” must be the shorter wavelength of the two.",
            )

    @property
    def limits(self) -> tuple[float | None, float | None]:
        """Shortest and longest wavelength, metres; None where not set or not yet resolved."""
        return _wavelength(self.shortest, "shortest"), _wavelength(self.longest, "longest")

    @property
    def resolved(self) -> bool:
        """Whether both wavelengths are lengths, or left out."""
        return COMMON not in (self.shortest, self.longest)

    def resolve(self, scans: Sequence[Lattice]) -> Self:
        """The step with ``"common"`` replaced by lengths that all these scans hold.

        Parameters
        ----------
        scans : sequence of HeightMap or Frame
            All scans on the bench. Without any, the step stays as it is.

        Raises
        ------
        TreatmentError
            If nothing is left between the two wavelengths.
        """
        if self.resolved or not scans:
            return self
        short, long = self.limits
        if self.shortest == COMMON:
            short = COMMON_PIXELS * max(max(scan.pitch) for scan in scans)
        if self.longest == COMMON:
            long = COMMON_SHARE * min(min(scan.size) for scan in scans)
        if short is not None and long is not None and short >= long:
            raise TreatmentError(
                f"No band is left between {format_length(short)} and {format_length(long)}; common are waves from "
                f"{COMMON_PIXELS} pixels of the coarsest scan to a quarter of the smallest side",
                fix="Leave the coarsest or the smallest scan out, scan with more points, or state the wavelengths.",
            )
        return replace(self, shortest=_told(short, self.shortest), longest=_told(long, self.longest))

    def frame(self, lattice: Lattice) -> Frame:
        """The lattice less the margins that are cut off."""
        rows, columns = self.resolve([lattice])._margins(lattice)
        return Frame((lattice.shape[0] - 2 * rows, lattice.shape[1] - 2 * columns), lattice.pitch)

    def apply(self, scan: HeightMap) -> HeightMap:
        """The map with the waves of the band, its margins cut off, the mask carried along.

        Raises
        ------
        TreatmentError
            If the band asks for waves that the map does not hold, or nothing would be left.
        """
        step = self.resolve([scan])
        step._margins(scan)  # refuses first: filtering takes a while
        short, long = step.limits
        banded = band_pass(scan, short, long, edges="cut", robust=self.kind == "robust")
        mask = None if scan.mask is None else scan.mask[banded.keep]
        if np.isnan(banded.z).all() or (mask is not None and not (~mask & ~np.isnan(banded.z)).any()):
            raise TreatmentError(
                "No point is left: everywhere too much of the filter's footprint is missing or masked",
                fix="Mask less, or take a shorter longest wavelength.",
            )
        entry = Entry(step.parameters(), step._removed(banded), step._figures(banded, scan))
        return scan.logged(entry, z=banded.z, mask=mask)

    def describe(self) -> str:
        """Such as ``"band 60 nm – 2 µm (Gaussian)"``; one wavelength left out: ``"waves below 2 µm (Gaussian)"``."""
        kind = "Gaussian" if self.kind == "gaussian" else "robust Gaussian"
        short, long = (_shown(value) for value in (self.shortest, self.longest))
        if self.shortest == self.longest == COMMON:
            return f"common band ({kind})"
        if self.longest is None:
            return f"waves above {short} ({kind})"
        return f"waves below {long} ({kind})" if self.shortest is None else f"band {short} – {long} ({kind})"

    def _margins(self, lattice: Lattice) -> tuple[int, int]:
        """Rows and columns that are cut off every side, or a refusal."""
        short, long = self.limits
        if short is not None and short < LEAST_PIXELS * max(lattice.pitch) * (1 - 1e-9):
            pixel, better = (format_length(n * max(lattice.pitch)) for n in (1, COMMON_PIXELS))
            raise TreatmentError(
                f"This map, with pixels of {pixel}, holds no waves as short as {format_length(short)}",
                fix=f"Set “shortest” to {COMMON_PIXELS} pixels, {better}, or leave it out.",
            )
        outer = long if long is not None else short
        rows, columns = cut_margins(lattice.pitch, outer or 0.0)
        if any(n - 2 * m < SMALLEST for n, m in zip(lattice.shape, (rows, columns), strict=True)):
            side = min(lattice.size)
            raise TreatmentError(
                f"Half of {format_length(outer or 0.0)} cut off every side leaves nothing of a map of "
                f"{format_length(side)}",
                fix=f"Set the longest wavelength to a quarter of the side, {format_length(side / 4)}.",
            )
        return rows, columns

    def _removed(self, banded: Banded) -> str:
        parts = []
        if self.shortest is not None:
            parts.append(f"{format_length(banded.short_rms)} RMS of short waves")
        if self.longest is not None:
            parts.append(f"{format_length(banded.long_rms)} RMS of long waves")
        told = f"{' and '.join(parts)}, edges cut by {format_length(self._cut)}"
        return (
            told if banded.converged else f"{told}; the robust search had not come to rest after {banded.rounds} rounds"
        )

    def _figures(self, banded: Banded, scan: HeightMap) -> dict[str, float]:
        short, long = self.limits
        figures = {"removed_rms_m": banded.removed_rms}
        if short is not None:
            figures |= {"shortest_m": short, "removed_short_rms_m": banded.short_rms}
        if long is not None:
            figures |= {"longest_m": long, "removed_long_rms_m": banded.long_rms}
        figures |= {
            "cut_m": self._cut,
            "points_cut": float(scan.z.size - banded.z.size),
            "points_lost": float(banded.lost),
            "sparse_fraction": banded.sparse,
        }
        if self.kind == "robust":
            figures |= {"rounds": float(banded.rounds), "converged": float(banded.converged)}
        return figures

    @property
    def _cut(self) -> float:
        """Width cut off every side, metres."""
        short, long = self.limits
        return (long if long is not None else short or 0.0) / 2


def _wavelength(text: object, name: str) -> float | None:
    """Metres of a parameter; None where it is left out or common."""
    if text is None or text == COMMON:
        return None
    fix = f"Write a length such as 40 nm, or {COMMON}."
    if not isinstance(text, str):
        raise TreatmentError(f"“{name}” needs a wavelength, not {text!r}", fix=fix)
    try:
        metres = parse_length(text)
    except QuantityError as error:
        raise TreatmentError(f"“{name}”: {error.what}", fix=fix) from error
    if not metres > 0:
        raise TreatmentError(f"“{name}” must be longer than 0: “{text}”", fix=fix)
    return metres


def _shown(text: str | None) -> str:
    """A wavelength for captions: ``"40 nm"``, ``"common"``."""
    if text is None or text == COMMON:
        return text or ""
    return format_length(parse_length(text), digits=4)


def _told(metres: float | None, before: str | None) -> str | None:
    """A common wavelength as it stands in the TOML once it is settled; any other as it was."""
    if before != COMMON or metres is None:
        return before
    return exact_length(metres)
