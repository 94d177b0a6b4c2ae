"""The talk figure: nothing overlaps, nothing is cut, colours and scale bars are true, the same bytes every time."""

from __future__ import annotations

import base64
import io
import itertools
import json
import re
import zlib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from defusedxml import ElementTree
from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from core.bench import Bench, Scan
from core.colours import MISSING, OVER, UNDER, height_table
from core.compare import compare
from core.display import level
from core.errors import BenchError, FileProblem, UnknownFormat
from core.figure import slide as figure
from core.figure import text as lettering
from core.figure.parts import coloured, scale_bar_length
from core.heightmap import HeightMap
from core.results import Comparison
from core.scale import Scale

LONG = "polymer film on a carrier with a name that nobody would want to read aloud, batch 2024-11, wafer"
WIDTHS = {"10 um": 10.0, "5 um": 5.0, "512 nm": 512.0, "1 um": 1.0, "80 um": 80.0, "0.3 um": 0.3}
SLIDE_INCHES = (338.7 / 25.4, 190.5 / 25.4)


def texts(drawn):
    """Every text of a figure with its rectangle in pixels."""
    renderer = FigureCanvasAgg(drawn).get_renderer()
    with rc_context(figure.RC):  # as it is when the file is written
        return [(text, text.get_window_extent(renderer)) for text in drawn.texts]


def told_by(drawn):
    """All words of a figure, spaces that keep number and unit together as plain ones."""
    return " ".join(text.get_text() for text in drawn.texts).replace("\u00a0", " ")


def maps(drawn):
    """The axes of the maps, without the colour bar."""
    return [axes for axes in drawn.axes if axes.get_label() != "height bar"]


def overlap(one, two, slack=1.0):
    """Whether two rectangles share more than a hair (a pixel at 100 dots per inch is a quarter of a millimetre)."""
    across = min(one.x1, two.x1) - max(one.x0, two.x0)
    return across > slack and min(one.y1, two.y1) - max(one.y0, two.y0) > slack


def check_page(drawn):
    """No two texts overlap, no text is cut by the page, no text under 14 points, no map under a foreign text."""
    found = texts(drawn)
    page = drawn.bbox
    for text, box in found:
        assert page.x0 <= box.x0, text.get_text()
        assert box.x1 <= page.x1, text.get_text()
        assert page.y0 <= box.y0, text.get_text()
        assert box.y1 <= page.y1, text.get_text()
        assert text.get_fontsize() >= 14 - 1e-6, text.get_text()
    for (one, box), (two, other) in itertools.combinations(found, 2):
        assert not overlap(box, other), (one.get_text(), two.get_text())
    boxes = [axes.get_window_extent() for axes in drawn.axes]
    for one, two in itertools.combinations(boxes, 2):
        assert not overlap(one, two)
    for (text, box), frame in itertools.product(found, boxes):
        inside = frame.x0 <= box.x0 and box.x1 <= frame.x1 and frame.y0 <= box.y0 and box.y1 <= frame.y1
        assert inside or not overlap(box, frame), text.get_text()


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 16, 20, 24])
def test_nothing_overlaps_and_all_is_on_the_page(make_comparison, count):
    names = tuple(f"{LONG} {number + 1}" if number % 2 == 0 else f"No. {number + 1}" for number in range(count))
    drawn = figure.draw(make_comparison(count, 3, names=names, side=16, title=LONG), dpi=100)
    assert len(maps(drawn)) == 2 * count
    check_page(drawn)


@pytest.mark.parametrize("count", [3, 10])
def test_nothing_overlaps_with_warnings_single_spots_and_mixed_sizes(make_bench, count):
    bench = make_bench(count, 1, names=tuple(f"{LONG} {n}" for n in range(count)))
    scans = tuple(
        replace(scan, raw=scan.raw.with_(pitch=(2e-8, 5e-8))) if number % 2 else scan
        for number, scan in enumerate(bench.scans)
    )
    made = compare(replace(bench, scans=scans))
    drawn = figure.draw(made, dpi=100)
    check_page(drawn)
    told = told_by(drawn)
    assert "Not comparable:" in told
    assert "has its own scale bar" in told


@pytest.mark.parametrize("rank_by", ["Ssk", "Sdr", "Sz"])
def test_nothing_overlaps_whatever_ranks(make_bench, rank_by):
    check_page(figure.draw(compare(make_bench(6, 2), rank_by=rank_by), dpi=100))


def test_more_than_24_specimens_show_the_best(make_comparison):
    drawn = figure.draw(make_comparison(27, 1, side=12), dpi=100)
    assert len(maps(drawn)) == 48
    assert "The 24 best of 27 specimens." in told_by(drawn)
    check_page(drawn)


def test_specimens_stand_in_the_order_of_the_standing(make_comparison):
    made = make_comparison(4)
    drawn = figure.draw(made)
    shown = [text.get_text() for text in drawn.texts if text.get_text() in made.specimens_by_name]
    assert shown == [place.specimen for place in made.standing]


def test_values_and_conditions_are_told(comparison):
    told = told_by(figure.draw(comparison))
    for part in (
        "one scale for all",
        "each on its own scale",
        "n = 3",
        "plane levelled",
        "wavelengths",
        "95 % interval",
    ):
        assert part in told
    assert "Grey: no height." in told
    assert "Amber: masked" in told


def test_a_name_is_never_read_as_a_formula(make_comparison):
    drawn = figure.draw(make_comparison(3, 1, names=("$x^2$", "a_b", "\\frac{1}{2}$")))
    assert "$x^2$" in [text.get_text() for text in drawn.texts]
    drawn.canvas.draw()


def test_signs_without_a_glyph_become_boxes_and_not_warnings(hostile, tmp_path):
    figure.save(hostile, tmp_path / "figure.png", dpi=50)


@pytest.mark.parametrize("name", WIDTHS)
def test_scale_bar_is_the_largest_1_2_5_in_a_quarter(expected, name):
    """Reference 12.01: common practice, no source."""
    assert scale_bar_length(WIDTHS[name]) == expected(f"12.01|width {name}")


def one_map(z, low, high) -> Comparison:
    bench = Bench(scans=(Scan(HeightMap(z, (1e-8, 1e-8), name="one"), "one"),), scale=Scale.typed(low, high))
    made = compare(bench)
    scan = replace(made.scans[0], treated=made.scans[0].raw, own_range=(low, high))
    return replace(made, scans=(scan,))


def test_known_heights_have_known_colours(tmp_path):
    """Quarters: below, lowest, highest, above the range; and a missing corner. Derived here: by hand."""
    z = np.zeros((40, 40))
    z[:20, :20], z[:20, 20:], z[20:, :20], z[20:, 20:] = -1e-9, 0.0, 1e-9, 2e-9
    z[:4, :4] = np.nan
    made = one_map(z, 0.0, 1e-9)
    pixels = coloured(level(made.scans[0].treated, 40, 40), (0.0, 1e-9))
    table = height_table()
    for place, colour in [((0, 0), MISSING), ((10, 10), UNDER), ((10, 30), table[0]), ((30, 10), table[-1]),
                          ((30, 30), OVER)]:  # fmt: skip
        assert tuple(pixels[place]) == tuple(colour)
    figure.save(made, tmp_path / "figure.png")
    drawn = figure._draw(made, figure.SLIDE_MM, figure.DPI, None, False, snap=True)
    box = maps(drawn)[0].get_window_extent()
    picture = np.asarray(Image.open(tmp_path / "figure.png").convert("RGB"))
    tall = picture.shape[0]

    def at(down, across):
        return tuple(picture[round(tall - box.y1 + down * box.height), round(box.x0 + across * box.width)])

    assert at(0.03, 0.03) == MISSING
    assert at(0.3, 0.3) == UNDER
    assert at(0.3, 0.75) == tuple(table[0])
    assert at(0.6, 0.25) == tuple(table[-1])
    assert at(0.75, 0.75) == OVER


def test_a_single_high_point_is_still_seen_in_the_picture(tmp_path):
    z = np.random.default_rng(3).normal(0, 1e-11, (1200, 1200))
    z[601, 333] = 5e-9
    figure.save(one_map(z, -1e-10, 1e-10), tmp_path / "figure.png", dpi=40)
    picture = np.asarray(Image.open(tmp_path / "figure.png").convert("RGB"))
    drawn = figure._draw(one_map(z, -1e-10, 1e-10), figure.SLIDE_MM, 40, None, False, snap=True)
    box = maps(drawn)[0].get_window_extent()
    tall = picture.shape[0]
    shown = picture[round(tall - box.y1) : round(tall - box.y0), round(box.x0) : round(box.x1)]
    assert np.count_nonzero((shown == OVER).all(axis=-1)) == 1


def test_clipped_share_is_told():
    z = np.zeros((20, 20))
    z[0, :10] = 5e-9
    drawn = figure.draw(one_map(z, -1e-9, 1e-9))
    assert "in a: one 2.5 %" in told_by(drawn)


def test_png_has_its_physical_size_and_carries_the_comparison(comparison, tmp_path):
    figure.save(comparison, tmp_path / "figure.png", dpi=100)
    picture = Image.open(tmp_path / "figure.png")
    assert picture.size == tuple(round(100 * side) for side in SLIDE_INCHES)
    assert picture.info["dpi"] == pytest.approx((100, 100), rel=1e-3)  # PNG holds whole dots per metre
    told = json.loads(picture.text["lowrelief"])
    assert told["scans"][0]["sha256"] == comparison.scans[0].raw.source.sha256
    assert told["scans"][0]["readings"]["Sq"] == comparison.scans[0].readings["Sq"].value


@pytest.mark.parametrize("size_mm", [(180.0, 101.25), (400.0, 225.0), (297.0, 210.0)])
def test_other_pages_are_the_slide_scaled(comparison, size_mm):
    drawn = figure.draw(comparison, size_mm=size_mm)
    assert drawn.get_size_inches() == pytest.approx(np.array(size_mm) / 25.4)
    scale = min(size_mm[0] / 338.7, size_mm[1] / 190.5)
    assert min(text.get_fontsize() for text in drawn.texts) == pytest.approx(14 * scale)


def link(image):
    return image.get("{http://www.w3.org/1999/xlink}href")


def test_svg_is_xml_of_the_right_size_with_maps_at_their_own_resolution(hostile, tmp_path):
    figure.save(hostile, tmp_path / "figure.svg")
    root = ElementTree.parse(tmp_path / "figure.svg").getroot()
    assert float(root.get("width").removesuffix("pt")) == pytest.approx(72 * SLIDE_INCHES[0], abs=0.01)
    images = root.findall(".//{http://www.w3.org/2000/svg}image")
    assert len(images) == 2 * len(hostile.specimens) + 1
    pictures = [Image.open(io.BytesIO(base64.b64decode(link(image).partition(",")[2]))) for image in images]
    assert sum(picture.size == (24, 24) for picture in pictures) == 2 * len(hostile.specimens)
    assert not root.findall(".//{http://www.w3.org/2000/svg}script")


def test_pdf_embeds_its_typeface(comparison, tmp_path):
    figure.save(comparison, tmp_path / "figure.pdf")
    raw = (tmp_path / "figure.pdf").read_bytes()
    assert raw.startswith(b"%PDF")
    streams = [raw]
    for match in re.finditer(rb"stream\r?\n(.*?)\r?\nendstream", raw, re.S):
        try:
            streams.append(zlib.decompress(match[1]))
        except zlib.error:
            continue
    assert any(b"/FontFile2" in stream for stream in streams)
    assert any(b"Inter" in stream for stream in streams)


@pytest.mark.parametrize("suffix", figure.SUFFIXES)
def test_the_same_comparison_gives_the_same_bytes(comparison, tmp_path, suffix):
    for name in ("a", "b"):
        figure.save(comparison, tmp_path / f"{name}{suffix}", dpi=60)
    assert (tmp_path / f"a{suffix}").read_bytes() == (tmp_path / f"b{suffix}").read_bytes()


def test_dark_pages_keep_the_colours_of_data(comparison, tmp_path):
    light, dark = figure.draw(comparison), figure.draw(comparison, dark=True)
    assert light.get_facecolor() != dark.get_facecolor()
    for one, two in zip(light.axes, dark.axes, strict=True):
        assert np.array_equal(one.images[0].get_array(), two.images[0].get_array())
    check_page(figure.draw(comparison, dark=True, dpi=100))


def test_no_state_is_left_behind(comparison):
    import matplotlib

    before = dict(matplotlib.rcParams)
    figure.draw(comparison)
    assert dict(matplotlib.rcParams) == before


def test_refusals_say_what_to_do(comparison, tmp_path):
    with pytest.raises(UnknownFormat, match="png"):
        figure.save(comparison, tmp_path / "figure.jpg")
    with pytest.raises(BenchError, match="no specimen"):
        figure.draw(replace(comparison, scans=(), specimens=(), standing=()))
    with pytest.raises(FileProblem):
        figure.save(comparison, tmp_path / "no folder" / "figure.png", dpi=30)


def test_words_that_leave_no_room_for_maps_are_refused(comparison, monkeypatch):
    monkeypatch.setattr(figure, "arrange", lambda _need: None)
    with pytest.raises(BenchError, match="do not fit"):
        figure.draw(comparison)


def test_a_failing_save_leaves_the_old_figure_whole(comparison, tmp_path, monkeypatch):
    path = tmp_path / "figure.png"
    path.write_bytes(b"old")

    def fails(*_args, **_keywords):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("matplotlib.figure.Figure.savefig", fails)
    with pytest.raises(FileProblem, match="No space"):
        figure.save(comparison, path, dpi=30)
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_the_bundled_typeface_is_used_whatever_is_installed():
    """An edition of the same name on the machine would set the figure in other widths than the next machine."""
    from matplotlib.font_manager import fontManager

    for weight, file in lettering.FILES.items():
        found = Path(fontManager.findfont(lettering.font("mica", 10.0, weight), fallback_to_default=False))
        assert found.name == file
        assert found.parent == Path(lettering.__file__).parent.parent / "fonts"


def test_a_line_is_as_wide_as_was_reckoned_at_every_resolution(make_comparison):
    for dpi in (72, 100, 150):
        drawn = figure.draw(make_comparison(3, 3, side=16), dpi=dpi)
        for line, box in texts(drawn):
            reckoned = lettering.width(line.get_text(), line.get_fontsize(), line.get_weight()) * dpi / 72
            assert box.width == pytest.approx(reckoned, rel=0.01, abs=1.5)  # the box ends on whole pixels
