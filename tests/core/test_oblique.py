"""The oblique relief against geometry that can be worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from core.colours import MISSING, OVER, UNDER, height_table
from core.errors import MapError, QuantityError
from core.heightmap import HeightMap
from core.oblique import DEPTH, PLINTH, SHEAR, WALL, Stage, oblique, shading, stage

PITCH = (1e-8, 1e-8)
SHAPE = (180, 240)


def top_edge(picture: np.ndarray) -> np.ndarray:
    """The first row of each column that is drawn at all; rows where nothing is."""
    drawn = picture[..., 3] > 127
    return np.where(drawn.any(axis=0), drawn.argmax(axis=0), picture.shape[0])


def flat(height: float = 0.0, side: int = 60) -> HeightMap:
    return HeightMap(np.full((side, side), height), PITCH)


def test_a_flat_map_is_a_slab_in_its_own_colour() -> None:
    on = Stage(-1e-9, 1e-9, 50.0)
    picture = oblique(flat(), on, shape=SHAPE)
    expected = height_table()[128]
    top = picture[..., 3] == 255
    blue = (picture[..., :3] == expected).all(axis=2)
    wall = (abs(picture[..., :3].astype(int) - WALL) < 40).all(axis=2)
    assert (blue | wall | ~top).mean() > 0.995  # the rest is the line between top and wall, averaged
    assert blue.sum() > 5000


def test_the_far_edge_stands_where_the_projection_says() -> None:
    on = Stage(0.0, 1e-9, 1.0)  # a rise of a millionth of the side: the block alone decides
    picture = oblique(flat(side=100), on, shape=(400, 300))
    edge = top_edge(picture)
    columns = np.flatnonzero(edge < 400)
    assert columns[0] <= 2 and columns[-1] >= 297  # it fills the width
    near = 298 / (1 + SHEAR)  # pixels of the near edge
    drawn_rows = np.flatnonzero((picture[..., 3] > 127).any(axis=1))
    assert len(drawn_rows) == pytest.approx(near * (DEPTH + PLINTH), abs=2)
    assert edge[290] == edge[200]  # the far edge is level


@pytest.mark.parametrize("exaggeration", [20.0, 80.0])
def test_a_bump_rises_by_its_height_times_the_exaggeration(exaggeration: float) -> None:
    z = np.zeros((60, 60))
    z[30:36, 20:40] = 5e-9
    on = Stage(0.0, 5e-9, exaggeration)
    lifted = oblique(HeightMap(z, PITCH), on, shape=SHAPE, smooth=4)
    level = oblique(flat(), on, shape=SHAPE, smooth=4)
    # With range and frame the same, the slab alone differs: where the box's back row hides the far edge or not, its
    # front face is 5 nm × exaggeration × scale tall.
    changed = (lifted != level).any(axis=2)
    rows = np.flatnonzero(changed.any(axis=1))
    scale = min(
        (240 - 0.5) / (6e-7 * (1 + SHEAR)),
        (180 - 0.5) / (6e-7 * (DEPTH + PLINTH) + exaggeration * 5e-9 * 1.25),
    )
    tall = 5e-9 * exaggeration * scale
    thick = 6 / 60 * 6e-7 * DEPTH * scale  # of the six rows it stands on
    assert len(rows) == pytest.approx(tall + thick, abs=3)


def test_what_lies_behind_a_wall_is_hidden() -> None:
    z = np.zeros((60, 60))
    z[40:44] = 20e-9  # a wall from side to side
    z[36:39, :50] = np.nan  # a trench behind it, narrower than the wall's shadow and not beyond its right end
    picture = oblique(HeightMap(z, PITCH), Stage(0.0, 20e-9, 10.0), shape=SHAPE, smooth=1)
    assert not near_to(picture, MISSING, within=1).any()
    z[40:44] = 0.0
    assert near_to(
        oblique(HeightMap(z, PITCH), Stage(0.0, 20e-9, 10.0), shape=SHAPE, smooth=1), MISSING, within=1
    ).any()


def test_outside_the_range_is_told_in_its_colours() -> None:
    z = np.zeros((40, 40))
    z[5:15, 5:35], z[25:35, 5:35] = 3e-9, -3e-9
    picture = oblique(HeightMap(z, PITCH), Stage(-1e-9, 1e-9, 1.0), shape=SHAPE)
    assert near_to(picture, OVER).sum() > 100
    assert near_to(picture, UNDER).sum() > 100


def test_one_exaggeration_for_all_and_it_is_a_round_number() -> None:
    maps = [flat(side=40), flat(side=60), flat(side=80)]
    on = stage(maps, 0.0, 3e-9)
    assert on.exaggeration == 50.0  # 0.30 × 600 nm / 3 nm = 60, rounded down to 1-2-5
    assert (on.low, on.high) == (0.0, 3e-9)


def test_light_from_the_upper_left_and_level_is_neutral() -> None:
    y, x = np.mgrid[0:20, 0:20] * 1e-8
    assert shading(np.zeros((20, 20)), PITCH, 5.0) == pytest.approx(1.0, abs=1e-12)
    assert (shading(0.05 * (x + y), PITCH, 5.0) > 1).all()  # rises away from the light's side: it faces the light
    assert (shading(-0.05 * (x + y), PITCH, 5.0) < 1).all()


@settings(deadline=None, max_examples=25)
@given(
    rows=st.integers(1, 40),
    columns=st.integers(1, 40),
    height=st.floats(1e-12, 1e-3),
    seed=st.integers(0, 1000),
    exaggeration=st.floats(0.1, 1e5),
)
def test_any_map_gives_a_picture(rows: int, columns: int, height: float, seed: int, exaggeration: float) -> None:
    rng = np.random.default_rng(seed)
    z = height * rng.standard_normal((rows, columns))
    z[rng.random((rows, columns)) < 0.1] = np.nan
    picture = oblique(HeightMap(z, (1e-8, 3e-8)), Stage(-height, height, exaggeration), shape=(40, 50))
    assert picture.shape == (40, 50, 4)
    assert picture[..., 3].any()


def test_what_cannot_be_drawn_is_refused() -> None:
    with pytest.raises(QuantityError):
        Stage(1.0, 0.0, 1.0)
    with pytest.raises(QuantityError):
        Stage(0.0, 1.0, 0.0)
    with pytest.raises(MapError):
        oblique(flat(), Stage(0.0, 1.0, 1.0), shape=(4, 100))


def near_to(picture: np.ndarray, colour: tuple[int, int, int], within: int = 30) -> np.ndarray:
    return (abs(picture[..., :3].astype(int) - colour) <= within).all(axis=2) & (picture[..., 3] > 127)
