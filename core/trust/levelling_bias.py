"""The levelling-bias meter: what share of the texture each levelling step took off. Reported, never corrected.

The autocorrelation of the levelled map is looked up in `core.trust.levelling_model`. Correcting by it would double or
triple the scatter of a reading where the bias matters (simulated for this program), so it stays a warning.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from core.errors import TreatmentError
from core.heightmap import EMPTY, Entry, FloatArray, HeightMap
from core.polynomials.basis import orthonormal
from core.treatment.frame import Frame, Lattice
from core.treatment.recipe import STEPS
from core.trust.levelling_model import EXPONENTIAL, Found, Removed, decay_length, look_up

Level = Literal["green", "amber", "red"]

AMBER, RED = 0.05, 0.15
"""Loss of Sq above which a step is doubted (a proposal of the methods measured for this program, no other source)."""

BAND_SHARE = 1 / 4
BANDED_LOSS = {1: 0.003, 2: 0.005, 3: 0.005, 4: 0.03, 5: 0.03}
"""Most that a surface of this degree takes off the waves of a band up to a quarter of the side: the long waves that it
followed would have been taken off anyhow. Simulated for this program on Gaussian, exponential and self-affine textures
with a roll-off up to the side itself."""

BANDED_SHARE = 0.6
"""What a step before a band took off the waves of the band, over what the table says of the banded map. Between 0.3 and
0.75 for row steps on the same textures: the table knows only textures that decay without a dip."""

MEDIAN_SHARE = {"gaussian": 0.82, "exponential": 0.91}
"""A row's median follows the texture less than its mean, by 2 − ∫ asin ρ / ∫ ρ: closed forms for the two decays."""

FEW_LENGTHS = 6.0
"""Texture lengths in a side below which the meter reads low."""

LINES = 128
"""Rows, and columns, that are looked at: more tell little more, for neighbours are alike."""

SCATTER = {"gaussian": 1.35, "exponential": 3.2}
"""Relative scatter of the loss found, over T/L: 13 and 33 % at T/L = 1/10 (simulated for this program)."""


@dataclass(frozen=True, slots=True)
class Loss:
    """What one levelling step took off the texture.

    Attributes
    ----------
    step : int
        Number of the step among those that were carried out, from 0.
    what : str
        Such as ``"plane"``, ``"row offsets"``.
    share : float
        Share of Sq that it took off, 0 to 1.
    low, high : float
        Ends of its 95 % interval.
    level : {"green", "amber", "red"}
        By the thresholds of 5 and 15 %.
    at_least : bool
        Whether the texture is so long that the true loss may be much greater.
    check : float
        The same share from the strength of the next higher degrees, which reads low on long texture; NaN where the
        points do not allow it.
    banded : bool
        Whether the share is of the waves of a band that was set behind the step.
    """

    step: int
    what: str
    share: float
    low: float
    high: float
    level: Level
    at_least: bool
    check: float
    banded: bool = False

    @property
    def effect(self) -> str:
        """The loss in words without the step: ``"took off 1.0 % of Sq (0.0 to 2.0 %)"``."""
        told = _percent(self.share)
        if self.at_least:
            return f"took off at least {told} % of Sq: the texture is nearly as long as the scan"
        of = "Sq in the band" if self.banded else "Sq"
        if self.high == self.share:
            return f"took off at most {told} % of {of}"
        return f"took off {told} % of {of} ({_percent(self.low)} to {_percent(self.high)} %)"

    @property
    def figures(self) -> dict[str, float]:
        """The loss as figures for the history of a map."""
        return {
            "levelling_loss": self.share,
            "levelling_loss_low": self.low,
            "levelling_loss_high": self.high,
            "levelling_loss_at_least": float(self.at_least),
        }

    @property
    def sentence(self) -> str:
        """The loss in words.

        >>> Loss(0, "plane", 0.01, 0.0, 0.02, "green", False, 0.01).sentence
        'plane took off 1.0 % of Sq (0.0 to 2.0 %)'
        >>> Loss(0, "plane", 0.2, 0.1, 0.4, "red", True, 0.1).sentence
        'plane took off at least 20 % of Sq: the texture is nearly as long as the scan'
        >>> Loss(0, "plane", 0.003, 0.0, 0.003, "green", False, math.nan, banded=True).sentence
        'plane took off at most 0.3 % of Sq in the band'
        """
        return f"{self.what} {self.effect}"


def noted(treated: HeightMap, found: Iterable[Loss], *, before: int = 0) -> HeightMap:
    """The treated map whose history tells the losses too; the heights are shared.

    Parameters
    ----------
    treated : HeightMap
        After the treatment.
    found : iterable of Loss
        Of its steps.
    before : int, default 0
        Entries of the history that are older than the treatment.
    """
    history = list(treated.history)
    for loss in found:
        entry = history[before + loss.step]
        history[before + loss.step] = replace(
            entry, removed=f"{entry.removed}; {loss.effect}", figures={**entry.figures, **loss.figures}
        )
    return treated.with_(history=tuple(history))


def losses(raw: Lattice, treated: HeightMap, steps: Iterable[Entry] | None = None) -> tuple[Loss, ...]:
    """What each levelling step took off a map.

    Parameters
    ----------
    raw : HeightMap or Frame
        The map as recorded; only shape, pitch and size are looked at.
    treated : HeightMap
        After the treatment. Masked and missing points do not count.
    steps : iterable of Entry, optional
        What was done in between; by default the whole history of `treated`.

    Returns
    -------
    tuple of Loss
        One for each ``level`` and ``rows`` step, in order; empty where nothing counts or all heights are equal. Of two
        steps that take off the same terms the second one lost nothing.

    Examples
    --------
    >>> from core.synthetic import gaussian_texture
    >>> from core.treatment import Treatment
    >>> z = gaussian_texture((128, 128), (1e-8, 1e-8), sq=1e-9, length=6.4e-8, rng=np.random.default_rng(1))
    >>> scan = HeightMap(z, pitch=(1e-8, 1e-8))
    >>> steps = Treatment.from_list([{"do": "level"}, {"do": "rows", "remove": "polynomial", "degree": 1}])
    >>> plane, rows = losses(scan, steps.apply(scan))
    >>> 0.005 < plane.share < 0.02, 0.06 < rows.share < 0.09, rows.level
    (True, True, 'amber')
    """
    done = _done(raw, treated.history if steps is None else steps)
    if not done:
        return ()
    seen = _Seen.of(treated)
    if seen is None:
        return ()
    found = []
    before = Removed()
    by_rows = any(step.removed.along >= 0 for _, step in done)
    for number, step in done:
        surface = step.removed.along < 0
        check = math.nan if surface and by_rows else min(1.0, _check(step.removed, seen))
        found.append(_loss(number, step, before, before.joined(step.removed), seen, check))
        before = before.joined(step.removed)
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Done:
    """A levelling step that was carried out, on which lattice, and the longest wave that a band left behind it."""

    what: str
    removed: Removed
    frame: Frame
    median: bool = False
    longest: float | None = None


def _done(raw: Lattice, steps: Iterable[Entry]) -> list[tuple[int, _Done]]:
    frame = Frame(raw.shape, raw.pitch)
    found: list[tuple[int, _Done]] = []
    longest: list[tuple[int, float]] = []
    for number, entry in enumerate(steps):
        removed = _removed(entry.step)
        if removed is not None:
            found.append((number, _Done(_what(entry.step), removed, frame, _by_median(entry.step))))
        elif entry.step.get("do") in STEPS:
            frame = _after(entry.step, frame)
            if "longest_m" in entry.figures:
                longest.append((number, entry.figures["longest_m"]))
    return [
        (n, replace(step, longest=min((wave for at, wave in longest if at > n), default=None))) for n, step in found
    ]


def _after(step: Mapping[str, Any], frame: Frame) -> Frame:
    """The lattice after a step; as it was where the history does not say enough to know."""
    try:
        return STEPS[step["do"]].from_parameters({k: v for k, v in step.items() if k != "do"}).frame(frame)
    except TreatmentError:
        return frame


def _removed(step: Mapping[str, Any] = EMPTY) -> Removed | None:
    degree = int(step.get("degree") or 1)
    if step.get("do") == "level" and step.get("form", "plane") in ("plane", "polynomial"):
        return Removed(surface=degree)
    if step.get("do") == "rows":
        return Removed(along=degree if step.get("remove") == "polynomial" else 0)
    return None


def _by_median(step: Mapping[str, Any]) -> bool:
    return step.get("do") == "rows" and step.get("remove") != "polynomial"


def _what(step: Mapping[str, Any]) -> str:
    if step.get("do") == "level":
        return "plane" if step.get("form", "plane") == "plane" else f"polynomial of degree {step['degree']}"
    return "row offsets" if step.get("remove") != "polynomial" else f"row polynomials of degree {step['degree']}"


@dataclass(frozen=True, slots=True, eq=False)
class _Seen:
    """What a treated map shows: 1/e lengths (metres; infinite where the likeness never falls so far) and shapes across
    and down, and shares of Sq² in the polynomials of each order."""

    across: tuple[float, float]
    down: tuple[float, float]
    by_row: FloatArray
    by_surface: FloatArray

    @classmethod
    def of(cls, treated: HeightMap) -> _Seen | None:
        rows, columns = _lines(treated, 0), _lines(treated, 1)
        square = float(np.nanmean(np.square(rows))) if rows.size else 0.0
        if not square > 0 or min(treated.shape) < 8:
            return None
        by_row, by_surface = _next_orders(rows)
        return cls(
            _decay(rows, treated.pitch[1]), _decay(columns, treated.pitch[0]), by_row / square, by_surface / square
        )


def _lines(scan: HeightMap, axis: int) -> FloatArray:
    """Evenly spread rows (axis 0) or columns (axis 1), about the mean of all, NaN where a point does not count."""
    count = scan.shape[axis]
    which = np.unique(np.linspace(0, count - 1, min(count, LINES)).astype(int))
    lines = scan.z[which] if axis == 0 else scan.z.T[which]
    if scan.mask is not None:
        lines = np.where(scan.mask[which] if axis == 0 else scan.mask.T[which], np.nan, lines)
    if not np.isfinite(lines).any():
        return np.empty((0, 0))
    return np.asarray(lines - np.nanmean(lines))


def _decay(lines: FloatArray, step: float) -> tuple[float, float]:
    """1/e length, metres, and shape of the autocorrelation along lines, lags up to half of them."""
    from scipy import fft

    n = lines.shape[1]
    size = fft.next_fast_len(n + n // 2, real=True)
    counts = np.isfinite(lines)

    def products(values: FloatArray) -> FloatArray:
        power = np.square(np.abs(fft.rfft(values, size, axis=1))).sum(axis=0)
        return np.asarray(fft.irfft(power, size)[: n // 2])

    sums = products(np.where(counts, lines, 0.0))
    if counts.all():
        pairs = lines.shape[0] * (n - np.arange(n // 2, dtype=np.float64))
    else:
        pairs = np.maximum(np.rint(products(counts.astype(np.float64))), 1.0)
    correlation = sums / pairs
    if not correlation[0] > 0:
        return math.inf, EXPONENTIAL
    length, shape = decay_length(step * np.arange(n // 2), correlation / correlation[0])
    return (math.inf, EXPONENTIAL) if math.isnan(length) else (length, shape)


def _next_orders(rows: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Mean square of the polynomials along each row by order, and of the terms of a surface by total degree.

    Points that do not count stand at the mean: good enough for a check.
    """
    filled = np.where(np.isfinite(rows), rows, 0.0)
    along = min(7, filled.shape[1] - 1, filled.shape[0] - 1)
    across, down = orthonormal(filled.shape[1], along), orthonormal(filled.shape[0], along)
    by_row = filled @ across / filled.shape[1]
    surface = np.square(down.T @ by_row / filled.shape[0])
    orders = np.add.outer(np.arange(along + 1), np.arange(along + 1))
    mean = np.array([surface[orders == order].mean() for order in range(along + 1)])
    return np.square(by_row).mean(axis=0), mean


def _loss(number: int, step: _Done, before: Removed, after: Removed, seen: _Seen, check: float) -> Loss:
    """Loss of the step: of all that is off now, less what was off before."""
    surface = step.removed.surface
    if step.longest is not None and surface > 0 and step.longest <= BAND_SHARE * min(step.frame.size) * (1 + 1e-9):
        most = BANDED_LOSS[surface]
        return Loss(number, step.what, most, 0.0, most, _level(most), False, math.nan, banded=True)
    found = [_looked_up(off, seen, step.frame) for off in (before, after)]
    kept = [math.sqrt(max(0.0, 1 - float(np.mean([one.loss for one in side] or [0.0])))) for side in found]
    share = max(0.0, 1 - kept[1] / kept[0]) if kept[0] > 0 else 1.0
    if step.median:
        share *= float(np.mean([_between(MEDIAN_SHARE, one.gaussian) for one in found[1]]))
    if step.longest is not None:
        part = BANDED_SHARE * share
        return Loss(number, step.what, part, part / 3, share, _level(part), False, check, banded=True)
    spread = math.exp(1.96 * max(one.length * _between(SCATTER, one.gaussian) for one in found[1]))
    low, high = share / spread, min(1.0, share * spread)
    if surface > 0 and share > 0 and check > 0:  # few terms: one meter reads high, the other low
        share = math.sqrt(share * check)
    if share > 0 and not math.isnan(check):  # textures of neither decay: the two meters leave their difference open
        low, high = min(low, check), max(high, check)
    at_least = any(one.beyond or one.length * FEW_LENGTHS > 1 for one in found[1])
    return Loss(number, step.what, share, low, high, _level(share), at_least, check)


def _level(share: float) -> Level:
    return "red" if share > RED else "amber" if share > AMBER else "green"


def _between(values: Mapping[str, float], gaussian: float) -> float:
    return gaussian * values["gaussian"] + (1 - gaussian) * values["exponential"]


def _looked_up(off: Removed, seen: _Seen, frame: Frame) -> list[Found]:
    """The table's answer from the rows, and where no row was levelled also from the columns."""
    if off.degree < 0:
        return []
    high, wide = frame.size
    across = seen.across[0] / wide, seen.across[1]
    if off.along >= 0:  # what differs from row to row is no texture: nothing is learnt from the columns
        return [look_up(off, *across, aspect=wide / high)]
    down = seen.down[0] / high, seen.down[1]
    ratio = down[0] / across[0] if math.isfinite(down[0]) and math.isfinite(across[0]) else wide / high
    ratio = min(8.0, max(1 / 8, ratio))
    return [look_up(off, *across, aspect=ratio), look_up(off, *down, aspect=1 / ratio)]


def _check(removed: Removed, seen: _Seen) -> float:
    """Terms taken off times the mean strength of those of the next two degrees."""
    along = removed.along >= 0
    strength = (seen.by_row if along else seen.by_surface)[removed.degree + 1 : removed.degree + 3]
    if not strength.size:
        return math.nan
    square = removed.terms * float(strength.mean())
    return 1 - math.sqrt(1 / (1 + square))


def _percent(share: float) -> str:
    return f"{100 * share:.1f}" if share < 0.0995 else f"{100 * share:.0f}"
