"""`compare` on 24 maps of 1024² against the plain loop that a person would write with numpy and scipy.

Run with:  pytest tests/benchmarks --benchmark-enable --benchmark-only -m "long or not long"
The two run in one process on the same maps, so the ratio of their means is the result; no time is asserted. The loop
reads what `compare` reads, but for the minimum zone and PVr, which no library gives; it knows no holes, no intervals
and no standing.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from core.bench import Bench, Scan
from core.compare import compare
from core.heightmap import HeightMap
from core.synthetic import self_affine

PITCH = (1e-8, 1e-8)


def maps(count: int, side: int) -> list[NDArray[np.float64]]:
    rng = np.random.default_rng(24)
    tilt = np.linspace(0, 20e-9, side)
    roll_off = 64 * PITCH[0]
    return [
        self_affine((side, side), PITCH, sq=1e-9, hurst=0.8, roll_off=roll_off, rng=rng)
        + 1e-10 * rng.standard_normal((side, side))
        + (tilt + tilt[:, None])
        for _ in range(count)
    ]


def plain(z: NDArray[np.float64], dx: float) -> dict[str, float]:
    """Heights and slopes: a design matrix for the plane, powers for the moments, percentiles, central differences."""
    from scipy import stats

    ny, nx = z.shape
    y, x = np.mgrid[:ny, :nx]
    design = np.c_[np.ones(z.size), x.ravel(), y.ravel()]
    coefficients, *_ = np.linalg.lstsq(design, z.ravel(), rcond=None)
    flat = z - (design @ coefficients).reshape(z.shape)
    flat -= flat.mean()
    sy, sx = np.gradient(flat, dx)
    low, high = np.percentile(flat, [0.1, 99.9])
    return {
        "Sq": float(np.sqrt(np.mean(flat**2))),
        "Sa": float(np.mean(np.abs(flat))),
        "Ssk": float(stats.skew(flat, axis=None)),
        "Sku": float(stats.kurtosis(flat, axis=None, fisher=False)),
        "Sp": float(flat.max()),
        "Sv": float(-flat.min()),
        "Sz": float(np.ptp(flat)),
        "S99.8": float(high - low),
        "Sdq": float(np.sqrt(np.mean(sx**2 + sy**2))),
        "Sdr": float(np.mean(np.sqrt(1 + sx**2 + sy**2) - 1)),
    }


def plain_rest(z: NDArray[np.float64]) -> dict[str, float]:
    """Spatial, material ratio, hills and dales as the libraries give them."""
    from scipy import ndimage, signal
    from skimage.morphology import h_maxima
    from skimage.segmentation import watershed

    u = z - z.mean()
    correlation = signal.fftconvolve(u, u[::-1, ::-1])
    lobe, _ = ndimage.label(correlation > 0.2 * correlation.max())
    power = np.abs(np.fft.rfft2(u)) ** 2
    ordered = np.sort(z.ravel())[::-1]
    share = (np.arange(ordered.size) + 0.5) / ordered.size
    span = round(0.4 * ordered.size)
    start = int(np.argmin(ordered[:-span] - ordered[span:]))
    slope, top = np.polyfit(share[start : start + span], ordered[start : start + span], 1)
    found = {"lobe": float(lobe.max()), "power": float(power.sum()), "Sk": -float(slope), "top": float(top)}
    for name, side in (("hills", z - z.min()), ("dales", z.max() - z)):
        least = 0.05 * np.ptp(z)
        markers, count = ndimage.label(h_maxima(side + 10 * least, least), np.ones((3, 3)))
        found[name] = float(count)
        found[f"area of {name}"] = float(np.bincount(watershed(-side, markers, connectivity=2).ravel())[1:].mean())
    return found


def ours(bench: Bench) -> Any:
    return compare(bench)


def bench_of(heights: list[NDArray[np.float64]]) -> Bench:
    return Bench().with_scans(Scan(HeightMap(z, PITCH, f"map {n}"), f"s{n // 3}") for n, z in enumerate(heights))


def test_both_give_the_same_numbers() -> None:
    heights = maps(3, 64)
    result = compare(bench_of(heights))
    for scan, z in zip(result.scans, heights, strict=True):
        for symbol, value in plain(z, PITCH[0]).items():
            if symbol not in ("Sdq", "Sdr"):  # another derivative rule: ours has seven points
                assert scan.readings[symbol].value == pytest.approx(value, rel=1e-9, abs=1e-12)


@pytest.mark.long
@pytest.mark.benchmark(group="compare, 24 maps of 1024²")
def test_compare(benchmark: Any) -> None:
    bench = bench_of(maps(24, 1024))
    assert len(benchmark.pedantic(ours, (bench,), rounds=5, warmup_rounds=1).scans) == 24


@pytest.mark.long
@pytest.mark.benchmark(group="compare, 24 maps of 1024²")
def test_plain_loop(benchmark: Any) -> None:
    heights = maps(24, 1024)

    def loop() -> list[dict[str, float]]:
        return [plain(z, PITCH[0]) | plain_rest(z) for z in heights]

    assert len(benchmark.pedantic(loop, rounds=1)) == 24
