"""Double tip: maps of different specimens that repeat themselves at one and the same shift.

An echo at v multiplies the spectrum by |1 + a exp(ikv)|²: its logarithm ripples, and the transform of the logarithm has
a spot at v. A texture may have such a spot of its own; two different textures have none in common, a probe with two
ends puts it into both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from core.trust.doubts.doubt import Doubt
from core.trust.doubts.echo import CONTRAST, Echo, scaled
from core.trust.doubts.imprint import Imprint
from core.units import format_length

SAME_PIXEL = 0.01


def double_tip(specimens: Mapping[str, Sequence[Imprint]]) -> dict[str, Doubt]:
    """The doubt that one probe with two ends scanned several specimens.

    Parameters
    ----------
    specimens : mapping of str to sequence of Imprint
        Those of the scans of each specimen. Only scans of one pixel size are compared; those of one specimen are
        taken together.

    Returns
    -------
    dict of str to Doubt
        By the name of the scan (``Imprint.name``), for every scan of the specimens that show the same echo: amber for
        two specimens, red when a third agrees. Scans without an echo image prove nothing.

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
        echoes = {name: _joined([scan.echo for scan in scans]) for name, scans in group.items()}
        best = max(
            (shift for name in names for shift in _agreed(echoes, name)),
            key=lambda agreed: (len(agreed.names), agreed.contrast),
            default=None,
        )
        if best is None:
            continue
        pitch = group[names[0]][0].pitch
        doubt = _told(best, pitch)
        found.update({scan.name: doubt for name in best.names for scan in group[name]})
    return found


@dataclass(frozen=True, slots=True)
class Agreed:
    """A shift, points, at which specimens agree, and the smallest contrast among them."""

    down: int
    across: int
    names: tuple[str, ...]
    contrast: float


def _joined(echoes: Sequence[Echo | None]) -> Echo | None:
    """One echo of the scans of one specimen: their mean where the frames are alike, else the first."""
    known = [echo for echo in echoes if echo is not None]
    if not known:
        return None
    alike = [echo.image for echo in known if echo.image.shape == known[0].image.shape]
    return known[0] if len(alike) == 1 else scaled(np.asarray(np.mean(alike, axis=0)), known[0].reach)


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


def _by_pixel(specimens: Mapping[str, Sequence[Imprint]]) -> list[dict[str, list[Imprint]]]:
    """The scans that can show an echo, in groups of one pixel size, within 1 %."""
    groups: list[tuple[tuple[float, float], dict[str, list[Imprint]]]] = []
    for name, scans in specimens.items():
        for scan in scans:
            if scan.echo is None:
                continue
            for pitch, group in groups:
                if all(abs(s - t) <= SAME_PIXEL * t for s, t in zip(scan.pitch, pitch, strict=True)):
                    group.setdefault(name, []).append(scan)
                    break
            else:
                groups.append((scan.pitch, {name: [scan]}))
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
