"""Fixtures for what comes after the comparison: small benches with names that try everything that takes them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from core.bench import Bench, Refusal, Scan
from core.compare import compare
from core.heightmap import HeightMap, Source
from core.results import Comparison

LONG = "polymer film on a carrier with a name that nobody would want to read aloud, batch 2024-11, wafer"
HOSTILE = (
    "<script>alert(1)</script>",
    '=HYPERLINK("http://evil.example")',
    "μετάξι – 漢字 \udc80\x07",
    "-2+3",
    "@SUM(A1)",
)

MakeBench = Callable[..., Bench]
MakeComparison = Callable[..., Comparison]


def _bench(
    count: int = 3, spots: int = 3, *, names: tuple[str, ...] = (), side: int = 24, gaps: bool = False, title: str = ""
) -> Bench:
    rng = np.random.default_rng(20_24)
    scans = []
    for number in range(count):
        name = names[number] if number < len(names) else f"carrier {number + 1}"
        for spot in range(1, spots + 1):
            z = rng.standard_normal((side, side)) * 1e-10 * 1.4**number * (1 + 0.05 * spot)
            mask = None
            if gaps and number == 0:
                z[:2, :3] = np.nan
                mask = np.zeros(z.shape, bool)
                mask[5:7, 5:7] = True
            source = Source(
                f"/data/{name} {spot}.gsf", f"{number:02d}{spot:062d}", "GSF", "height", ("height", "error")
            )
            metadata = {"direction": "trace", "line_rate": 1.0, "not a number": float("nan")}
            raw = HeightMap(z, (1e-8, 1e-8), name=f"{name} spot {spot}", mask=mask, source=source, metadata=metadata)
            scans.append(Scan(raw, specimen=name, spot=f"spot {spot}"))
    return Bench(title=title, scans=tuple(scans)).with_refused(
        [Refusal("/data/<b>.txt", "no map in it", "Export again.")]
    )


@pytest.fixture(scope="session")
def make_bench() -> MakeBench:
    """A bench of `count` specimens with `spots` spots each, rougher and rougher."""
    return _bench


@pytest.fixture(scope="session")
def make_comparison() -> MakeComparison:
    """The comparison of such a bench, dated."""

    def make(*args: object, **keywords: object) -> Comparison:
        return replace(compare(_bench(*args, **keywords)), created="2024-05-01T12:00:00+02:00")  # type: ignore[arg-type]

    return make


@pytest.fixture(scope="session")
def comparison(make_comparison: MakeComparison) -> Comparison:
    """Three specimens, three spots each, some points missing and masked."""
    return make_comparison(gaps=True, title="Which carrier?")


@pytest.fixture(scope="session")
def hostile(make_comparison: MakeComparison) -> Comparison:
    """Specimens whose names attack every kind of document."""
    return make_comparison(len(HOSTILE), names=HOSTILE, title="<script>title</script>")
