"""Comparability: may two readings stand side by side?

Roughness grows with the window: over a ratio r of two sides, a self-affine surface of Hurst exponent H changes its Sq
by about r^H (H up to 0.8 on polished surfaces), and a coarser pixel loses the short waves. So 1 % of difference in
side or pixel costs under 1 %, 10 % costs up to 8 %, about the interval of three spots; beyond that the two numbers
answer different questions. What is not recorded (the probe, the noise floor, what levelling took) is named as such and
never counted as alike.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from core.heightmap import EMPTY
from core.trust.conditions import Conditions, Span
from core.trust.doubts import MISSING_AMBER, MISSING_RED, Doubt
from core.units import format_length

Level = Literal["green", "amber", "red"]
SEVERITY: dict[Level, int] = {"green": 0, "amber": 1, "red": 2}

AMBER_RATIO, RED_RATIO = 1.01, 1.10

EXTREMES = frozenset({"Sp", "Sv", "Sz", "FLTt", "FLTp", "FLTv"})
"""Readings of extreme points. They grow with the area however the waves are filtered: of white noise, Sz by 7 % for
each doubling of the side (methods measured for this program)."""

EXTREME_AMBER, EXTREME_RED = 1.10, 2.0
"""Ratios of sides for those, in a common band."""

BAND_PIXELS = 5
BAND_SHARE = 1 / 4
"""A band from five pixels of the coarsest scan to a quarter of the smallest side makes two scans of one texture agree
within their intervals, whatever their pixels and sides (92-94 % of pairs, simulated for this program on three
textures)."""

MASK_AMBER, MASK_RED = 0.01, 0.10
"""Differences of the masked shares (common practice, no source)."""

NOISY = 0.5
"""Noise over reading above which a correction needs care; two readings on different sides of it do."""

HALF_SHARE = 0.05
"""Where no interval is known: the difference of levelling or probe loss that counts (proposal of the methods measured
for this program)."""

BAND_CURE = "Add the step band with both wavelengths common."
CROP_CURE = 'Add the step crop with to = "common", behind the band if there is one.'
CURES = {
    "area": "Or crop all scans to {side}, or scan all at one size.",
    "pixel": "Or scan all specimens with one pixel size.",
    "levelling": "Take the lowest levelling that works for all, on larger scans, from files not levelled before.",
    "mask": "Look at what the masks leave out; scan cleaner spots.",
    "tip": "Scan both with the same probe; a sharper one takes less.",
    "noise": "Scan the noisier one again, slower or with a fresh probe, and take the noise off both.",
    "missing": "Scan again where no points are lost.",
}
UNRECORDED = {"tip": "probe radius", "noise": "noise floor", "levelling": "levelling loss"}
"""What the codes of `Pair.unknown` mean in words."""

Limits = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class Pair:
    """The verdict on one pair of specimens or scans.

    Attributes
    ----------
    first, second : str
        The specimens or scans.
    level : {"green", "amber", "red"}
        Comparable, with care, or not.
    reasons : tuple of str
        Short codes: ``"band"``, ``"pixel"``, ``"area"``, ``"levelling"``, ``"mask"``, ``"tip"``, ``"noise"``,
        ``"missing"``.
    cure : str
        The steps that make them comparable; empty when green.
    unknown : tuple of str
        Codes that nothing was recorded about, so that nothing can be said.
    """

    first: str
    second: str
    level: Level
    reasons: tuple[str, ...] = ()
    cure: str = ""
    unknown: tuple[str, ...] = ()


def pairs(
    groups: Mapping[str, Sequence[Conditions]],
    *,
    band: Limits | None,
    widths: Mapping[str, float] = EMPTY,
    extreme: bool = False,
) -> tuple[Pair, ...]:
    """The verdict on every pair of specimens; with one scan in each group, on every pair of scans.

    Parameters
    ----------
    groups : mapping of str to sequence of Conditions
        The scans of each specimen.
    band : (float or None, float or None), or None
        Shortest and longest wavelength that a filter left in all of them, metres; None without a filter. A band that
        both scans hold in full cures differences of pixel and of size.
    widths : mapping of str to float, optional
        Half-width of the interval of each ranking reading on the logarithm; a difference of probe or levelling loss
        counts above half of the wider one, or above 5 % where none is known.
    extreme : bool, default False
        Whether the ranking reading is one of `EXTREMES`: then a band does not cure a difference of area.

    Examples
    --------
    >>> one, other = Conditions((1e-6, 1e-6), (1e-8, 1e-8)), Conditions((5e-6, 5e-6), (1e-8, 1e-8))
    >>> (pair,) = pairs({"mica": [one], "film": [other]}, band=None)
    >>> pair.level, pair.reasons, pair.unknown
    ('red', ('band', 'area'), ('levelling', 'tip', 'noise'))
    """
    spans = {name: Span.over(scans) for name, scans in groups.items()}
    return tuple(
        _verdict(one, other, spans[one].joined(spans[other]), band, _half([one, other], widths), extreme=extreme)
        for one, other in itertools.combinations(spans, 2)
    )


def mixed(scans: Sequence[Conditions], *, band: Limits | None) -> Doubt | None:
    """The doubt of a specimen whose own scans differ in size or pixel, None if they are alike."""
    found = [code for code in ("pixel", "area") if code in (seen := dict(_findings(Span.over(scans), band)))]
    if not found:
        return None
    return Doubt(
        "mixed-scans",
        "red" if any(seen[code] == "red" for code in found) else "amber",
        f"The scans of this specimen differ in {' and '.join(found)}; their readings are not of one kind.",
        "Keep scans of one size and pixel together; give the others a specimen of their own.",
    )


def partners(verdicts: Iterable[Pair]) -> dict[str, tuple[str, ...]]:
    """For each name in a red pair, those that it makes one with, in the order of the pairs."""
    found: dict[str, list[str]] = {}
    for pair in verdicts:
        if pair.level == "red":
            found.setdefault(pair.first, []).append(pair.second)
            found.setdefault(pair.second, []).append(pair.first)
    return {name: tuple(others) for name, others in found.items()}


def set_aside(verdicts: Iterable[Pair]) -> frozenset[str]:
    """The names whose readings must be greyed so that no red pair stands side by side.

    Those with the most red partners go first, all of them at once, until no red pair is left: one odd specimen among
    many goes alone, and of two halves of equal size, which none can call odd, both go.

    Examples
    --------
    >>> red = lambda *names: [Pair(one, other, "red") for one, other in names]
    >>> sorted(set_aside(red("ad", "bd", "cd"))), sorted(set_aside(red("ab")))
    (['d'], ['a', 'b'])
    """
    left = {name: set(others) for name, others in partners(verdicts).items()}
    gone: set[str] = set()
    while any(left.values()):
        most = max(map(len, left.values()))
        odd = {name for name, others in left.items() if len(others) == most}
        gone |= odd
        left = {name: others - odd for name, others in left.items() if name not in odd}
    return frozenset(gone)


def _verdict(first: str, second: str, span: Span, band: Limits | None, half: float | None, *, extreme: bool) -> Pair:
    found = dict(_findings(span, band, half, extreme=extreme))
    level: Level = max(found.values(), key=SEVERITY.__getitem__) if found else "green"
    side = " × ".join(format_length(span.size[axis][0]) for axis in (0, 1))
    cures = [CURES[code].format(side=side) for code in found if code in CURES]
    if extreme and "area" in found:
        cures.insert(0, CROP_CURE)
    if _uncured(span, band) & found.keys():
        cures.insert(0, BAND_CURE)
    return Pair(first, second, level, tuple(found), " ".join(cures), _unknown(span))


def _findings(
    span: Span, band: Limits | None, half: float | None = None, *, extreme: bool = False
) -> Iterator[tuple[str, Level]]:
    """What makes these scans differ, with its severity; nothing for what is alike."""
    uncured = _uncured(span, band)
    apart = HALF_SHARE if half is None else half / 2
    levels: dict[str, Level] = {
        "band": _band(span, band or (None, None)),
        "pixel": _ratios(span.pitch, AMBER_RATIO, RED_RATIO) if "pixel" in uncured else "green",
        "area": _area(span, uncured, extreme=extreme),
        "levelling": "amber" if len(span.flattened) > 1 or _width(span.loss) > apart else "green",
        "mask": _level(_width(span.masked), MASK_AMBER, MASK_RED),
        "tip": _tip(span, apart),
        "noise": "amber" if span.noise is not None and span.noise[0] <= NOISY < span.noise[1] else "green",
        "missing": _level(span.missing[1], MISSING_AMBER, MISSING_RED),
    }
    return ((code, level) for code, level in levels.items() if level != "green")


def _band(span: Span, limits: Limits) -> Level:
    """Whether the waves in the readings begin or end differently: what no filter limits, pixels and sides do."""
    shortest, longest = limits
    ratio = 1.0
    for pitch, size in zip(span.pitch, span.size, strict=True):
        begin = [max(shortest or 0.0, 2 * step) for step in pitch]
        end = [min(longest or math.inf, side + (longest or 0.0)) for side in size]  # the filter has cut its edges
        ratio = max(ratio, begin[1] / begin[0], end[1] / end[0])
    return _level(ratio, AMBER_RATIO, RED_RATIO)


def _area(span: Span, uncured: frozenset[str], *, extreme: bool) -> Level:
    if "area" in uncured:
        return _ratios(span.size, AMBER_RATIO, RED_RATIO)
    return _ratios(span.size, EXTREME_AMBER, EXTREME_RED) if extreme else "green"


def _tip(span: Span, apart: float) -> Level:
    """Two radii that take unlike shares are red; one radius that does, on unlike textures, amber; as are two names."""
    if span.radius is not None and span.blunted is not None:
        if _width(span.blunted) <= apart:
            return "green"
        return "red" if span.radius[1] > AMBER_RATIO * span.radius[0] else "amber"
    return "amber" if len(span.probes) > 1 and "" not in span.probes else "green"


def _uncured(span: Span, band: Limits | None) -> frozenset[str]:
    """The differences that a common band would take away and this one does not."""
    shortest, longest = band or (None, None)
    left = {"pixel", "area"}
    coarsest = max(most for _, most in span.pitch)
    if shortest is not None and shortest >= BAND_PIXELS * coarsest * (1 - 1e-9):
        left.remove("pixel")
    # The filter has cut half of the longest wave off every edge, in whole pixels: the scan itself was longer by that.
    side = min(size[0] + 2 * pitch[0] for size, pitch in zip(span.size, span.pitch, strict=True))
    if longest is not None and longest <= BAND_SHARE * (side + longest) * (1 + 1e-9):
        left.remove("area")
    return frozenset(left)


def _unknown(span: Span) -> tuple[str, ...]:
    known = {
        "levelling": span.loss,
        "tip": span.blunted if "" in span.probes else True,
        "noise": span.noise,
    }
    return tuple(code for code, value in known.items() if value is None)


def _half(names: Iterable[str], widths: Mapping[str, float]) -> float | None:
    known = [widths[name] for name in names if name in widths]
    return max(known, default=None)


def _ratios(spans: Iterable[tuple[float, float]], amber: float, red: float) -> Level:
    return _level(max(most / least for least, most in spans), amber, red)


def _width(span: tuple[float, float] | None) -> float:
    return 0.0 if span is None else span[1] - span[0]


def _level(value: float, amber: float, red: float) -> Level:
    return "red" if value > red else "amber" if value > amber else "green"
