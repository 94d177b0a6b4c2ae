"""The step calibrate: factors, pixel sizes, what it logs for the budget, and what it refuses."""

from __future__ import annotations

import numpy as np
import pytest

from core.errors import TreatmentError
from core.heightmap import HeightMap
from core.measures import readings
from core.treatment import Calibrate, Treatment
from core.treatment.frame import Frame

PITCH = (2e-8, 1e-8)


def scan() -> HeightMap:
    z = 1e-9 * np.random.default_rng(3).standard_normal((20, 30))
    z[3, 4] = np.nan
    return HeightMap(z, PITCH, "film", mask=np.arange(600).reshape(20, 30) % 7 == 0)


def test_heights_and_pixels_are_scaled_and_told() -> None:
    raw = scan()
    step = Calibrate(z=1.03, x=0.98, y=1.01, u_z=0.02, u_x=0.005, u_y=0.006, standard="H 17", date="2026-11-02")
    done = step.apply(raw)
    np.testing.assert_array_equal(done.z, raw.z * 1.03)
    assert done.pitch == pytest.approx((2.02e-8, 0.98e-8))
    assert done.mask is raw.mask or (done.mask is not None and raw.mask is not None and (done.mask == raw.mask).all())
    assert not done.z.flags.writeable
    figures = done.history[-1].figures
    assert figures == {"z_factor": 1.03, "x_factor": 0.98, "y_factor": 1.01,
                       "u_z_rel": 0.02, "u_x_rel": 0.005, "u_y_rel": 0.006}  # fmt: skip
    assert done.history[-1].step["standard"] == "H 17"
    before, after = (readings(one, ["Sq"])["Sq"].value for one in (raw, done))
    assert before is not None
    assert after == pytest.approx(1.03 * before, rel=1e-12)


def test_its_frame_is_that_of_the_map() -> None:
    step = Calibrate(x=0.9, y=1.1)
    done = step.apply(scan())
    assert step.frame(Frame((20, 30), PITCH)) == Frame(done.shape, done.pitch)


def test_toml_there_and_back() -> None:
    treatment = Treatment((Calibrate(z=1.02, u_z=0.01, standard="A", date="2026-01-01"), Calibrate()))
    assert Treatment.from_toml(treatment.to_toml()) == treatment
    assert treatment.describe() == "calibrated (z × 1.02), calibrated (factors 1)"


@pytest.mark.parametrize(
    "wrong", [{"z": 0}, {"z": -1}, {"z": 1000.0}, {"x": "wide"}, {"u_z": -0.1}, {"u_y": 2.0}, {"standard": 3}, {"q": 1}]
)
def test_refusals(wrong: dict[str, object]) -> None:
    with pytest.raises(TreatmentError):
        Calibrate.from_parameters(wrong)
