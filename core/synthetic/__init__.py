"""Surfaces with known answers: textures, features and instrument traces whose closed forms tests and samples rely on.

Every function returns heights in metres on a lattice of a given shape and pitch ``(dy, dx)``. Points are cell-centred,
row 0 is the top line as shown, and angles are degrees counted anticlockwise, as shown, from the fast axis. Sum the
surfaces to build a scan; nothing here keeps a state, random numbers come in as a generator.
"""

from core.synthetic.features import Speck, grains, single_step, specks, terraces
from core.synthetic.instrument import bow, hum, missing, row_offsets, streaks, tilt, white_noise
from core.synthetic.texture import (
    directional_texture,
    gaussian_texture,
    lapping,
    normalised,
    self_affine,
    without_plane,
)

__all__ = [
    "Speck",
    "bow",
    "directional_texture",
    "gaussian_texture",
    "grains",
    "hum",
    "lapping",
    "missing",
    "normalised",
    "row_offsets",
    "self_affine",
    "single_step",
    "specks",
    "streaks",
    "terraces",
    "tilt",
    "white_noise",
    "without_plane",
]
