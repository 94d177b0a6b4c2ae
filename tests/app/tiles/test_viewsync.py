"""The hub of all views: one scale, no drift, signals only on real change."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.tiles.viewsync import ZOOMED_OUT, ViewSync


@pytest.fixture
def sync(qapp) -> ViewSync:
    hub = ViewSync()
    hub.set_extent(5e-6, 4e-6, 1e-8)
    hub.set_viewport(250, 100)
    return hub


def test_fits_the_largest_scan_into_the_smallest_picture(sync):
    assert sync.fitted
    assert sync.scale == pytest.approx(4e-8)  # 4 µm over 100 px bind, 5 µm over 250 px do not


def test_stays_fitted_through_resizing_until_the_user_zooms(sync):
    sync.set_viewport(500, 400)
    assert sync.scale == pytest.approx(1e-8)
    sync.zoom(2)
    zoomed = sync.scale
    sync.set_viewport(50, 50)
    assert sync.scale == zoomed
    sync.fit()
    assert sync.scale == pytest.approx(1e-7)


def test_zoom_keeps_the_place_under_the_cursor(sync):
    anchor = (1e-6, -0.5e-6)
    before = [(a - c) / sync.scale for a, c in zip(anchor, sync.centre, strict=True)]
    sync.zoom(3.0, anchor)
    after = [(a - c) / sync.scale for a, c in zip(anchor, sync.centre, strict=True)]
    assert after == pytest.approx(before)


@given(st.lists(st.tuples(st.floats(0.2, 5), st.floats(-2e-6, 2e-6), st.floats(-300, 300)), max_size=30))
def test_never_runs_away(steps):
    hub = ViewSync()
    hub.set_extent(5e-6, 5e-6, 1e-8)
    hub.set_viewport(250, 250)
    for factor, at, move in steps:
        hub.zoom(factor, (at, -at))
        hub.pan(move, -move)
        assert abs(hub.centre[0]) <= 2.5e-6
        assert abs(hub.centre[1]) <= 2.5e-6
        assert 1e-8 / 64 <= hub.scale <= ZOOMED_OUT * 2e-8 * (1 + 1e-12)
    hub.fit()
    assert (hub.centre, hub.scale) == ((0.0, 0.0), pytest.approx(2e-8))


def test_a_nonsense_factor_changes_nothing(sync):
    before = sync.scale
    for factor in (0.0, -1.0, float("nan"), float("inf")):
        sync.zoom(factor)
    assert sync.scale == before


def test_emits_only_on_real_change(sync):
    heard = []
    sync.changed.connect(lambda: heard.append("view"))
    sync.crosshair_changed.connect(lambda: heard.append("cross"))
    sync.fit()
    sync.pan(0, 0)
    sync.zoom(1.0)
    sync.set_viewport(250, 100)
    sync.point(None)
    assert heard == []
    sync.point((1e-6, 0.0))
    sync.point((1e-6, 0.0))
    sync.zoom(2)
    assert heard == ["cross", "view"]


def test_a_listener_may_change_the_view_again(sync):
    scales = []

    def listen() -> None:
        scales.append(sync.scale)
        if len(scales) == 1:
            sync.zoom(2)

    others = []
    sync.changed.connect(listen)
    sync.changed.connect(lambda: others.append(sync.scale))
    sync.zoom(2)
    assert len(scales) == 2
    assert others[-1] == scales[-1] == sync.scale


def test_a_failing_listener_does_not_block_the_hub(sync, qtbot):
    heard = []

    def fail() -> None:
        raise RuntimeError("listener")

    sync.changed.connect(fail)
    with qtbot.captureExceptions() as caught:
        sync.zoom(2)
    sync.changed.disconnect(fail)
    sync.changed.connect(lambda: heard.append(1))
    sync.zoom(2)
    assert len(caught) == 1
    assert heard == [1]
