"""The same words for the same thing in sheet, figure and window: values with their intervals, band, comparability.

All functions here are pure: records in, text out.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Sequence

from core.measures import CATALOGUE
from core.measures.reading import Reading
from core.results import Band, Comparison
from core.trust.comparability import Pair
from core.trust.interval import WIDE
from core.trust.within import WITHIN
from core.units import display_unit, format_length, format_number, metres_per

NONE = "–"
MINUS = "−"

REASONS = {
    "pixel": "different pixel sizes",
    "area": "different scan sizes",
    "band": "different wavelength bands",
    "missing": "points without a height",
    "mask": "different shares masked",
    "treatment": "different treatments",
    "levelling": "different levelling",
    "tip": "different tips",
    "noise": "different noise",
}
"""What the short codes of a comparability verdict mean."""

KINDS = {"green": "comparable", "amber": "comparable with care", "red": "not comparable"}


def value_text(reading: Reading, unit: str | None = None) -> str:
    """Symbol, value and interval, for captions and tiles.

    Parameters
    ----------
    reading : Reading
        Of a scan or a specimen.
    unit : str, optional
        Unit of length to write it in; by default the one it reads best in. Pure numbers have none.

    Examples
    --------
    >>> value_text(Reading("Sq", 4.1e-10, "m", "", uncertainty=3e-11, low=3.8e-10, high=4.4e-10, n=3))
    'Sq 0.41 ± 0.03 nm'
    """
    return f"{reading.symbol} {interval_text(reading, unit)}"


def interval_text(reading: Reading, unit: str | None = None) -> str:
    """Value and interval, without the symbol.

    An interval that is wide on the logarithm (half-width over 0.2) is written by its two ends and not with ±; a reading
    of a single spot says so.

    Examples
    --------
    >>> interval_text(Reading("Sq", 4.1e-10, "m", "", uncertainty=1.25e-10, low=3.0e-10, high=5.5e-10, n=2))
    '0.30 – 0.55 nm'
    >>> interval_text(Reading("Sq", 4.1e-10, "m", "", n=1))
    '0.41 nm, n = 1'
    >>> interval_text(Reading("Ssk", -0.123, "1", "", uncertainty=0.04, low=-0.163, high=-0.083, n=5))
    '−0.12 ± 0.04'
    """
    if not _has(reading.value):
        return NONE
    factor, unit = scaling(reading, unit)
    tail = f" {unit}" if unit else ""
    value = _scaled(reading.value, factor)
    if not has_interval(reading):
        alone = f", n = {reading.n}" if reading.n == 1 else ""
        return f"{signed(format_number(value))}{tail}{alone}"
    low, high = ends(reading)
    low, high = low / factor, high / factor
    if is_wide(reading):
        return f"{range_text(low, high, digits=1)}{tail}"
    half = (high - low) / 2
    places = places_of(half)
    return f"{signed(f'{value:.{places}f}')} ± {half:.{places}f}{tail}"


def number_text(reading: Reading, unit: str | None = None, *, digits: int = 3) -> str:
    """The value alone, with its unit.

    >>> number_text(Reading("Sq", 4.1234e-10, "m", ""))
    '0.412 nm'
    """
    if not _has(reading.value):
        return NONE
    factor, unit = scaling(reading, unit)
    text = signed(format_number(_scaled(reading.value, factor), digits=digits))
    return f"{text} {unit}" if unit else text


def is_wide(reading: Reading) -> bool:
    """Whether the interval is too wide to be written with ±.

    >>> [is_wide(Reading("Sq", 1.0, "m", "", low=low, high=high)) for low, high in [(0.8, 1.25), (0.9, 1.1)]]
    [True, False]
    """
    if not has_interval(reading):
        return False
    low, high = ends(reading)
    if low > 0:
        return math.log(high / low) / 2 > WIDE
    # An interval through zero has no logarithm. Readings of either sign (skewness) are symmetric there; for a length
    # that is positive by nature ± would promise negative values.
    return reading.unit == "m" and reading.value is not None and reading.value > 0


def is_within(reading: Reading) -> bool:
    """Whether the interval of the reading holds within one scan only: it says nothing of the specimen.

    >>> is_within(Reading("Sq", 1e-9, "m", "", low=0.9e-9, high=1.1e-9, n=1, note=WITHIN))
    True
    """
    return reading.n < 2 and WITHIN in reading.note and _has(reading.low) and _has(reading.high)


def within_text(reading: Reading, factor: float) -> str:
    """The two ends of an interval within one scan, in a unit of this size, and that it is no more than that.

    >>> within_text(Reading("Sq", 1e-9, "m", "", low=0.9e-9, high=1.1e-9, n=1, note=WITHIN), 1e-9)
    '0.90 – 1.10 within this scan'
    """
    return (
        f"{range_text(float(reading.low or 0) / factor, float(reading.high or 0) / factor, digits=1)} within this scan"
    )


def has_interval(reading: Reading) -> bool:
    """Whether a 95 % interval is known, by its ends or by its half-width. One within a scan only does not count.

    >>> has_interval(Reading("Sq", 1e-9, "m", "", n=1))
    False
    """
    if is_within(reading):
        return False
    by_ends = _has(reading.low) and _has(reading.high)
    return _has(reading.value) and (by_ends or _has(reading.uncertainty))


def ends(reading: Reading) -> tuple[float, float]:
    """Lower and upper end of the 95 % interval, in the reading's SI unit.

    >>> ends(Reading("Sku", 3.0, "1", "", uncertainty=0.5))
    (2.5, 3.5)
    """
    if _has(reading.low) and _has(reading.high):
        return float(reading.low or 0.0), float(reading.high or 0.0)
    value, half = float(reading), float(reading.uncertainty or 0.0)
    return value - half, value + half


def scaling(reading: Reading, unit: str | None = None) -> tuple[float, str]:
    """The SI size of the unit in which a reading is shown, and the unit's name.

    Lengths take the unit they read best in. Pure numbers have none, but for small shares such as Sdr, which are shown
    in per cent or parts per million.

    >>> scaling(Reading("Sdr", 3.6e-7, "1", "")), scaling(Reading("Ssk", 3.6e-7, "1", ""))
    ((1e-06, 'ppm'), (1.0, ''))
    """
    if reading.unit == "m":
        shown = unit or display_unit(float(reading))
        return metres_per(shown), shown
    if reading.unit == "1" and reading.symbol in CATALOGUE and CATALOGUE[reading.symbol].positive:
        shown = _share_unit(reading.value) if unit is None else unit
        return SHARES[shown], shown
    if reading.unit in POWERS:
        return _power_scaling(reading.value, POWERS[reading.unit])
    return 1.0, {"1": "", "deg": "°"}.get(reading.unit, reading.unit)


def column_scaling(readings: Iterable[Reading | None]) -> tuple[float, str]:
    """One unit for a column of the same reading: that in which the smallest value reads best."""
    known = [one for one in readings if one is not None]
    had = [one for one in known if _has(one.value)] or known
    if not had:
        return 1.0, ""
    if had[0].unit == "m":
        return scaling(had[0], common_unit([one.value for one in had]))
    return scaling(min(had, key=lambda one: abs(float(one)) or math.inf))


def _share_unit(value: float | None) -> str:
    if not _has(value) or not value or abs(value) >= 1e-2:
        return ""
    return "%" if abs(value) >= 1e-4 else "ppm"


SHARES = {"": 1.0, "%": 1e-2, "ppm": 1e-6}
"""Sizes of the units of small pure numbers."""

POWERS = {"m2": 2, "m3": 3, "1/m2": -2, "1/m": -1}
"""Units that are powers of a length, and the power."""

RAISED = {1: "", 2: "²", 3: "³"}


def _power_scaling(value: float | None, power: int) -> tuple[float, str]:
    """The power of µm, nm or mm in which the number is neither long nor tiny."""
    for base in ("µm", "nm", "mm"):
        size = metres_per(base) ** power
        if not _has(value) or not value or 0.1 <= abs(value) / size < 1e6:
            break
    else:
        base = "µm"
    name = base + RAISED[abs(power)]
    return metres_per(base) ** power, name if power > 0 else f"1/{name}"


def common_unit(metres: Iterable[float | None]) -> str:
    """One unit of length for a column of values: that of the smallest, picometres only below 10 pm.

    >>> common_unit([8e-11, 5.5e-9]), common_unit([2e-12, 1e-9]), common_unit([3e-6, None]), common_unit([])
    ('nm', 'pm', 'µm', 'nm')
    """
    sizes = [abs(size) for size in metres if size is not None and math.isfinite(size) and size != 0]
    if not sizes:
        return "nm"
    smallest = min(sizes)
    return "nm" if 1e-11 <= smallest < 1e-9 else display_unit(smallest)


def places_of(half: float) -> int:
    """Decimal places by which a half-width is written: one significant digit, two if it begins with 1 or 2.

    >>> places_of(0.031), places_of(0.21), places_of(12.0)
    (2, 2, 0)
    """
    if not half > 0:
        return 2
    return min(9, max(0, (1 if _leading(half) < 3 else 0) - math.floor(math.log10(half))))


def range_text(low: float, high: float, *, digits: int = 2) -> str:
    """Two ends as text with a dash between; with “to” where a minus sign would run into the dash.

    Parameters
    ----------
    low, high : float
        In the unit that will stand behind.
    digits : int
        Significant digits of the width between them, or of each end where they lie decades apart.

    Examples
    --------
    >>> range_text(0.3, 0.55, digits=1), range_text(-0.25, 0.251), range_text(0.021, 9.13), range_text(0.0, 40.0)
    ('0.30 – 0.55', '−0.25 to 0.25', '0.02 – 9.13', '0 – 40')
    """
    link = "–" if low >= 0 else "to"
    first, second = range_ends(low, high, digits=digits)
    return f"{first} {link} {second}"


def range_ends(low: float, high: float, *, digits: int = 2) -> tuple[str, str]:
    """The two ends as text, each as exact as the width between them deserves.

    >>> range_ends(-4.93, 5.52)
    ('−4.9', '5.5')
    """
    width = high - low
    fine = 1 if width > 0 and _leading(width) < 3 else 0
    places = digits - 1 + fine - math.floor(math.log10(width)) if width > 0 else 2
    if low > 0:  # never a zero that is none
        needed = -math.floor(math.log10(low))
        if needed > places + 2:
            return format_number(low, digits=digits), format_number(high, digits=digits)
        places = max(places, needed)
    places = min(9, max(0, places))
    return "0" if low == 0 else signed(f"{low:.{places}f}"), "0" if high == 0 else signed(f"{high:.{places}f}")


def height_range_text(low: float, high: float) -> str:
    """A range of heights with its unit.

    >>> height_range_text(0.0, 4e-8), height_range_text(-2.5e-10, 2.5e-10)
    ('0 – 40 nm', '−0.25 to 0.25 nm')
    """
    unit = common_unit([max(abs(low), abs(high))])
    return f"{range_text(low / metres_per(unit), high / metres_per(unit))} {unit}"


def signed(number: str) -> str:
    """The number with a true minus sign; a rounded-away minus is dropped.

    >>> signed("-0.12"), signed("-0.00"), signed("3")
    ('−0.12', '0.00', '3')
    """
    if not number.startswith("-"):
        return number
    return MINUS + number[1:] if number.strip("-0.") else number[1:]


def band_text(band: Band) -> str:
    """The wavelengths that readings cover, and whether a filter set them.

    >>> band_text(Band(4e-8, 2.5e-6, filtered=True)), band_text(Band(2e-8, 1e-5))
    ('band 40 nm – 2.5 µm (filtered)', 'wavelengths 20 nm – 10 µm (as scanned, not filtered)')
    """
    if band.shortest is None or band.longest is None:
        return "no wavelengths: no scan"
    ends_ = f"{format_length(band.shortest)} – {format_length(band.longest)}"
    return f"band {ends_} (filtered)" if band.filtered else f"wavelengths {ends_} (as scanned, not filtered)"


def spots_text(comparison: Comparison) -> str:
    """How many spots stand behind the specimens: “n = 3”, “n = 1 to 4”; empty without specimens."""
    counts = [spots(comparison, specimen.name) for specimen in comparison.specimens]
    if not counts:
        return ""
    low, high = min(counts), max(counts)
    return f"n = {low}" if low == high else f"n = {low} to {high}"


def spots(comparison: Comparison, specimen: str) -> int:
    """Number of independent spots behind the ranking reading of a specimen; its scans where the reading has none."""
    result = comparison.specimens_by_name[specimen]
    reading = result.readings.get(comparison.rank_by)
    return reading.n if reading is not None and reading.n else len(result.scans)


def caption(comparison: Comparison) -> str:
    """Treatment, band, spots and the meaning of the interval in one line, for figure, sheet and window."""
    parts = [comparison.treatment.describe(), band_text(comparison.band)]
    told = spots_text(comparison)
    if told:
        parts.append(f"{told} {'spot' if told == 'n = 1' else 'spots'} per specimen")
    readings = [specimen.readings.get(comparison.rank_by) for specimen in comparison.specimens]
    if any(reading is not None and has_interval(reading) for reading in readings):
        parts.append(f"{comparison.rank_by} of the typical spot with its 95 % interval")
    else:
        parts.append(f"{comparison.rank_by} without interval: fewer than two spots")
    by_hand = sum(bool(scan.shapes) for scan in comparison.scans)
    if by_hand:
        parts.append(f"masked by hand on {by_hand} of {len(comparison.scans)} scans")
    return "; ".join(parts)


def reasons_text(reasons: Sequence[str]) -> str:
    """The short codes of a verdict in words.

    >>> reasons_text(["pixel", "area"])
    'different pixel sizes, different scan sizes'
    """
    return ", ".join(REASONS.get(code, code) for code in reasons)


def comparability_text(pair: Pair) -> str:
    """The verdict on a pair in one sentence, with the cure.

    >>> comparability_text(Pair("A", "B", "red", ("pixel",), "Crop both."))
    'A and B are not comparable: different pixel sizes. Crop both.'
    """
    why = f": {reasons_text(pair.reasons)}" if pair.reasons else ""
    cure = f" {pair.cure}" if pair.cure else ""
    return f"{pair.first} and {pair.second} are {KINDS[pair.level]}{why}.{cure}"


def clean(text: str) -> str:
    """Text from a file or a user made harmless for every kind of document.

    Control characters become spaces; half surrogates (file names that are no Unicode) and non-characters, which no XML
    and no UTF-8 can hold, become the replacement sign; marks that turn the writing direction around go.

    >>> clean("film" + chr(7) + chr(0xDC80) + chr(0x202E))
    'film �'
    """
    return "".join(_harmless(sign) for sign in text)


def _harmless(sign: str) -> str:
    if sign.isprintable():
        return sign
    kind = unicodedata.category(sign)
    if kind == "Cs" or ord(sign) & 0xFFFE == 0xFFFE:
        return "\ufffd"
    if "\u202a" <= sign <= "\u202e" or "\u2066" <= sign <= "\u2069":
        return ""
    return " " if kind in ("Cc", "Zl", "Zp") else sign


def _leading(number: float) -> float:
    """The number before its power of ten, 1 to 10."""
    return round(number / 10.0 ** math.floor(math.log10(number)), 6)


def _has(number: float | None) -> bool:
    return number is not None and math.isfinite(number)


def _scaled(value: float | None, factor: float) -> float:
    return (value or 0.0) / factor
