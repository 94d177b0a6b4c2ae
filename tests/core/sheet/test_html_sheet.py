"""The page: complete in itself, honest, and deaf to names that are code."""

from __future__ import annotations

import base64
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from core.sheet import html_sheet
from core.trust.comparability import Pair

PNG = b"\x89PNG\r\n\x1a\n picture"


class Elements(HTMLParser):
    """Every element with its attributes, and the text between."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.text += data


def test_names_of_files_and_specimens_are_escaped(hostile):
    page = html_sheet.page(hostile, figure=PNG)
    assert "<script" not in page
    read = Elements(page)
    assert "script" not in {tag for tag, _ in read.found}
    assert "<script>alert(1)</script>" in read.text
    assert "<script>title</script>" in read.text


def test_the_page_needs_nothing_else(comparison):
    page = html_sheet.page(comparison, figure=PNG)
    sources = [value for _, attrs in Elements(page).found for key, value in attrs.items() if key in ("src", "href")]
    assert sources == ["data:image/png;base64," + base64.b64encode(PNG).decode()]
    assert not re.search(r"@import|url\(", page)
    assert "default-src 'none'" in page


def test_without_a_figure_there_is_no_empty_picture(comparison):
    assert "<img" not in html_sheet.page(comparison)


def test_standing_and_conditions_are_told(comparison):
    text = Elements(html_sheet.page(comparison)).text
    for part in (
        "Which carrier?",
        "The results relate only to the items tested",
        "2024-05-01T12:00:00+02:00",
        "lane levelled, zero at mean",
        "95 % interval / nm",
        comparison.scans[0].raw.source.sha256,
        "/data/<b>.txt",
        "Export again.",
        "have no height",
    ):
        assert part in text
    order = [text.index(place.specimen) for place in comparison.standing]
    assert order == sorted(order)


def test_every_interval_is_drawn(comparison):
    read = Elements(html_sheet.page(comparison))
    dots = [float(attrs["cx"] or "nan") for tag, attrs in read.found if tag == "circle"]
    assert len(dots) == 3
    assert dots == sorted(dots)  # the lowest reading stands first and furthest to the left


def test_a_wide_interval_is_given_by_its_ends(make_comparison):
    made = make_comparison(2, 2)
    name = made.standing[0].specimen
    specimen = made.specimens_by_name[name]
    wide = replace(specimen.readings["Sq"], low=3e-10, high=5.5e-10, value=4.1e-10)
    others = tuple(
        replace(one, readings={**one.readings, "Sq": wide}) if one.name == name else one for one in made.specimens
    )
    assert "0.30 – 0.55" in Elements(html_sheet.page(replace(made, specimens=others))).text


@pytest.mark.parametrize(("level", "words"), [("red", "Not comparable"), ("amber", "Comparable with care")])
def test_pairs_that_must_not_be_compared_are_named_with_the_cure(comparison, level, words):
    pair = Pair("carrier 1", "carrier 2", level, ("pixel",), "Scan both with one pixel size.")
    text = Elements(html_sheet.page(replace(comparison, comparability=(pair,)))).text
    assert f"{words}: different pixel sizes." in text
    assert "Scan both with one pixel size." in text
    assert "carrier 1 and carrier 2" in text


def test_a_single_spot_is_not_proven(make_comparison):
    assert "not proven: single spot" in Elements(html_sheet.page(make_comparison(2, 1))).text


def test_print_is_light_and_the_screen_follows_the_system(comparison):
    page = html_sheet.page(comparison)
    assert "@media screen and (prefers-color-scheme: dark)" in page
    assert "@page { size: A4" in page


def test_nothing_compared_still_makes_a_page(comparison):
    empty = replace(comparison, scans=(), specimens=(), standing=(), comparability=())
    text = Elements(html_sheet.page(empty)).text
    assert "No specimen could be ranked." in text
    assert "/data/<b>.txt" in text
