"""Spectra along an axis: bins joined for a picture."""

import numpy as np
import pytest

from core.heightmap import HeightMap
from core.spectrum import fast_axis_spectrum


def test_joined_bins_keep_level_and_count() -> None:
    scan = HeightMap(1e-9 * np.random.default_rng(5).standard_normal((64, 512)), pitch=(1e-8, 1e-8))
    spectrum = fast_axis_spectrum(scan)
    joined = spectrum.joined(10)
    assert joined.wavenumbers.size < 30 < spectrum.wavenumbers.size
    assert joined.independent.sum() == pytest.approx(spectrum.independent.sum())
    power = [float(s.independent @ s.densities) for s in (spectrum, joined)]
    assert power[0] == pytest.approx(power[1], rel=1e-12)
    assert np.all(np.diff(joined.wavenumbers) > 0)
