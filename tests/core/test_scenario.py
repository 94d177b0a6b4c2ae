"""The invented samples: on disk as the program makes them, readable without a word, and true to what was planted."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy import ndimage
from scipy.optimize import curve_fit

from core import formats
from core.compare import compare
from core.errors import FileProblem
from core.gather import gather
from core.heightmap import FloatArray
from core.progress import Progress
from core.scenario import INVENTED, Sample, carriers, close_ups, write_demo
from core.scenario.carriers import CONVERTER_STEP, GRAPHITE_STEP, SAPPHIRE_STEP
from core.treatment import Treatment

SAMPLES = Path(__file__).parents[2] / "sample_data"
ORDER = ["annealed sapphire", "cleaved graphite", "stripped gold", "cover glass", "polymer film", "lapped steel"]
ROUNDING = {".npy": 0.5e-12, ".txt": 5e-12, ".csv": 5e-12, ".asc": 5e-12}  # what a format's digits cost, metres

ALL = [*carriers(), *close_ups()]
WIDE = ALL[:18]
FLAT = [sample for sample in ALL if sample.truth.sq < 1e-9]  # film and steel have relief as high as a speck
NAMES = [sample.scan.name for sample in ALL]


def on_disk(sample: Sample) -> Path:
    folder = SAMPLES / ("close-ups" if sample in ALL[18:] else "carriers")
    found = [path for path in folder.glob(f"{sample.scan.name}.*") if path.suffix != ".toml"]
    assert len(found) == 1
    return found[0]


def levelled(sample: Sample) -> FloatArray:
    """Heights in nanometres after the default treatment of the file on disk."""
    return Treatment.default().apply(formats.read(on_disk(sample))[0]).z * 1e9


@pytest.mark.parametrize("sample", ALL, ids=NAMES)
def test_file_reads_back_without_flags(sample: Sample) -> None:
    maps = formats.read(on_disk(sample))
    assert len(maps) == 1
    scan = maps[0]
    side = 5e-6 if sample.spot.startswith("spot") else 2e-6
    assert scan.shape == (256, 256)
    assert scan.size == pytest.approx((side, side), rel=1e-9)
    assert scan.name == sample.scan.name
    assert scan.metadata["specimen"] == sample.specimen
    assert scan.metadata["spot"] == sample.spot
    assert scan.metadata["instrument"] == "invented"
    assert scan.metadata["line_rate"] == 0.97
    assert scan.metadata["probe_radius"] == pytest.approx(8e-9)
    assert scan.metadata["note"] == INVENTED


@pytest.mark.parametrize("sample", ALL, ids=NAMES)
def test_file_holds_what_the_script_makes(sample: Sample) -> None:
    path = on_disk(sample)
    heights = formats.read(path)[0].z
    apart = np.abs(heights - sample.scan.z)
    assert np.array_equal(np.isnan(heights), np.isnan(sample.scan.z))
    # Another FFT may turn a height at the edge of a converter step by that one step; this happens to few points.
    rounding = ROUNDING.get(path.suffix, 0.0) * (1 + 1e-6) + 1e-14
    assert np.nanmax(apart) <= CONVERTER_STEP + rounding
    assert np.count_nonzero(apart > rounding) <= 65


def test_sidecars_and_readme_are_those_the_script_makes(tmp_path: Path) -> None:
    reports: list[Progress] = []
    made = write_demo(tmp_path / "here" / "there", reports.append)
    root = tmp_path / "here" / "there"
    assert [path.relative_to(root) for path in made[:-1]] == [on_disk(s).relative_to(SAMPLES) for s in ALL]
    assert made[-1] == root / "README.md"
    assert [report.done for report in reports] == list(range(1, 24))
    for text in [made[-1], *root.rglob("*.toml")]:
        # As text: a checkout may have turned the line ends.
        assert text.read_text("utf-8") == (SAMPLES / text.relative_to(root)).read_text("utf-8")
    assert "invented" in made[-1].read_text(encoding="utf-8")


def test_same_seed_same_bytes_and_another_seed_other_surfaces(tmp_path: Path) -> None:
    first, second, other = (write_demo(tmp_path / name, rng_seed=seed) for name, seed in (("a", 5), ("b", 5), ("c", 6)))
    for one, two, three in zip(first, second, other, strict=True):
        assert one.read_bytes() == two.read_bytes()
        assert one.read_bytes() != three.read_bytes()


def test_samples_are_small_and_nothing_else_lies_among_them() -> None:
    files = [path for path in SAMPLES.rglob("*") if path.is_file() and "__pycache__" not in path.parts]
    assert sum(path.stat().st_size for path in files) < 5_000_000
    assert len(files) == 2 * len(ALL) + 2  # scans and sidecars; the README and the script
    assert {on_disk(sample).suffix for sample in ALL} == {
        ".x3p", ".h5", ".tif", ".npy", ".npz", ".txt", ".csv", ".asc", ".sdf"
    }  # fmt: skip


def test_a_folder_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(FileProblem, match="samples cannot be written"):
        write_demo(tmp_path / "taken")


def test_the_folder_is_a_bench_of_six_specimens() -> None:
    bench = gather([SAMPLES / "carriers"])
    assert not bench.refused
    assert sorted(bench.specimens) == sorted(ORDER)
    assert all([scan.spot for scan in scans] == ["spot 1", "spot 2", "spot 3"] for scans in bench.specimens.values())


def test_the_two_crystals_are_tied_and_the_others_told_apart() -> None:
    standing = compare([SAMPLES / "carriers"]).standing
    assert [place.specimen for place in standing] == ORDER
    assert [place.tie for place in standing] == ["a", "a", "b", "c", "d", "e"]


def test_close_ups_are_not_comparable_with_the_carriers() -> None:
    (wide,) = compare([ALL[0].scan, ALL[6].scan]).comparability
    assert not {"area", "pixel"} & set(wide.reasons)
    (mixed,) = compare([ALL[0].scan, ALL[20].scan]).comparability
    assert mixed.level == "red"
    assert {"area", "pixel"} <= set(mixed.reasons)


# What was planted


@pytest.mark.parametrize("sample", ALL, ids=NAMES)
def test_sq_after_the_default_treatment(sample: Sample) -> None:
    truth = sample.truth
    # Squares add up but for chance likeness r of surface and bow: 2 r · surface · bow. A few long waves fit a map, so r
    # may reach 0.4 (1/√6); all other parts are alike by less than 1 %.
    tolerance = 0.4 * truth.surface * truth.bow / truth.sq**2 + 0.01
    assert np.sqrt(np.nanmean(levelled(sample) ** 2)) == pytest.approx(truth.sq * 1e9, rel=tolerance)


def test_specimens_are_in_the_order_of_the_story_and_spots_scatter_believably() -> None:
    typical = []
    for name in ORDER:
        spots = np.array([np.log(s.truth.sq) for s in WIDE if s.specimen == name])
        assert 0.005 < spots.std(ddof=1) < 0.25  # graphite: not every spot has the same steps
        typical.append(spots.mean())
    assert typical == sorted(typical)
    # Order of magnitude of published roughness of such surfaces over 1 to 10 µm, nm: from memory.
    for value, (low, high) in zip(
        np.exp(typical) * 1e9, [(0.05, 0.3), (0.05, 0.3), (0.3, 0.6), (0.2, 1), (0.5, 3), (5, 20)], strict=True
    ):
        assert low < value < high


def step_height(heights: FloatArray, reach: int = 2) -> float:
    """The step by the histogram of differences along the rows: points on one terrace, and points across one edge."""
    differences = (heights[:, reach:] - heights[:, :-reach]).ravel()
    differences -= np.median(differences)
    sign = math.copysign(1, float(np.mean(differences**3)))
    counts, edges = np.histogram(sign * differences, bins=np.arange(-0.5, 1.0, 0.01))
    middle = (edges[1:] + edges[:-1]) / 2

    def two_peaks(x: FloatArray, level: float, share: float, centre: float, step: float, width: float) -> FloatArray:
        bells: FloatArray = np.exp(-(((x - centre) / width) ** 2) / 2)
        return level * (bells + share * np.exp(-(((x - centre - step) / width) ** 2) / 2))

    beyond = differences[sign * differences > 0.15]
    start = (counts.max(), 0.1, 0.0, abs(float(np.median(beyond))), 0.06)
    found, _ = curve_fit(two_peaks, middle, counts, start)
    return float(found[3])


@pytest.mark.parametrize("sample", [s for s in ALL if s.truth.steps], ids=[s.scan.name for s in ALL if s.truth.steps])
def test_steps_by_the_histogram(sample: Sample) -> None:
    # Texture and noise of 0.06 nm in each difference. An edge is crossed by a thousand pairs, but the texture is alike
    # along some 0.3 µm, so some 15 of them are independent: 0.06/√15 = 0.015 nm, 5 % of a graphite step, is a cautious
    # bound for one edge; the terraces have a dozen edges, or five in a close-up: 0.015/√5 = 0.007 nm, 3 %.
    tolerance = 0.05 if sample.specimen == "cleaved graphite" else 0.03
    assert step_height(levelled(sample)) == pytest.approx(sample.truth.steps[0] * 1e9, rel=tolerance)


def test_planted_steps_are_lattice_steps() -> None:
    for sample in ALL:
        unit = {"annealed sapphire": SAPPHIRE_STEP, "cleaved graphite": GRAPHITE_STEP}.get(sample.specimen)
        assert bool(sample.truth.steps) == (unit is not None)
        for step in sample.truth.steps:
            assert unit is not None
            assert round(step / unit, 9) in (1.0, 2.0)
    assert pytest.approx(0.2165e-9, abs=1e-13) == SAPPHIRE_STEP  # c/6, from memory
    assert pytest.approx(0.33555e-9, abs=4e-13) == GRAPHITE_STEP  # c/2, Trucano & Chen, Nature 258 (1975) 136


@pytest.mark.parametrize("sample", FLAT, ids=[sample.scan.name for sample in FLAT])
def test_specks_by_a_threshold(sample: Sample) -> None:
    # Texture of 0.5 nm stays below 3.5 nm (seven sigma); the lowest speck, 8 nm high and 42 nm wide, keeps 57 % of its
    # height on the coarsest lattice: 4.6 nm less the texture under it.
    heights = levelled(sample)
    heights = heights - np.median(heights)
    labels, found = ndimage.label(heights > 3.5, structure=np.ones((3, 3)))
    assert found == len(sample.truth.specks)
    centres = np.array(ndimage.center_of_mass(heights, labels, range(1, found + 1))).reshape(-1, 2) + 0.5
    for speck in sample.truth.specks:
        gaps = np.hypot(centres[:, 0] - speck.y / sample.scan.pitch[0], centres[:, 1] - speck.x / sample.scan.pitch[1])
        assert gaps.min() < 1.0


def hum_line(heights: FloatArray) -> tuple[float, float]:
    """Frequency (Hz) of the strongest line near 50 Hz, and its power over the median of the bins around it."""
    rate, columns = 0.97, heights.shape[1]
    window = np.outer(np.hanning(heights.shape[0]), np.hanning(columns))
    power = np.abs(np.fft.fft2(heights * window)) ** 2
    bin_of_50 = round(50 / (2 * rate))
    region = power[:, bin_of_50 - 1 : bin_of_50 + 2]
    row, column = np.unravel_index(int(np.argmax(region)), region.shape)
    along = (bin_of_50 - 1 + int(column)) * 2 * rate  # Hz, to one bin
    phase = int(row) / heights.shape[0]  # periods from line to line, but for whole ones
    # Rows start 1/rate apart, half of which the spectrum along the row has used up already.
    whole = round(along / rate - phase)
    near = power[np.arange(row - 16, row + 17) % heights.shape[0], bin_of_50 - 1 : bin_of_50 + 2]
    return (whole + phase) * rate, float(region.max() / np.median(near))


def test_mains_hum_is_found_in_one_scan_only() -> None:
    humming = [sample for sample in WIDE if sample.truth.hum]
    assert [sample.scan.name for sample in humming] == ["stripped-gold-spot-2"]
    frequency, ratio = hum_line(levelled(humming[0]))
    assert frequency == pytest.approx(50, abs=0.5 * 0.97 / 256 * 2)  # the nearest bin of 256 lines, twice over
    # Bins of a texture are exponential: median ln 2, the largest of 768 about ln 768, hardly ever ln(768 · 1000).
    assert ratio > math.log(768_000) / math.log(2)
    for sample in WIDE:
        if sample.specimen == "stripped gold" and not sample.truth.hum:
            assert hum_line(levelled(sample))[1] < math.log(768_000) / math.log(2)


def test_missing_points() -> None:
    assert {s.scan.name: formats.read(on_disk(s))[0].missing for s in ALL if s.truth.missing} == {
        "polymer-film-spot-3": 9
    }
    assert all(s.scan.missing == s.truth.missing for s in ALL)


def test_bow_of_the_scanner_is_common_to_all_carriers() -> None:
    # 0.298 · sag, sag 0.1 nm ± 10 % over 5 µm, and more off the middle of the scanner's range.
    for sample in WIDE:
        low, high = (0.53e-9, 0.66e-9) if sample.specimen == "polymer film" else (0.026e-9, 0.033e-9)
        assert low < sample.truth.bow < high
