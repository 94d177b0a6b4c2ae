"""Double tip: maps of different specimens that repeat themselves at one and the same shift.

An echo at v multiplies the spectrum by |1 + a exp(ikv)|²: its logarithm ripples, and the transform of the logarithm has
a spot at v. A texture may have such a spot of its own; two different textures have none in common, a probe with two
ends puts it into both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from core.artefacts import MAD_TO_SIGMA
from core.heightmap import FloatArray
from core.trust.doubts.doubt import Doubt
from core.trust.doubts.look import Look, rob
from core.trust.doubts.periodogram import EXPONENTIAL_MEDIAN, Periodogram, periodogram
from core.units import format_length

CONTRAST = 5.0
"""Contrast that both maps must exceed at the same shift."""

NEAREST, FARTHEST = 8, 60
"""Points between which shifts are looked for: a closer second end is lost in the texture's own correlation."""

LEAST_SHARE = 0.06
"""Share of the bins that must hold texture: smooth surfaces have too few to show a ripple.

Lapped ones and terraces do not show one either, and terraces repeat themselves: a texture with a direction is left out.
"""

ABOVE_CORNER = 3.0
CUT = 3.0
SMOOTH, LEVEL = 2.0, 6.0  # sigma of both Gaussian means, bins
LARGEST_SIDE = 512
"""Points of the middle of the map that are looked at: more shifts than that are not wanted."""

RING = (2.5, 9.5)
AROUND = (3, 10)
DIRECTIONS = 12
QUIET = 0.8
SAME_PIXEL = 0.01


def double_tip(specimens: Mapping[str, Sequence[Look]]) -> dict[str, Doubt]:
    """The doubt that one probe with two ends scanned several specimens.

    Parameters
    ----------
    specimens : mapping of str to sequence of Look
        All looks at the scans of each specimen. Only scans of one pixel size are compared; those of one specimen are
        taken together.

    Returns
    -------
    dict of str to Doubt
        By the name of the scan (``look.raw.name``), for every scan of the specimens that show the same echo: amber for
        two specimens, red when a third agrees. Scans of which `can_show_echo` is false prove nothing.

    Notes
    -----
    L = ln I where its mean over 2 bins exceeds three times the corner level, less its mean over 6 bins, cut to ±3, 0
    elsewhere; c(v) its inverse transform over the robust sigma of c at 8 to 60 points: a unit normal for a smooth
    spectrum. Contrast = (largest c of 3 × 3 less the largest of twelve medians along directions at ±3 to 10 points) /
    max(0.8, robust sigma of the ring 2.5 to 9.5 points). The joint statistic is the smaller contrast of the two. Equal
    terraces in both maps could agree by chance: a texture with a direction is left out. Of sixteen pairs of each
    texture, both ends equal or the second half of S lower: G4, A3, A8 16 and 16, grains 16 and 15, particles 14 and 14
    of 15; no alarm on 61 clean pairs (simulated for this program).
    """
    found: dict[str, Doubt] = {}
    for group in _by_pixel(specimens):
        names = list(group)
        echoes = {name: _joined([_echo(look) for look in looks]) for name, looks in group.items()}
        best = max(
            (shift for name in names for shift in _agreed(echoes, name)),
            key=lambda agreed: (len(agreed.names), agreed.contrast),
            default=None,
        )
        if best is None:
            continue
        pitch = group[names[0]][0].raw.pitch
        doubt = _told(best, pitch)
        found.update({look.raw.name: doubt for name in best.names for look in group[name]})
    return found


def can_show_echo(look: Look) -> bool:
    """Whether the texture fills enough of the spectrum for an echo to show."""
    return not look.obstacle and _echo(look) is not None


@dataclass(frozen=True, slots=True)
class Agreed:
    """A shift, points, at which specimens agree, and the smallest contrast among them."""

    down: int
    across: int
    names: tuple[str, ...]
    contrast: float


@dataclass(frozen=True, slots=True, eq=False)
class Echo:
    """Transform of the rippled logarithm, in robust sigma, by shift of either sign (cyclic)."""

    image: FloatArray = field(repr=False)
    reach: int

    def contrast(self, down: NDArray[np.intp], across: NDArray[np.intp]) -> FloatArray:
        """How far shifts stand out from what surrounds them, shape (n,)."""
        box = np.arange(-1, 2)
        top = self._at(down[:, None, None] + box[:, None], across[:, None, None] + box).max(axis=(1, 2))
        angles = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
        steps = np.arange(AROUND[0], AROUND[1] + 1)
        steps = np.concatenate([-steps, steps])
        turned_y, turned_x = (
            np.rint(np.outer(turn, steps)).astype(np.intp) for turn in (np.sin(angles), np.cos(angles))
        )
        along = self._at(down[:, None, None] + turned_y, across[:, None, None] + turned_x)
        square = np.arange(-int(RING[1]), int(RING[1]) + 1)
        radius = np.hypot(square[:, None], square[None, :])
        ring_y, ring_x = np.nonzero((radius > RING[0]) & (radius < RING[1]))
        ring = self._at(down[:, None] + square[ring_y], across[:, None] + square[ring_x])
        spread = MAD_TO_SIGMA * np.median(np.abs(ring - np.median(ring, axis=1)[:, None]), axis=1)
        return np.asarray((top - np.median(along, axis=2).max(axis=1)) / np.maximum(QUIET, spread))

    def peaks(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Shifts of the upper half plane that are higher than their neighbours and may have the contrast."""
        down, across = np.mgrid[0 : self.reach + 1, -self.reach : self.reach + 1]
        radius = np.hypot(down, across)
        wanted = (radius >= NEAREST) & (radius <= self.reach) & ((down > 0) | (across > 0))
        wanted &= self._at(down, across) > CONTRAST * QUIET - 1
        y, x = down[wanted], across[wanted]
        box = np.arange(-1, 2)
        around = self._at(y[:, None, None] + box[:, None], x[:, None, None] + box).reshape(len(y), 9)
        peak = around.argmax(axis=1) == 4
        return y[peak], x[peak]

    def _at(self, down: NDArray[np.intp], across: NDArray[np.intp]) -> FloatArray:
        rows, columns = self.image.shape
        return np.asarray(self.image[down % rows, across % columns])


def _echo(look: Look) -> Echo | None:
    """The echo image of a map, None where the texture fills too little of the spectrum or has a direction."""
    if look.directional:
        return None
    from scipy.fft import irfft2
    from scipy.ndimage import gaussian_filter

    middle = tuple(slice((n - min(n, LARGEST_SIDE)) // 2, (n + min(n, LARGEST_SIDE)) // 2) for n in look.raw.shape)
    power = periodogram(look.clipped[middle], unit=look.rough)
    log = np.log(np.maximum(_whole(power), 1e-300))
    corner = np.log(max(ABOVE_CORNER * power.corner_median() / EXPONENTIAL_MEDIAN, 1e-300))
    texture = gaussian_filter(log, SMOOTH, mode="wrap") > corner
    if np.mean(texture) < LEAST_SHARE:
        return None
    weight = gaussian_filter(texture.astype(np.float64), LEVEL, mode="wrap")
    level = gaussian_filter(np.where(texture, log, 0.0), LEVEL, mode="wrap") / np.maximum(weight, 1e-6)
    ripple = np.where(texture, np.clip(log - level, -CUT, CUT), 0.0)
    image = irfft2(ripple[:, : power.columns // 2 + 1], (power.rows, power.columns))
    return _scaled(image)


def _whole(power: Periodogram) -> FloatArray:
    """Both halves of the plane of wavenumbers, shape (rows, columns)."""
    down, across = np.ogrid[0 : power.rows, 0 : power.columns]
    return power.at(*np.broadcast_arrays(down, across))


def _scaled(image: FloatArray) -> Echo | None:
    rows, columns = image.shape
    reach = min(FARTHEST, rows // 4, columns // 4)
    radius = np.hypot(*np.meshgrid(np.fft.fftfreq(rows, 1 / rows), np.fft.fftfreq(columns, 1 / columns), indexing="ij"))
    sigma = rob(image[(radius >= NEAREST) & (radius <= reach)])
    return Echo(image / sigma, reach) if sigma > 0 else None


def _joined(echoes: Sequence[Echo | None]) -> Echo | None:
    """One echo of the scans of one specimen: their mean where the frames are alike, else the first."""
    known = [echo for echo in echoes if echo is not None]
    if not known:
        return None
    alike = [echo.image for echo in known if echo.image.shape == known[0].image.shape]
    return known[0] if len(alike) == 1 else _scaled(np.asarray(np.mean(alike, axis=0)))


def _agreed(echoes: Mapping[str, Echo | None], first: str) -> list[Agreed]:
    """The shifts at which `first` and at least one other specimen repeat themselves."""
    own = echoes[first]
    if own is None:
        return []
    down, across = own.peaks()
    contrast = own.contrast(down, across)
    strong = contrast > CONTRAST
    down, across, contrast = down[strong], across[strong], contrast[strong]
    others = {name: echo.contrast(down, across) for name, echo in echoes.items() if name != first and echo is not None}
    agreed = []
    for at in range(len(down)):
        seen = {name: float(values[at]) for name, values in others.items() if values[at] > CONTRAST}
        if seen:
            lowest = min(float(contrast[at]), *seen.values())
            agreed.append(Agreed(int(down[at]), int(across[at]), (first, *seen), lowest))
    return agreed


def _by_pixel(specimens: Mapping[str, Sequence[Look]]) -> list[dict[str, list[Look]]]:
    """The looks whose spectra can be judged, in groups of one pixel size, within 1 %."""
    groups: list[tuple[tuple[float, float], dict[str, list[Look]]]] = []
    for name, looks in specimens.items():
        for look in looks:
            if look.obstacle:
                continue
            for pitch, group in groups:
                if all(abs(s - t) <= SAME_PIXEL * t for s, t in zip(look.raw.pitch, pitch, strict=True)):
                    group.setdefault(name, []).append(look)
                    break
            else:
                groups.append((look.raw.pitch, {name: [look]}))
    return [group for _, group in groups if len(group) > 1]


def _told(agreed: Agreed, pitch: tuple[float, float]) -> Doubt:
    down, across = agreed.down * pitch[0], agreed.across * pitch[1]
    others = ", ".join(agreed.names[:-1]) + f" and {agreed.names[-1]}"
    side = "right" if across >= 0 else "left"
    return Doubt(
        "double-tip",
        "red" if len(agreed.names) > 2 else "amber",
        f"Everything repeats {format_length(down)} further down and {format_length(abs(across))} to the {side}, alike "
        f"on {others}: a probe with two ends.",
        "Replace the probe and scan again; count nothing and trust no lateral reading from these maps.",
        {"shift_down_m": down, "shift_across_m": across, "contrast": agreed.contrast},
        confused_with="Equal terraces on both specimens repeat at such shifts too.",
        settled_by="Image bumps (each shows twice), or turn the specimen: the shift of a double tip stays.",
    )
