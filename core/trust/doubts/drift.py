"""Drift in height: creep at the start of a scan, and a tilt that may be drift."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.artefacts import MAD_TO_SIGMA
from core.heightmap import FloatArray
from core.trust.doubts.doubt import Doubt, Place
from core.trust.doubts.lines import LEAST_LINES, medians, thinned
from core.trust.doubts.look import Look
from core.units import format_length

CREEP = 5.0
OTHERS = 1.3
"""Score of the creep at one end of the slow axis, and its ratio to the scores at the three other edges."""

LEAST = 1.0
"""Height of the creep in roughness S below which it does not matter."""

SIDE = 256
"""Points on a side for which this holds: the lines of a smaller map wander more by chance."""

TIMES = (1 / 64, 1 / 32, 1 / 16)
"""Times of decay that are tried, in frames: 4, 8 and 16 of 256 lines."""

START = 0.15
"""Share of the lines, from the edge, that do not decide what the texture does by itself."""

ORDER = 12
"""Neighbouring lines from which a line is foretold."""

OUTLYING = 6.0
"""Robust sigma of the foretelling errors to which a single one counts: the edge of a terrace is no creep."""

ROUNDS = 4


def drift(look: Look) -> Doubt | None:
    """The doubt that the scanner was still settling when the scan began.

    Notes
    -----
    The medians of the lines, looked at from the far end: each is foretold from the 12 lines further in, by least
    squares over all but the first 15 %. What a texture does by itself is mostly foretold; an exponential A e^(−i/τ)
    from the edge is not. A is fitted together with a line to the foretelling errors (generalised least squares), each
    of which counts up to 6 robust sigma: the edge of a terrace surprises once, creep for τ lines. τ is 1/64, 1/32 or
    1/16 of the frame, the score |A| over its standard error. Told for a score above 5 and 1.3 times those of the
    opposite edge and of both sides, where no creep can be, and |A| > S, or 256 S/n on maps of fewer than 256²
    points (n their side). A scan may run down or up, so both ends are looked at.

    Simulated for this program (256², ten clean textures, τ = 8 lines; `tests/core/trust/test_doubt_spatial_rates.py`):
    1 alarm in 1,500 clean maps. Creep of 4 S is found in 178 of 180 maps and of 2 S in 170 of 180, but where grooves
    run along the scan lines (14 and 1 of 20): there the lines wander as much by themselves. A repeated scan settles it.
    On maps of 128²: no alarm in 300, creep of 4 S found in 72 of 72 but for those grooves, of 2 S in half.
    Without the limit of 6 sigma it alarmed on a measured rubber surface and, below 1 S, on crystal steps.
    """
    if look.blank or min(look.raw.shape) < LEAST_LINES:
        return None
    found = start_creep(look.clipped)
    wider = max(1.0, SIDE / math.sqrt(look.raw.z.size))
    if found is None or abs(found.height) < wider * LEAST * look.rough:
        return None
    ny, nx = look.raw.shape
    lines = min(ny // 4, math.ceil(3 * found.lines))
    first = found.edge == "top"
    rectangle = {"top": "0 px", "height": f"{lines} px"} if first else {"top": f"{ny - lines} px"}
    return Doubt(
        "drift",
        "amber",
        f"The {'first' if first else 'last'} lines creep by {format_length(found.height)} "
        f"({abs(found.height) / look.rough:.2g} of the roughness) and settle within some {lines} lines.",
        "Wait after approaching or moving before a scan begins, or discard its first lines.",
        {"creep_m": found.height, "decay_lines": found.lines, "score": found.score},
        place=Place(0, 0, lines, nx) if first else Place(ny - lines, 0, ny, nx),
        confused_with="Grooves or terraces along the scan lines that happen to end there.",
        settled_by="Scan the same place again without moving: creep is gone, the surface is not.",
        cure={"do": "mask", "what": "rectangle", **rectangle},
    )


@dataclass(frozen=True, slots=True)
class Creep:
    """An exponential at one edge: height at the edge in metres, decay in lines, |height| over its standard error."""

    edge: str
    height: float
    lines: float
    score: float


def start_creep(level: FloatArray) -> Creep | None:
    """Creep at the upper or lower edge that stands out from what all four edges show."""
    turned = np.ascontiguousarray(level[:: max(1, len(level) // 256)].T)
    down, across = medians(thinned(level)), medians(turned)
    edges = {"top": down, "bottom": down[::-1], "left": across, "right": across[::-1]}
    found = {edge: fit_creep(profile, edge) for edge, profile in edges.items()}
    for edge in ("top", "bottom"):
        here = found[edge]
        others = [creep.score for other, creep in found.items() if other != edge and creep is not None]
        if here is not None and here.score > CREEP and here.score > OTHERS * max(others, default=0.0):
            return here
    return None


def fit_creep(profile: FloatArray, edge: str = "top") -> Creep | None:
    """The exponential that fits best at the start of a profile; None if it is too short or too little of it is known.

    Parameters
    ----------
    profile : ndarray, shape (n,)
        One height for each line, metres, the edge first; NaN where unknown.
    edge : str
        Its name, carried along.
    """
    n = len(profile)
    known = np.isfinite(profile)
    if n < LEAST_LINES or np.count_nonzero(known) < 0.9 * n:
        return None
    line = np.arange(n, dtype=np.float64)
    m = np.interp(line, line[known], profile[known])
    unit = float(np.max(np.abs(m - np.median(m))))
    if not unit > 0:
        return None
    m = (m - np.median(m)) / unit
    rest = m[math.ceil(START * n) :]
    place = np.arange(len(rest)) - (len(rest) - 1) / 2
    rest = rest - rest.mean() - place * (float(place @ rest) / float(place @ place))
    weights, error = _foretelling(rest)
    sigma = MAD_TO_SIGMA * float(np.median(np.abs(error)))
    reach = OUTLYING * sigma if sigma > 0 else math.inf
    # A fit with 12 weights leaves less than it should of few lines.
    sigma = float(np.sqrt(np.sum(np.clip(error, -reach, reach) ** 2) / max(1, len(error) - ORDER)))
    if not sigma > 0:
        return None
    surprise = _unforetold(m, weights)
    best: Creep | None = None
    for time in TIMES:
        shapes = (np.exp(-line / (time * n)), np.ones(n), (line - (n - 1) / 2) / n)
        design = np.stack([_unforetold(shape, weights) for shape in shapes], axis=1)
        spread = np.linalg.pinv(design.T @ design)
        height = float((spread @ (design.T @ surprise))[0])
        limited = float((spread @ (design.T @ np.clip(surprise, -reach, reach)))[0])
        score = abs(limited) / (sigma * math.sqrt(spread[0, 0])) if spread[0, 0] > 0 else 0.0
        if best is None or score > best.score:
            best = Creep(edge, height * unit, time * n, score)
    return best


def _foretelling(rest: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Weights of the 12 lines further in, and what they do not foretell; lines that jump away count less (Huber)."""
    count = len(rest) - ORDER
    ahead = np.stack([rest[shift : count + shift] for shift in range(1, ORDER + 1)], axis=1)
    now = rest[:count]
    share: FloatArray = np.ones(count)
    for _ in range(ROUNDS):
        weights = np.asarray(np.linalg.lstsq(ahead * share[:, None], now * share, rcond=1e-8)[0], np.float64)
        error = now - ahead @ weights
        reach = OUTLYING * MAD_TO_SIGMA * float(np.median(np.abs(error)))
        if not reach > 0:
            break
        share = np.sqrt(reach / np.maximum(np.abs(error), reach))
    return weights, error


def _unforetold(series: FloatArray, weights: FloatArray) -> FloatArray:
    """What the lines further in do not foretell."""
    n = len(series) - ORDER
    ahead = np.stack([series[shift : n + shift] for shift in range(1, ORDER + 1)], axis=1)
    return np.asarray(series[:n] - ahead @ weights)
