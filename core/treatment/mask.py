"""Masking: points that do not belong to the surface are left out of fits and readings; their heights stay."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from core.errors import TreatmentError
from core.heightmap import BoolArray, Entry, HeightMap
from core.polynomials.fit import fit_polynomial
from core.selection import median
from core.treatment import check
from core.treatment.extent import Extent
from core.treatment.step import Step

ROUNDS = 10
MAD_TO_SIGMA = 1.482602218505602  # 1 / Φ⁻¹(3/4): the median absolute deviation of a Gaussian, made its sigma


@dataclass(frozen=True, kw_only=True)
class Mask(Step):
    """Mask outliers: points farther than k robust sigma from the median, seen from the plane of all others.

    Parameters
    ----------
    what : {"outliers"}, default "outliers"
        What is masked.
    k : float, default 5.0
        Distance in robust sigma, 1 to 1000. Of Gaussian heights one in 1.7 million lies beyond 5.
    grow : str, default "2 px"
        The mask is grown by a disc of this radius, ``"2 px"`` or a length such as ``"40 nm"``: the flanks of a bump
        belong to it.

    Raises
    ------
    TreatmentError
        If a value is not one of these.

    Notes
    -----
    A plane is fitted to the points kept so far, sigma = 1.4826 × median absolute deviation of their residuals, and
    every point with ``|r − median| > k·sigma`` is left out; again, until nothing changes (10 rounds at most). A mask
    that the map has already is added to, never lifted. Where more than half of the points are equal, sigma is 0 and
    nothing is masked. Figures in the history: ``points_masked``, ``fraction`` (of all points), ``sigma_m``, ``rounds``.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> z = 1e-10 * rng.standard_normal((64, 64))
    >>> z[30, 30] = 9e-9
    >>> int(Mask(k=6.0, grow="1 px").apply(HeightMap(z, pitch=(1e-8, 1e-8))).masked)
    5
    """

    do: ClassVar[str] = "mask"

    what: str = "outliers"
    k: float = 5.0
    grow: str = "2 px"

    def __post_init__(self) -> None:
        super().__post_init__()
        check.one_of(self.do, "what", self.what, ("outliers",))
        object.__setattr__(self, "k", check.number(self.do, "k", self.k, 1, 1000))
        Extent.parse(self.grow, "grow")

    def apply(self, scan: HeightMap) -> HeightMap:
        """The map with a larger mask.

        Raises
        ------
        TreatmentError
            If the points that count determine no plane, or none would be left.
        """
        search = _outliers(scan, self.k)
        radius = Extent.parse(self.grow, "grow")
        found = grown(search.found, radius.pixels(scan.pitch[0]), radius.pixels(scan.pitch[1]))
        mask = found if scan.mask is None else found | scan.mask
        left_out = scan.with_(mask=mask)
        if left_out.masked + left_out.missing == scan.z.size:
            raise TreatmentError("The mask would leave no point", fix="Raise k or let the mask grow less.")
        added = left_out.masked - scan.masked
        figures = {
            "points_masked": float(added),
            "fraction": added / scan.z.size,
            "sigma_m": search.sigma,
            "rounds": float(search.rounds),
        }
        removed = f"{added} points masked ({added / scan.z.size:.2%})"
        if search.sigma == 0:
            removed = "nothing masked: more than half of the points are equal, so there is no robust sigma"
        return left_out.logged(Entry(self.parameters(), removed, figures))

    def describe(self) -> str:
        """Such as ``"outliers masked (5 σ, grown 2 px)"``."""
        return f"outliers masked ({self.k:g} σ, grown {self.grow})"


@dataclass(frozen=True, slots=True)
class _Search:
    found: BoolArray = field(repr=False)
    sigma: float
    rounds: int


def _outliers(scan: HeightMap, k: float) -> _Search:
    """Points beyond k robust sigma. Every round judges all points anew, so none is lost to a bad first plane."""
    used = scan.used
    found = np.zeros(scan.shape, bool)
    for rounds in range(1, ROUNDS + 1):
        keep = used & ~found
        residual = fit_polynomial(scan.with_(mask=~keep), 1).residual
        kept = residual[keep]
        middle = median(kept)
        sigma = MAD_TO_SIGMA * median(np.abs(kept - middle))
        if sigma == 0:
            return _Search(np.zeros(scan.shape, bool), 0.0, rounds)
        with np.errstate(invalid="ignore"):  # missing points are NaN and never outliers
            now = (np.abs(residual - middle) > k * sigma) & used
        if np.array_equal(now, found):
            break
        found = now
    return _Search(found, sigma, rounds)


def grown(mask: BoolArray, down: float, across: float) -> BoolArray:
    """The mask grown by an ellipse with these semi-axes in pixels: a disc on the specimen, whatever the pixels' shape.

    A row of the ellipse is a run of points, so the mask is widened by each run's half-width and shifted to its row.

    Parameters
    ----------
    mask : ndarray of bool, shape (ny, nx)
        True where left out.
    down, across : float
        Semi-axes in pixels.

    Returns
    -------
    ndarray of bool, shape (ny, nx)
    """
    out = mask.copy()
    rows = min(math.floor(down + 1e-9), len(mask) - 1)
    if not mask.any():
        return out
    for shift in range(rows + 1):
        share = 1 - (shift / down) ** 2 if shift else 1.0
        wide = _widened(mask, math.floor(across * math.sqrt(max(share, 0.0)) + 1e-9))
        out[shift:] |= wide[: len(mask) - shift]
        out[: len(mask) - shift] |= wide[shift:]
    return out


def _widened(mask: BoolArray, half: int) -> BoolArray:
    """The mask with every point spread over `half` points to either side, by doubling."""
    wide = mask.copy()
    reach = 0
    while reach < half:
        by = min(reach + 1, half - reach, mask.shape[1] - 1)
        if by <= 0:
            break
        before = wide.copy()
        wide[:, by:] |= before[:, :-by]
        wide[:, :-by] |= before[:, by:]
        reach += by
    return wide
