"""The shared wording: ± or two ends, one unit, harmless text."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.measures.reading import Reading
from core.results import Band
from core.sheet import words
from core.trust.comparability import Pair


def reading(value: float | None, low: float | None = None, high: float | None = None, n: int = 3) -> Reading:
    half = None if low is None or high is None else (high - low) / 2
    return Reading("Sq", value, "m", "", uncertainty=half, low=low, high=high, n=n)


def test_a_narrow_interval_is_written_with_plus_minus():
    assert words.value_text(reading(4.1e-10, 3.8e-10, 4.4e-10)) == "Sq 0.41 ± 0.03 nm"


@pytest.mark.parametrize(("h", "sign"), [(0.19, "±"), (0.21, "–")])
def test_the_limit_of_plus_minus_is_a_half_width_of_a_fifth_on_the_logarithm(h, sign):
    """Limit from the methods measured for this program: two ends as soon as h > 0.2."""
    told = words.interval_text(reading(1e-9, 1e-9 * math.exp(-h), 1e-9 * math.exp(h)))
    assert sign in told


def test_a_single_spot_says_so():
    assert words.interval_text(reading(4.1e-10, n=1)) == "0.41 nm, n = 1"


def test_what_cannot_be_had_is_a_dash_and_never_zero():
    assert words.interval_text(reading(None)) == words.NONE
    assert words.number_text(reading(float("nan"))) == words.NONE


def test_a_positive_length_is_never_given_a_negative_end_by_plus_minus():
    told = words.interval_text(Reading("Sq", 1e-9, "m", "", uncertainty=2e-9, low=0.0, high=3e-9, n=2))
    assert "±" not in told


def test_skewness_keeps_plus_minus_through_zero():
    assert (
        words.interval_text(Reading("Ssk", 0.02, "1", "", uncertainty=0.31, low=-0.29, high=0.33, n=3)) == "0.0 ± 0.3"
    )


@given(st.floats(1e-12, 1e-3), st.floats(0.001, 2.0))
def test_every_positive_interval_is_written_without_an_empty_low_end(value, h):
    told = words.interval_text(reading(value, value * math.exp(-h), value * math.exp(h)))
    assert not told.startswith(("0 –", "0.0 –", "0.00 –", "−"))
    assert told.endswith("m")


@given(st.floats(-1e3, 1e3), st.floats(1e-3, 1e3))
def test_ends_of_a_range_keep_their_order_when_rounded(low, width):
    first, second = words.range_ends(low, low + width)
    assert float(first.replace("−", "-")) <= float(second.replace("−", "-"))
    assert abs(float(second.replace("−", "-")) - (low + width)) <= 0.06 * max(width, abs(low + width))


def test_one_unit_for_a_column_is_that_of_its_smallest_value():
    column = [reading(8e-11), reading(5.5e-6), reading(None)]
    assert words.column_scaling(column) == (1e-9, "nm")


def test_band_says_whether_a_filter_made_it():
    assert "filtered" in words.band_text(Band(4e-8, 2.5e-6, filtered=True))
    assert "not filtered" in words.band_text(Band(4e-8, 2.5e-6))
    assert words.band_text(Band(None, None)).startswith("no wavelengths")


def test_an_unknown_reason_is_shown_as_it_is():
    assert (
        words.comparability_text(Pair("A", "B", "amber", ("new-code",)))
        == "A and B are comparable with care: new-code."
    )


def test_caption_names_treatment_band_spots_and_interval(comparison):
    told = words.caption(comparison)
    for part in ("plane levelled", "wavelengths", "n = 3 spots", "95 % interval"):
        assert part in told


@given(st.text())
def test_clean_text_fits_utf8_and_xml_and_is_stable(text):
    told = words.clean(text + "\ud800\x00\ufffe")
    told.encode("utf-8")
    assert all(sign >= " " or sign == "\t" for sign in told)
    assert words.clean(told) == told
