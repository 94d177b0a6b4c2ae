"""Double tip: told when two different specimens repeat themselves at one shift, and only then."""

import numpy as np
import pytest

from core.heightmap import HeightMap
from core.synthetic.artefacts import double_tip as second_end
from core.synthetic.clean_bed import clean_map
from core.trust.doubts.double_tip import double_tip
from core.trust.doubts.imprint import Imprint
from core.trust.doubts.look import Look

SHIFT = (14, -21)


def imprints(
    textures: str, *, double: str = "", pitch: float = 1e-8, unit: float = 1.0, holes: float = 0.0
) -> dict[str, list[Imprint]]:
    """One scan a specimen; those named in `double` were scanned with two ends."""
    taken = {}
    for number, texture in enumerate(textures.split()):
        clean = clean_map(texture, np.random.default_rng([41, number]), pitch=(pitch, pitch))
        z = second_end(clean.z, shift=SHIFT, lower=0.3 * clean.rough) if str(number) in double else clean.z
        z = unit * np.where(np.random.default_rng(1).random(z.shape) < holes, np.nan, z)
        taken[str(number)] = [Imprint.of(Look(HeightMap(z, (pitch, pitch), name=f"scan {number}")))]
    return taken


@pytest.mark.parametrize("textures", ["G4 A3", "A3 GR", "A8 A8", "GR PA"])
def test_an_echo_in_two_specimens(textures: str) -> None:
    found = double_tip(imprints(textures, double="01"))
    assert set(found) == {"scan 0", "scan 1"}
    doubt = found["scan 0"]
    assert doubt.level == "amber"
    shift = np.array([doubt.figures["shift_down_m"], doubt.figures["shift_across_m"]]) / 1e-8
    assert np.abs(shift - SHIFT).max() <= 1  # of v and -v the one that points down
    assert double_tip(imprints(textures)) == {}


def test_red_when_a_third_agrees() -> None:
    found = double_tip(imprints("G4 A3 GR G4", double="012"))
    assert set(found) == {"scan 0", "scan 1", "scan 2"}
    assert {doubt.level for doubt in found.values()} == {"red"}


def test_one_specimen_alone_proves_nothing() -> None:
    assert double_tip(imprints("G4 A3", double="0")) == {}
    both = imprints("G4 A3", double="01")
    assert double_tip({"same": both["0"] + both["1"]}) == {}
    assert double_tip({}) == {}


def test_only_scans_of_one_pixel_size_are_compared() -> None:
    fine, coarse = imprints("G4 A3", double="01"), imprints("G4 A3", double="01", pitch=2e-8)
    assert double_tip({"fine": fine["0"], "coarse": coarse["1"]}) == {}


@pytest.mark.parametrize(("texture", "can"), [("G4", True), ("A8", True), ("G20", False), ("La", False), ("TE", False)])
def test_which_textures_can_show_an_echo(texture: str, can: bool) -> None:
    (scan,) = imprints(texture)["0"]
    assert (scan.echo is not None) is can


def test_units_and_holes_change_nothing() -> None:
    plain = imprints("G4 A3", double="01")
    holed = imprints("G4 A3", double="01", unit=1e-9, holes=0.01)
    assert double_tip(holed)["scan 0"].figures["shift_down_m"] == double_tip(plain)["scan 0"].figures["shift_down_m"]


def test_maps_without_relief_are_left_out() -> None:
    blank = [Imprint.of(Look(HeightMap(np.zeros((200, 200)), (1e-8, 1e-8))))]
    assert blank[0].echo is None
    assert double_tip({"a": blank, "b": blank}) == {}


def test_an_imprint_is_small() -> None:
    (scan,) = imprints("G4")["0"]
    assert scan.echo is not None
    assert scan.echo.image.nbytes + scan.terms.nbytes < 100_000
