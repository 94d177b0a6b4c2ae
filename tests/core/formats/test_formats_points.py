"""Points as text: named columns, units, any order, holes, jitter; and what is no lattice."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.errors import NoHeights, PixelMissing, UnitMissing
from core.formats import read
from core.formats.lattice import even_step, to_lattice
from core.formats.points import column_of

RNG = np.random.default_rng(20)
Z = RNG.normal(size=(4, 5)).round(3)
DY, DX = 2.0, 0.5


def lines(z: np.ndarray = Z, order: np.ndarray | None = None, delimiter: str = ",") -> str:
    i, j = np.mgrid[: z.shape[0], : z.shape[1]]
    rows = np.column_stack([3 + j.ravel() * DX, 7 + i.ravel() * DY, z.ravel()])
    rows = rows if order is None else rows[order]
    return "\n".join(delimiter.join(f"{value:.6g}" for value in row) for row in rows.tolist()) + "\n"


def put(folder: Path, content: str, name: str = "scan.csv") -> Path:
    file = folder / name
    file.write_text(content, encoding="utf-8")
    return file


HEADINGS = [
    "x_um,y_um,z_nm",
    "x (µm),y (µm),z (nm)",
    "X [um], Y [um], Height [nm]",
    "x/um,y/um,height/nm",
    "# x_um,y_um,z_nm",
    "# x_um,y_um,z_nm\nx,y,z",
    "# xy unit: um\n# z unit: nm\nx,y,z",
    "# made by hand\nx_um,y_um,z_nm",
]


@pytest.mark.parametrize("heading", HEADINGS)
def test_headings_name_columns_and_units(tmp_path: Path, heading: str) -> None:
    scan = read(put(tmp_path, f"{heading}\n{lines()}"))[0]
    np.testing.assert_allclose(scan.z, Z * 1e-9, rtol=1e-14, atol=0)
    assert scan.pitch == pytest.approx((2e-6, 0.5e-6), rel=1e-12)
    assert scan.source.format == "text, points"


@pytest.mark.parametrize("delimiter", ["\t", ";", " "])
def test_other_delimiters(tmp_path: Path, delimiter: str) -> None:
    heading = delimiter.join(["x_um", "y_um", "z_nm"])
    scan = read(put(tmp_path, f"{heading}\n{lines(delimiter=delimiter)}"))[0]
    np.testing.assert_allclose(scan.z, Z * 1e-9, rtol=1e-14, atol=0)


def test_headings_parted_by_blanks_with_units_apart(tmp_path: Path) -> None:
    scan = read(put(tmp_path, f"x (um)  y (um)  z (nm)\n{lines(delimiter=' ')}"))[0]
    assert scan.shape == Z.shape


def test_the_order_of_the_points_does_not_matter(tmp_path: Path) -> None:
    order = RNG.permutation(Z.size)
    scan = read(put(tmp_path, f"x_um,y_um,z_nm\n{lines(order=order)}"))[0]
    np.testing.assert_allclose(scan.z, Z * 1e-9, rtol=1e-14, atol=0)


def test_lines_listed_from_the_top_keep_their_order(tmp_path: Path) -> None:
    order = np.arange(Z.size).reshape(Z.shape)[::-1].ravel()
    scan = read(put(tmp_path, f"x_um,y_um,z_nm\n{lines(order=order)}"))[0]
    np.testing.assert_allclose(scan.z, Z[::-1] * 1e-9, rtol=1e-14, atol=0)


def test_holes_are_missing_points(tmp_path: Path) -> None:
    order = np.delete(np.arange(Z.size), [3, 7, 12])
    scan = read(put(tmp_path, f"x_um,y_um,z_nm\n{lines(order=order)}"))[0]
    assert scan.missing == 3
    assert np.isnan(scan.z.ravel()[[3, 7, 12]]).all()


def test_further_columns_are_channels(tmp_path: Path) -> None:
    rows = lines().splitlines()
    content = "x_um,y_um,phase_deg,z_nm,error_nm\n" + "\n".join(
        f"{x},{y},1.5,{z},{k}" for k, (x, y, z) in enumerate(row.split(",") for row in rows)
    )
    maps = read(put(tmp_path, content))
    assert [scan.source.channel for scan in maps] == ["z", "error"]
    assert [scan.name for scan in maps] == ["scan", "scan · error"]
    assert maps[0].source.channels == ("phase", "z", "error")


def test_three_bare_columns_that_are_a_lattice_are_points(tmp_path: Path) -> None:
    scan = read(put(tmp_path, lines()), pixel="1nm", unit="nm")[0]
    assert scan.shape == Z.shape
    with pytest.raises(PixelMissing, match=r"2 apart down and 0\.5 across"):
        read(put(tmp_path, lines()), unit="nm")


def test_three_bare_columns_that_are_no_lattice_are_a_narrow_matrix(tmp_path: Path) -> None:
    content = "\n".join(" ".join(f"{value:.4f}" for value in row) for row in RNG.normal(size=(30, 3)).tolist())
    assert read(put(tmp_path, content, "scan.txt"), pixel="1nm", unit="nm")[0].shape == (30, 3)
    with pytest.raises(NoHeights, match="not evenly spaced"):
        read(put(tmp_path, content, "scan.xyz"), pixel="1nm", unit="nm")


def test_missing_units_are_refused(tmp_path: Path) -> None:
    with pytest.raises(UnitMissing):
        read(put(tmp_path, f"x_um,y_um,z\n{lines()}"))
    with pytest.raises(PixelMissing):
        read(put(tmp_path, f"x,y,z_nm\n{lines()}"))
    with pytest.raises(NoHeights, match="no length"):
        read(put(tmp_path, f"x (deg),y (deg),z (nm)\n{lines()}"))


def scattered(kind: str) -> str:
    rng = np.random.default_rng(5)
    if kind == "not evenly spaced":
        points = rng.uniform(0, 1, (60, 3))
    elif kind == "same place":
        i, j = np.mgrid[:4, :4]
        points = np.column_stack([j.ravel(), i.ravel(), rng.normal(size=16)])
        points[5, :2] = points[6, :2]
    elif kind == "would fill":
        k = np.arange(60.0)
        points = np.column_stack([k, k, k])
    else:
        points = np.column_stack([np.arange(9.0), np.full(9, 2.0), np.ones(9)])
    return "x_um,y_um,z_nm\n" + "\n".join(",".join(map(str, row)) for row in points.tolist())


@pytest.mark.parametrize("reason", ["not evenly spaced", "same place", "would fill", "same y"])
def test_what_is_no_lattice_is_refused_with_the_reason(tmp_path: Path, reason: str) -> None:
    with pytest.raises(NoHeights, match=reason):
        read(put(tmp_path, scattered(reason)))


@given(
    shape=st.tuples(st.integers(3, 12), st.integers(3, 12)),
    jitter=st.sampled_from([0.0, 1e-9, 1e-4, 0.02, 0.1]),
    seed=st.integers(0, 10**6),
    holes=st.floats(0, 0.3),
)
@settings(max_examples=80, deadline=None)
def test_a_jittered_lattice_with_holes_finds_every_place(
    shape: tuple[int, int], jitter: float, seed: int, holes: float
) -> None:
    rng = np.random.default_rng(seed)
    ny, nx = shape
    i, j = (index.ravel() for index in np.mgrid[:ny, :nx])
    z = np.arange(ny * nx, dtype=float)
    # Outer rows and columns stay whole: a lattice is only as large as the points that are there.
    edge = (i == 0) | (j == 0) | (i == ny - 1) | (j == nx - 1)
    kept = rng.permutation(np.flatnonzero(edge | (rng.uniform(size=z.size) >= holes)))
    x = -3 + 0.7 * (j + rng.uniform(-jitter, jitter, z.size))
    y = 5 + 1.3 * (i + rng.uniform(-jitter, jitter, z.size))
    lattice = to_lattice(x[kept], y[kept], z[kept], "here")
    expected = np.full(z.size, np.nan)
    expected[kept] = z[kept]
    grid = lattice.z
    if grid[0, 0] != expected[0]:  # by chance the shuffled points may come line by line from the last row
        grid = grid[::-1]
    np.testing.assert_array_equal(grid, expected.reshape(shape))
    # Positions off by up to jitter × step shift the fitted step by at most 2 × jitter × step / (n − 1) × 1.5
    assert lattice.spacing == pytest.approx((1.3, 0.7), rel=max(1e-9, 3 * jitter / (min(shape) - 1)))
    assert lattice.jitter <= 2.5 * max(jitter, 1e-12) * 1.3


def test_even_steps() -> None:
    assert even_step(np.array([0.0, 0.1, 0.2, 0.30000001])) == pytest.approx(0.1, rel=1e-6)
    assert even_step(np.array([5.0, 4.0, 3.0])) == 1.0
    for odd in ([1.0], [1.0, 1.0, 1.0], [0.0, 1.0, 2.5], [0.0, np.nan, 2.0]):
        assert even_step(np.array(odd)) is None


@pytest.mark.parametrize(
    ("text", "name", "unit"),
    [("x_mm", "x", "mm"), ("X(mm)", "X", "mm"), ('"z [µm]"', "z", "µm"), ("Phase (deg)", "Phase", "deg"),
     ("height_map", "height_map", None), ("z", "z", None), ("U_V", "U", "V")],
)  # fmt: skip
def test_names_and_units_of_columns(text: str, name: str, unit: str | None) -> None:
    assert (column_of(text).name, column_of(text).unit) == (name, unit)
