"""Lengths: text to metres and back."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from core.errors import LowreliefError, QuantityError
from core.units import display_unit, format_length, format_number, metres_per, parse_length, parse_pixel


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("9.8nm", 9.8e-9),
        ("2,5 µm", 2.5e-6),
        ("2.5 μm", 2.5e-6),  # Greek mu
        ("1e-8 m", 1e-8),
        (" 3 Å ", 3e-10),
        ("3 Å", 3e-10),  # angstrom sign
        ("40 Micrometres", 40e-6),
        (".5 mm", 5e-4),
        ("-7pm", -7e-12),
    ],
)
def test_lengths_people_write(text: str, metres: float) -> None:
    assert parse_length(text) == pytest.approx(metres, rel=1e-15)


@pytest.mark.parametrize("text", ["", "nm", "9.8", "9.8 V", "1 nm nm", "nan nm", "1e999 m", "1 2 nm", "9.8n m"])
def test_what_is_no_length_is_refused_with_a_fix(text: str) -> None:
    with pytest.raises(QuantityError) as refused:
        parse_length(text)
    assert refused.value.fix
    assert isinstance(refused.value, ValueError)
    assert isinstance(refused.value, LowreliefError)


def test_pixel_is_down_by_across_like_every_shape() -> None:
    assert parse_pixel("10nmx12nm") == (1e-8, 1.2e-8)
    assert parse_pixel("10 nm × 12 nm") == (1e-8, 1.2e-8)
    assert parse_pixel("9.8nm") == (9.8e-9, 9.8e-9)
    assert parse_pixel((1e-8, 2e-8)) == (1e-8, 2e-8)
    assert parse_pixel(1e-8) == (1e-8, 1e-8)


@pytest.mark.parametrize("pixel", ["0nm", "-1nm", "1nmx0nm", "1nmx2nmx3nm", (1e-9, math.nan), (1e-9, -1e-9), math.inf])
def test_no_pixel_without_extent(pixel: object) -> None:
    with pytest.raises(QuantityError):
        parse_pixel(pixel)  # type: ignore[arg-type]


@given(st.floats(1e-13, 1e3), st.sampled_from(["m", "mm", "um", "nm", "A", "pm"]))
def test_format_and_parse_agree(metres: float, unit: str) -> None:
    text = f"{metres / metres_per(unit)!r} {unit}"
    assert parse_length(text) == pytest.approx(metres, rel=1e-14)


@given(st.floats(1e-12, 1e2))
def test_display_is_true_to_its_digits(metres: float) -> None:
    assert parse_length(format_length(metres, digits=6)) == pytest.approx(metres, rel=1e-5)


def test_display_unit_keeps_numbers_short() -> None:
    assert [display_unit(x) for x in (1e-6, 999e-9, 0.1e-9, 5e-12, 1e-3, math.nan)] == [
        "µm",
        "nm",
        "nm",
        "pm",
        "mm",
        "nm",
    ]
    assert format_number(math.nan) == "–"
    assert format_number(-0.00123) == "-0.00123"
