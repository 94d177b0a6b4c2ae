"""Masking: points that do not belong to the surface are left out of fits and readings; their heights stay."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np

from core.artefacts import MAD_TO_SIGMA, find_plateaus, find_streaks
from core.errors import MapError, QuantityError, TreatmentError
from core.heightmap import BoolArray, Entry, HeightMap
from core.polynomials.fit import fit_polynomial
from core.relief import PARTICLE, PROBE_RADIUS, Eye, find, probe_radius_of
from core.selection import median
from core.treatment import check
from core.treatment.extent import Extent
from core.treatment.step import Step
from core.units import parse_length, percent

ROUNDS = 10


GROW = {"outliers": "2 px", "clipped": "1 px", "streaks": "0 px", "bumps": "1 px"}
"""What can be found and masked, and by how much the mask grows where nothing is said."""

RECTANGLE = ("left", "top", "width", "height")
BY_SIGMA = ("outliers", "bumps")


@dataclass(frozen=True, kw_only=True)
class Mask(Step):
    """Mask what does not belong to the surface: outliers, a saturated range, streaks, bumps, or a rectangle.

    Parameters
    ----------
    what : {"outliers", "clipped", "streaks", "bumps", "rectangle"}, default "outliers"
        ``outliers``: points farther than `k` robust sigma from the median, seen from the plane of all others.
        ``clipped``: points on a plateau at the highest or lowest height; to be done before levelling, which makes an
        incline of a plateau. ``streaks``: runs along scan lines that stand off both neighbouring rows.
        ``bumps``: local features above their surroundings, with their flanks, as the census counts them.
        ``rectangle``: what is known to be bad, such as the first lines or those after a change of the probe.
    k : float, default 5.0
        Distance in robust sigma, 1 to 1000. Of Gaussian heights one in 1.7 million lies beyond 5. Only for outliers
        and bumps.
    grow : str, default "2 px" for outliers, "1 px" for clipped and bumps, "0 px" for streaks
        The mask is grown by a disc of this radius, ``"2 px"`` or a length such as ``"40 nm"``: the flanks of a bump
        belong to it. Not for a rectangle.
    particle : str, default "20 nm" for bumps
        Diameter of the smallest particle that counts as a bump: what is much wider than its image is ground.
    left, top : str, default "0 px"
        Distance of the rectangle from the left and upper edge, ``"20 px"`` or a length such as ``"200 nm"``.
    width, height : str, optional
        Size of the rectangle; by default it reaches to the right and lower edge. What lies beyond the map is left off.

    Raises
    ------
    TreatmentError
        If a value is not one of these.

    Notes
    -----
    *Outliers*: a plane is fitted to the points kept so far, sigma = 1.4826 × median absolute deviation of their
    residuals, and every point with ``|r − median| > k·sigma`` is left out; again, until nothing changes (10 rounds at
    most). Where more than half of the points are equal, sigma is 0 and nothing is masked. *Clipped* and *streaks* are
    found by `core.artefacts`, *bumps* by `core.relief`. A mask that the map has already is added to, never lifted.
    Figures in the history: ``points_masked``, ``fraction`` (of all points); ``sigma_m``, ``rounds`` for outliers;
    ``sigma_m``, ``threshold_m``, ``bumps`` for bumps.

    Examples
    --------
    >>> rng = np.random.default_rng(1)
    >>> z = 1e-10 * rng.standard_normal((64, 64))
    >>> z[30, 30] = 9e-9
    >>> int(Mask(k=6.0, grow="1 px").apply(HeightMap(z, pitch=(1e-8, 1e-8))).masked)
    5
    >>> int(Mask(what="rectangle", height="20 nm").apply(HeightMap(z, pitch=(1e-8, 1e-8))).masked)
    128
    """

    do: ClassVar[str] = "mask"

    what: str = "outliers"
    k: float | None = None
    grow: str | None = None
    particle: str | None = None
    left: str | None = None
    top: str | None = None
    width: str | None = None
    height: str | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        check.one_of(self.do, "what", self.what, (*GROW, "rectangle"))
        put = object.__setattr__
        if self.what in BY_SIGMA:
            put(self, "k", check.number(self.do, "k", 5.0 if self.k is None else self.k, 1, 1000))
        else:
            check.unused(self.do, "k", self.k, 'what = "outliers" or "bumps"')
        if self.what == "bumps":
            put(self, "particle", "20 nm" if self.particle is None else self.particle)
            _particle(self.particle)
        else:
            check.unused(self.do, "particle", self.particle, 'what = "bumps"')
        if self.what == "rectangle":
            check.unused(self.do, "grow", self.grow, "what is found, not with a rectangle")
            put(self, "left", "0 px" if self.left is None else self.left)
            put(self, "top", "0 px" if self.top is None else self.top)
            for name in RECTANGLE:
                if getattr(self, name) is not None:
                    Extent.parse(getattr(self, name), name)
            return
        put(self, "grow", GROW[self.what] if self.grow is None else self.grow)
        Extent.parse(self.grow, "grow")
        for name in RECTANGLE:
            check.unused(self.do, name, getattr(self, name), 'what = "rectangle"')

    def apply(self, scan: HeightMap) -> HeightMap:
        """The map with a larger mask.

        Raises
        ------
        TreatmentError
            If the points that count determine no plane, or none would be left.
        """
        search = self._search(scan)
        found = search.found
        if self.grow is not None:
            radius = Extent.parse(self.grow, "grow")
            found = grown(found, radius.pixels(scan.pitch[0]), radius.pixels(scan.pitch[1]))
        left_out = scan.with_(mask=found if scan.mask is None else found | scan.mask)
        if left_out.masked + left_out.missing == scan.z.size:
            raise TreatmentError("The mask would leave no point", fix=_SMALLER[self.what])
        added = left_out.masked - scan.masked
        figures = {"points_masked": float(added), "fraction": added / scan.z.size, **search.figures}
        removed = search.nothing or f"{added} points masked ({percent(added / scan.z.size, 2)})"
        return left_out.logged(Entry(self.parameters(), removed, figures))

    def _search(self, scan: HeightMap) -> _Search:
        if self.what == "outliers":
            return _outliers(scan, 5.0 if self.k is None else self.k)
        if self.what == "clipped":
            return _clipped(scan)
        if self.what == "streaks":
            return _streaks(scan)
        if self.what == "bumps":
            return _bumps(scan, 5.0 if self.k is None else self.k, _particle(self.particle))
        return _Search(self._rectangle(scan))

    def _rectangle(self, scan: HeightMap) -> BoolArray:
        found = np.zeros(scan.shape, bool)
        rows, columns = self._span("top", "height", scan, 0), self._span("left", "width", scan, 1)
        found[rows, columns] = True
        return found

    def _span(self, start: str, length: str, scan: HeightMap, axis: int) -> slice:
        points, pitch = scan.shape[axis], scan.pitch[axis]
        begin = min(points, round(Extent.parse(getattr(self, start), start).pixels(pitch)))
        wanted = getattr(self, length)
        if wanted is None:
            return slice(begin, points)
        return slice(begin, min(points, begin + round(Extent.parse(wanted, length).pixels(pitch))))

    def describe(self) -> str:
        """Such as ``"outliers masked (5 σ, grown 2 px)"`` or ``"streaks masked"``."""
        if self.what == "rectangle":
            size = f"{self.width or 'full width'} × {self.height or 'full height'}"
            return f"rectangle masked ({size} at {self.left}, {self.top})"
        grown_by = f"grown {self.grow}"
        if self.what == "outliers":
            return f"outliers masked ({self.k:g} σ, {grown_by})"
        if self.what == "bumps":
            return f"bumps masked ({self.k:g} σ, particles from {self.particle}, {grown_by})"
        said = {"clipped": "clipped points masked", "streaks": "streaks masked"}[self.what]
        return said if Extent.parse(self.grow, "grow").amount == 0 else f"{said} ({grown_by})"


_SMALLER = {
    "outliers": "Raise k or let the mask grow less.",
    "clipped": "Let the mask grow less.",
    "streaks": "Let the mask grow less.",
    "bumps": "Raise k or let the mask grow less.",
    "rectangle": "Make the rectangle smaller.",
}


@dataclass(frozen=True, slots=True)
class _Search:
    """Points to mask, what the history keeps of the search, and the sentence where nothing can be found."""

    found: BoolArray = field(repr=False)
    figures: Mapping[str, float] = field(default_factory=dict)
    nothing: str = ""


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
        figures = {"sigma_m": sigma, "rounds": float(rounds)}
        if sigma == 0:
            none = "nothing masked: more than half of the points are equal, so there is no robust sigma"
            return _Search(np.zeros(scan.shape, bool), figures, none)
        with np.errstate(invalid="ignore"):  # missing points are NaN and never outliers
            now = (np.abs(residual - middle) > k * sigma) & used
        if np.array_equal(now, found):
            break
        found = now
    return _Search(found, figures)


def _clipped(scan: HeightMap) -> _Search:
    """Points on a plateau at an end of the range."""
    found = np.zeros(scan.shape, bool)
    for plateau in find_plateaus(scan.z):
        found |= plateau.holds(scan.z)
    none = "" if found.any() else "nothing masked: no plateau at either end of the range (levelling hides one)"
    return _Search(found, nothing=none)


def _streaks(scan: HeightMap) -> _Search:
    """Runs along scan lines, seen from the plane; points that are masked already are no neighbours."""
    level = fit_polynomial(scan, 1).residual
    found = find_streaks(level if scan.mask is None else np.where(scan.used, level, np.nan)).found
    return _Search(found, nothing="" if found.any() else "nothing masked: no streaks")


def _bumps(scan: HeightMap, k: float, particle: float) -> _Search:
    """Bumps and their flanks, seen from the plane, so that a tilt does not hide which way is up."""
    level = scan.with_(z=fit_polynomial(scan, 1).residual)
    try:
        found = find(level, Eye.of(particle, probe_radius_of(scan) or PROBE_RADIUS, scan.pitch), k=k)
    except MapError as error:
        raise TreatmentError(error.what, fix=error.fix) from error
    figures = {"sigma_m": found.sigma, "threshold_m": found.threshold, "bumps": float(len(found.bodies))}
    return _Search(found.mask() & scan.used, figures, "" if len(found.bodies) else "nothing masked: no bumps")


def _particle(text: str | None) -> float:
    """Metres of the particle's diameter."""
    try:
        diameter = PARTICLE if text is None else parse_length(text)
    except QuantityError as error:
        raise TreatmentError(f"“particle” is a length, not “{text}”", fix="Write such as 20 nm.") from error
    if diameter <= 0:
        raise TreatmentError(f"“particle” is a positive length, not “{text}”", fix="Write such as 20 nm.")
    return diameter


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
