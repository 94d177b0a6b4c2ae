"""The composed figure: every page and row, nothing overlaps, the plan travels, the meter is exact, ranges are there."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest
from matplotlib import rc_context
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from core.carried import carried_by
from core.colours import SPECIMENS, height_table
from core.compare import compare
from core.errors import FigureError
from core.figure.composed import CURVES, LOOKS, PAGES, ROWS, FigurePlan, compose, draw, plan_in, save
from core.figure.composed.fairness import fairness
from core.figure.composed.plots import DASHES
from core.figure.slide import RC
from core.heightmap import HeightMap

LONG = "polymer film on a carrier with a name that nobody would want to read aloud, batch 2024-11, wafer"
ALL = tuple(ROWS)


def overlap(one, two, slack=1.0):
    across = min(one.x1, two.x1) - max(one.x0, two.x0)
    return across > slack and min(one.y1, two.y1) - max(one.y0, two.y0) > slack


def check(drawn, least):
    """No text is cut, none lies on another or on the edge of a picture, none is too small."""
    renderer = FigureCanvasAgg(drawn).get_renderer()
    with rc_context(RC):  # as it is when the file is written
        found = [(text, text.get_window_extent(renderer)) for text in drawn.texts]
    page = drawn.bbox
    for text, box in found:
        inside = page.x0 - 0.5 <= box.x0 and box.x1 <= page.x1 + 0.5 and page.y0 <= box.y0 and box.y1 <= page.y1
        assert inside, text.get_text()
        assert text.get_fontsize() >= least - 1e-6
    for (one, box), (two, other) in itertools.combinations(found, 2):
        assert not overlap(box, other), (one.get_text(), two.get_text())
    frames = [axes.get_window_extent() for axes in drawn.axes]
    for one, two in itertools.combinations(frames, 2):
        assert not overlap(one, two)
    for (text, box), frame in itertools.product(found, frames):
        inside = frame.x0 <= box.x0 and box.x1 <= frame.x1 and frame.y0 <= box.y0 and box.y1 <= frame.y1
        assert inside or not overlap(box, frame), text.get_text()


def names(count):
    return tuple(f"{LONG} {n + 1}" if n % 2 == 0 else f"No. {n + 1}" for n in range(count))


@pytest.fixture(scope="module")
def benches(make_comparison):
    return {n: make_comparison(n, 2, names=names(n), side=16, title=LONG) for n in (1, 2, 5, 7, 24)}


@pytest.mark.parametrize("count", [1, 5, 24])
@pytest.mark.parametrize("page", PAGES)
def test_nothing_overlaps_on_any_page(benches, count, page):
    for rows in (("shared", "own"), ("curves",), ("ranking",)):
        drawn = draw(benches[count], FigurePlan(page=page, rows=rows, dpi=100))
        check(drawn, PAGES[page].least)


@pytest.mark.parametrize(("count", "page"), [(2, "slide"), (5, "two-columns"), (7, "poster"), (24, "poster")])
def test_nothing_overlaps_with_all_rows(benches, count, page):
    check(draw(benches[count], FigurePlan(page=page, rows=ALL, dpi=100)), PAGES[page].least)


def test_what_finds_no_room_is_refused_with_the_fix(benches):
    with pytest.raises(FigureError, match="do not fit") as caught:
        compose(benches[24], FigurePlan(page="slide", rows=ALL))
    assert "larger page" in caught.value.fix


def test_the_page_has_the_size_that_was_asked_for(comparison, tmp_path):
    for page, kind in PAGES.items():
        made = save(comparison, FigurePlan(page=page, dpi=72), tmp_path / "figure.png")
        with Image.open(tmp_path / "figure.png") as picture:
            wide, high = picture.size
        assert made.size_mm[1] <= kind.height + 1e-6
        assert wide == pytest.approx(kind.width / 25.4 * 72, abs=1)
        assert high == pytest.approx((kind.height if kind.fixed else made.size_mm[1]) / 25.4 * 72, abs=1)


def test_type_is_of_the_size_that_was_asked_for(comparison):
    drawn = draw(comparison, FigurePlan(rows=("shared",), points=12))
    assert compose(comparison, FigurePlan(rows=("shared",), points=12)).points == 12
    assert min(text.get_fontsize() for text in drawn.texts) == pytest.approx(12)


def test_every_own_scale_tells_its_range(benches):
    made = benches[7]
    told = [text.get_text() for text in draw(made, FigurePlan(rows=("own",))).texts]
    ranges = [text for text in told if re.fullmatch(r"−?[\d.]+ (–|to) [\d.]+ (nm|pm)", text)]
    assert len(ranges) == 7


def test_chosen_scans_stand_in_their_order(comparison):
    wanted = (comparison.scans[4].name, comparison.scans[0].name)
    made = compose(comparison, FigurePlan(scans=wanted))
    assert tuple(one.scan.name for one in made.shown) == wanted
    assert made.caption.startswith("Chosen spots shown")
    with pytest.raises(FigureError, match="no scan"):
        compose(comparison, FigurePlan(scans=("nobody",)))


def test_the_caption_tells_treatment_band_n_and_mask(comparison):
    told = compose(comparison, FigurePlan(notes="Invented data.")).caption
    for part in ("plane levelled", "wavelengths", "n = 3", "Masked (amber)", "Grey: no height", "Invented data."):
        assert part in told


def test_the_meter_is_exact():
    """Derived here: heights spread evenly over 0 to 1 nm use a quarter of 4 nm; half of them lie above 0.5 nm."""
    even = HeightMap(np.linspace(0, 1e-9, 100_001).reshape(1, -1), (1e-8, 1e-8), name="even")
    assert fairness(even, "shared", 0.0, 4e-9).used == pytest.approx(0.998 / 4, rel=1e-4)
    assert fairness(even, "shared", 0.0, 0.5e-9).above == pytest.approx(0.5, rel=1e-4)
    assert fairness(even, "shared", 0.0, 0.5e-9).last == 1.0


@pytest.mark.parametrize("suffix", [".png", ".svg", ".pdf"])
def test_the_file_carries_plan_and_recipe_and_is_drawn_again_alike(comparison, tmp_path, suffix):
    plan = FigurePlan(rows=("shared", "curves"), look="dark", notes='“a” = <b> "c"', dpi=50)
    save(comparison, plan, tmp_path / f"one{suffix}")
    told = carried_by(tmp_path / f"one{suffix}")
    assert plan_in(told) == plan
    save(comparison, plan_in(told), tmp_path / f"two{suffix}")
    assert (tmp_path / f"one{suffix}").read_bytes() == (tmp_path / f"two{suffix}").read_bytes()


def test_pdf_embeds_its_typefaces_and_keeps_lines_and_text(comparison, tmp_path):
    save(comparison, FigurePlan(rows=("shared", "curves")), tmp_path / "figure.pdf")
    data = (tmp_path / "figure.pdf").read_bytes()
    assert data.count(b"/FontFile2") >= 1
    assert b"/Type3" not in data
    assert data.count(b"/Subtype /Image") >= 3


def test_transparent_is_transparent(comparison, tmp_path):
    save(comparison, FigurePlan(look="transparent", dpi=50), tmp_path / "figure.png")
    with Image.open(tmp_path / "figure.png") as picture:
        assert picture.convert("RGBA").getpixel((1, 1))[3] == 0


@pytest.mark.parametrize("look", LOOKS)
def test_hostile_names_are_drawn(hostile, tmp_path, look):
    save(hostile, FigurePlan(rows=("shared", "own", "ranking"), look=look, dpi=50), tmp_path / "figure.svg")


@pytest.mark.parametrize(
    "table",
    [{"page": "wall"}, {"rows": []}, {"rows": ["own", "own"]}, {"rows": "own"}, {"points": 1}, {"dpi": True},
     {"colour": 1}, {"schema": 2}, {"curves": [], "rows": ["curves"]}, {"look": 3}],
)  # fmt: skip
def test_a_plan_that_makes_no_sense_is_refused(table):
    with pytest.raises(FigureError) as caught:
        FigurePlan.from_table(table)
    assert caught.value.fix


def test_a_plan_comes_back_whole():
    plan = FigurePlan(
        "poster", ALL, ("a\n=1", 'x"y'), tuple(CURVES), "dark", "", "ü\t🙂", False, False, False, 21.5, 300
    )
    assert FigurePlan.from_toml(plan.to_toml()) == plan
    with pytest.raises(FigureError):
        FigurePlan.from_toml("page = [")


# Matrices of H. Brettel, F. Viénot and J. D. Mollon's simulation as simplified by G. M. Machado, M. M. Oliveira and
# L. A. F. Fernandes, IEEE Trans. Vis. Comput. Graph. 15 (2009) 1291, severity 1, in linear RGB; from memory.
BLIND = {
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
    "grey": [[0.2126, 0.7152, 0.0722]] * 3,
}


def linear(colours):
    share = np.asarray(colours, float) / 255
    return np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)


@pytest.mark.parametrize("kind", BLIND)
def test_heights_stay_ordered_for_every_eye(kind):
    """Each colour of the height table is lighter than the one ten before it, as every eye and a grey print see it."""
    seen = np.clip(linear(height_table()) @ np.array(BLIND[kind]).T, 0, 1)
    lightness = seen @ [0.2126, 0.7152, 0.0722]
    assert (np.diff(lightness[::10]) > 0).all()


@pytest.mark.parametrize("kind", BLIND)
def test_lines_are_told_apart_by_colour_or_dashes(kind):
    """Of the first twelve specimens no two share both the dashes and a colour that this eye confuses."""
    colours = np.array([[int(c[i : i + 2], 16) for i in (1, 3, 5)] for c in SPECIMENS])
    seen = np.clip(linear(colours) @ np.array(BLIND[kind]).T, 0, 1) ** (1 / 2.4)
    for one, two in itertools.combinations(range(12), 2):
        same_dashes = DASHES[one % len(DASHES)] == DASHES[two % len(DASHES)]
        assert not same_dashes or np.linalg.norm(seen[one] - seen[two]) > 0.04, (one, two)


def test_mixed_sizes_and_single_spots_fit(make_bench):
    bench = make_bench(4, 1, names=names(4))
    scans = tuple(
        replace(scan, raw=scan.raw.with_(pitch=(2e-8, 5e-8))) if n % 2 else scan for n, scan in enumerate(bench.scans)
    )
    drawn = draw(compare(replace(bench, scans=scans)), FigurePlan(rows=ALL, page="poster", dpi=60))
    check(drawn, PAGES["poster"].least)
