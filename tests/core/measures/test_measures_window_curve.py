"""The window curve against numpy.linalg.lstsq in every window, closed forms, and what must hold on any map."""

from __future__ import annotations

import math
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from core.heightmap import HeightMap
from core.measures.window_curve import WindowCurve, block_shape, sizes_up_to, window_curve
from core.synthetic import gaussian_texture, self_affine

Heights = NDArray[np.float64]
PITCHES = ((1e-8, 1e-8), (1e-8, 1.3e-8), (2.2e-8, 1e-8))
quick = settings(max_examples=30, deadline=None)


def by_windows(scan: HeightMap) -> dict[tuple[int, int], tuple[float, float, float, float, int, int]]:
    """The same by the shortest way there is: one least-squares plane after the other, in long double at the end."""
    high, wide = block_shape(scan.pitch)
    down, across = scan.shape[0] // high, scan.shape[1] // wide
    top, left = (scan.shape[0] - down * high) // 2, (scan.shape[1] - across * wide) // 2
    found = {}
    used = scan.used
    for size in sizes_up_to(min(down, across)) if min(down, across) else ():
        variances, out = [], 0
        for row in range(down - size + 1):
            for column in range(across - size + 1):
                window = (
                    slice(top + row * high, top + (row + size) * high),
                    slice(left + column * wide, left + (column + size) * wide),
                )
                counts = used[window]
                if counts.mean() < 0.9 * (1 - 1e-12):
                    out += 1
                    continue
                y, x = np.nonzero(counts)
                terms = np.stack([np.ones(y.size), y - y.mean(), x - x.mean()], axis=1)
                z = scan.z[window][counts]
                z = z - z.mean()
                residual = z - terms @ np.linalg.lstsq(terms, z, rcond=None)[0]
                variances.append(float(np.mean(residual.astype(np.longdouble) ** 2)))
        if variances:
            spread = np.sqrt(np.quantile(variances, [0.16, 0.5, 0.84]))
            found[size * high, size * wide] = (math.sqrt(np.mean(variances)), *spread.tolist(), len(variances), out)
    return found


def as_dict(curve: WindowCurve) -> dict[tuple[int, int], tuple[float, float, float, float, int, int]]:
    columns = (curve.rms, curve.low, curve.median, curve.high, curve.windows, curve.left_out)
    rows = zip(*(column.tolist() for column in columns), strict=True)
    return {(int(y), int(x)): row for (y, x), row in zip(curve.points, rows, strict=True)}


def check(curve: WindowCurve, scan: HeightMap, rel: float = 1e-9) -> None:
    found, expected = as_dict(curve), by_windows(scan)
    assert found.keys() == expected.keys()
    for points, row in expected.items():
        assert found[points] == pytest.approx(row, rel=rel, abs=0), points


@quick
@given(
    st.integers(0, 2**32 - 1),
    st.tuples(st.integers(8, 60), st.integers(8, 60)),
    st.sampled_from(PITCHES),
    st.sampled_from(["white", "smooth"]),
    st.sampled_from([0.0, 0.03, 0.1]),
)
def test_equals_a_plane_in_every_window(
    seed: int, shape: tuple[int, int], pitch: tuple[float, float], kind: str, missing: float
) -> None:
    rng = np.random.default_rng(seed)
    z = 1e-9 * rng.standard_normal(shape)
    if kind == "smooth":
        z = gaussian_texture(shape, (1.0, 1.0), sq=1e-9, length=6.0, rng=rng)
    out = rng.random(shape) < missing
    lost = out & (rng.random(shape) < 0.5)
    check(
        window_curve(scan := HeightMap(np.where(lost, np.nan, z), pitch, mask=out & ~lost)),
        scan,
    )


@pytest.mark.parametrize(
    "hole", [(slice(10, 30), slice(5, 25)), (slice(17, 18), slice(None)), (slice(0, 8), slice(0, 8))]
)
def test_holes_in_one_place(hole: tuple[slice, slice]) -> None:
    z = np.random.default_rng(3).standard_normal((56, 72)) * 1e-9
    z[hole] = np.nan
    check(window_curve(scan := HeightMap(z, PITCHES[1])), scan)


@pytest.mark.parametrize(("offset", "tilt"), [(1e3, 0.0), (1e6, 0.0), (0.0, 1e3), (1e6, 1e4)])
def test_level_and_tilt_cost_no_more_than_their_own_rounding(offset: float, tilt: float) -> None:
    """In units of Sq, the tilt over the whole map; against the same heights, rounded as they are, less the plane."""
    rng = np.random.default_rng(4)
    flat = rng.standard_normal((64, 64))
    y, x = np.mgrid[0:64, 0:64] / 64
    plane = offset + tilt * (x - 0.3 * y)
    rough = flat + plane
    seen = (rough.astype(np.longdouble) - plane.astype(np.longdouble)).astype(np.float64)
    curve, expected = window_curve(HeightMap(rough, PITCHES[0])), window_curve(HeightMap(seen, PITCHES[0]))
    assert curve.rms == pytest.approx(expected.rms, rel=1e-9 + 50 * (offset + tilt) * 2.2e-16, abs=0)


def test_a_plane_reads_nothing() -> None:
    y, x = np.mgrid[0:50, 0:70]
    curve = window_curve(HeightMap(1e-9 * (5 + 2 * x - 3 * y), PITCHES[1]))
    assert curve.rms.max() < 1e-14 * 1e-9 * 350


def test_white_noise_loses_three_degrees_of_freedom() -> None:
    """Variance σ² (1 − 3/n), closed form. Scatter of the mean over a map of N points: σ² √(2/N), here 0.14 %."""
    z = np.random.default_rng(5).standard_normal((1024, 1024))
    curve = window_curve(HeightMap(z, (1.0, 1.0)))
    n = curve.points.prod(axis=1)
    assert curve.rms**2 == pytest.approx(1 - 3 / n, abs=5 * math.sqrt(2 / z.size))


def test_parabola() -> None:
    """z = x²/2 about its line in n columns: Var = (n² − 1)(n² − 4)/720, closed form (fourth moments of 0 … n−1)."""
    x = np.arange(128.0)
    curve = window_curve(HeightMap(np.tile(x**2 / 2, (128, 1)), (1.0, 1.0)))
    n = curve.points[:, 1].astype(float)
    assert curve.rms**2 == pytest.approx((n**2 - 1) * (n**2 - 4) / 720, rel=1e-9, abs=0)
    assert curve.low == pytest.approx(curve.high, rel=1e-9, abs=0)


def expected_variance(power: Heights, n: int) -> float:
    """Ensemble mean of the variance in n × n points of a field with this power in each bin of `fft2`, closed form.

    A wave of frequency f keeps 1 − Σ|φ̂(f)|² of its variance, φ the three functions 1, x, y made orthonormal on the
    window: all of them products of Σcos and Σx·sin over n points.
    """
    x = np.arange(n) - (n - 1) / 2
    turns = [2 * np.pi * np.fft.fftfreq(size)[:, None] * x for size in power.shape]
    mean = [np.cos(turn).mean(1) ** 2 for turn in turns]
    slope = [(np.sin(turn) * x).mean(1) ** 2 * 12 / (n**2 - 1) for turn in turns]
    kept = 1 - np.outer(mean[0], mean[1]) - np.outer(slope[0], mean[1]) - np.outer(mean[0], slope[1])
    return float(np.sum(power * kept) / power.sum())


@pytest.mark.parametrize("hurst", [0.3, 0.8])
def test_mean_over_many_maps_is_that_of_the_spectrum(hurst: float) -> None:
    """Within four standard errors of 24 independent fields, at every size."""
    n, rng = 128, np.random.default_rng(9)
    f = np.hypot(np.fft.fftfreq(n)[:, None], np.fft.fftfreq(n)[None, :])
    power = np.maximum(f, 1 / 64) ** (-2 - 2 * hurst)
    power[0, 0] = 0.0
    power /= power.sum()
    squares = []
    for _ in range(24):
        white = np.fft.fft2(rng.standard_normal((n, n)))
        curve = window_curve(HeightMap(np.fft.ifft2(white * np.sqrt(power)).real * n, (1.0, 1.0)))
        squares.append(curve.rms**2)
    expected = [expected_variance(power, int(side)) for side in curve.points[:, 0]]
    error = np.std(squares, axis=0, ddof=1) / math.sqrt(24)
    assert (np.abs(np.mean(squares, axis=0) - expected) < 4 * error).all()
    assert error[0] < 0.03 * expected[0]


@pytest.mark.parametrize("hurst", [0.3, 0.7])
def test_self_affine_growth_is_the_hurst_exponent(hurst: float) -> None:
    """Variance c (side^2H − k) below the roll-off, k what the lattice cannot carry: its growth goes as side^2H."""
    squares = []
    for seed in range(6):
        # a field of 1024 points for one map of 512: as many windows as four maps of 256 would offer, for half the work
        z = self_affine((512, 512), (1.0, 1.0), sq=1.0, hurst=hurst, roll_off=340.0, rng=np.random.default_rng(seed))
        curve = window_curve(HeightMap(z, (1.0, 1.0)))
        squares.append([curve.rms[curve.side == side].item() ** 2 for side in (8, 16, 32, 64)])
    growth = np.diff(np.mean(squares, axis=0))
    slope = np.polyfit(np.log([8.0, 16.0, 32.0]), np.log(growth), 1)[0]
    # the growth from 32 to 64 rests on about 64 windows in each of 6 maps: 2 H scatters by about 0.06
    assert slope / 2 == pytest.approx(hurst, abs=0.06)


@quick
@given(st.integers(0, 2**32 - 1), st.integers(0, 3), st.booleans(), st.sampled_from(PITCHES))
def test_turning_mirroring_scaling(seed: int, turns: int, transposed: bool, pitch: tuple[float, float]) -> None:
    high, wide = block_shape(pitch)
    rng = np.random.default_rng(seed)
    z = rng.standard_normal((3 * high + 2, 4 * wide + 4))  # an even rest: the grid's middle stays where it is
    z[rng.random(z.shape) < 0.02] = np.nan
    turned = np.rot90(z, turns)
    turned = turned.T if transposed else turned
    dy, dx = pitch[::-1] if (turns % 2 == 1) != transposed else pitch
    here = window_curve(HeightMap(z, pitch))
    there = window_curve(HeightMap(np.ascontiguousarray(-3 * turned + 7), (2 * dy, 2 * dx)))
    for name in ("rms", "low", "median", "high"):
        assert getattr(there, name) == pytest.approx(3 * getattr(here, name), rel=1e-9, abs=0)
    assert there.side == pytest.approx(2 * here.side, rel=1e-12, abs=0)
    assert there.windows.tolist() == here.windows.tolist()


@quick
@given(st.integers(0, 2**32 - 1))
def test_what_does_not_count_leaves_no_trace(seed: int) -> None:
    rng = np.random.default_rng(seed)
    z = rng.standard_normal((40, 48))
    out = rng.random(z.shape) < 0.05
    missing = window_curve(HeightMap(np.where(out, np.nan, z), PITCHES[0]))
    masked = window_curve(HeightMap(np.where(out, 1e6, z), PITCHES[0], mask=out))
    assert masked.rms.tolist() == missing.rms.tolist()


def test_weights_of_one_equal_no_weights() -> None:
    """A map complete but for one corner that no block covers goes through the weighted sums: the same numbers."""
    z = np.random.default_rng(6).standard_normal((50, 50))
    holed = z.copy()
    holed[0, 0] = np.nan
    assert window_curve(HeightMap(holed, PITCHES[0])).rms == pytest.approx(
        window_curve(HeightMap(z, PITCHES[0])).rms, rel=1e-12, abs=0
    )


def test_block_is_nearly_square() -> None:
    for ratio in np.linspace(1, 5, 101):
        for pitch in ((1.0, float(ratio)), (float(ratio), 1.0)):
            high, wide = block_shape(pitch)
            assert min(high, wide) == 8
            assert abs(math.log(high * pitch[0] / (wide * pitch[1]))) < math.log(1 + 0.5 / 8) + 1e-12


@pytest.mark.parametrize("z", [np.zeros((7, 100)), np.full((32, 32), np.nan)])
def test_empty_where_no_window_has_points_enough(z: Heights) -> None:
    curve = window_curve(HeightMap(z, PITCHES[0]))
    assert len(curve) == 0
    assert curve.points.shape == (0, 2)


def test_arrays_are_read_only() -> None:
    curve = window_curve(HeightMap(np.random.default_rng(7).random((20, 20)), PITCHES[0]))
    for name in ("side", "rms", "low", "median", "high", "windows", "left_out", "points"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(curve, name)[0] = 0


@pytest.mark.parametrize("holes", [False, True])
def test_memory_is_about_a_map(holes: bool) -> None:
    """Summed-area tables of ten moments at full resolution would be ten maps; measured without the map itself."""
    z = np.random.default_rng(8).random((1024, 1024))
    z[0, 0] = np.nan if holes else 0.0
    scan = HeightMap(z, PITCHES[0])
    tracemalloc.start()
    window_curve(scan)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < (2.5 if holes else 1.5) * scan.z.nbytes, peak / scan.z.nbytes
