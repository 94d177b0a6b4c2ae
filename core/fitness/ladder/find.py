"""The ladder: whole steps of a crystal found in a map, or the answer that there are none."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.fitness.ladder.crystals import Match, matches
from core.fitness.ladder.edges import edges_of
from core.fitness.ladder.ground import Ground, ground_of, robust_slope
from core.fitness.ladder.joint import Joint, is_multiple, measured, refine, terrace_resultant
from core.fitness.ladder.search import LOWEST, candidates
from core.heightmap import FloatArray, HeightMap, frozen
from core.units import format_length

LEAST_RESULTANT = 0.50
"""R1 that a ladder must reach. Of 963 random surfaces none came to it, the highest was 0.46 (methods measured for this
program)."""

LEAST_CANDIDATE = 0.35
"""Resultant below which a candidate is not fitted: fits raise it by 0.1 at most, but for drift between rows."""

LEAST_TERRACES, FEW, LEAST_OF_FEW = 0.95, 12.0, 0.99
"""Mean resultant of whole terraces that a ladder must reach; more where there are fewer than 12 of them. Without it 3
of 17 maps of flat-topped grains were taken for ladders, at 0.80 to 0.99, all of few grains; eight planted staircases
came to 0.995 and more (simulated for this program)."""

SECOND_LEVEL = 0.03
"""Share of the points that the second most frequent level must hold."""

JUMP = (0.7, 1.25)
CLEAN = 0.30
LEAST_WITHIN_ROWS = 3
"""Clean edges that must be met along rows: an edge along the rows looks like a jump between lines."""

SINGLE_LEAST = 0.2e-9
"""A lone step lower than that is not claimed, metres."""

MOSTLY = 0.5
"""Share of single steps among the edges that makes a ladder."""

NOISE_STEPS = 2.0
"""A step must be this many times the noise of the points, where terraces are 30 points and wider."""

KINDS = ("ladder", "one step", "none")


@dataclass(frozen=True, eq=False)
class Ladder:
    """What was found.

    Attributes
    ----------
    kind : {"ladder", "one step", "none"}
        Three and more levels, two, or no steps.
    height : float or None
        Height of a step, metres.
    u : float or None
        Its expanded uncertainty without that of the height scale, metres.
    levels : int
        Levels that hold at least 3 % of the points.
    resultant : float
        R1: how well heights keep to whole steps, 0 to 1; of the best that was tried where none was accepted.
    smallest : float
        Smallest step that the noise would have allowed to be seen, metres.
    terraces : ndarray of float, shape (ny, nx), or None
        Terrace number of each point of the map, averaged in blocks for large maps.
    level_heights : tuple of (int, float)
        Free height of each level against the common surface, metres, for a plot.
    matches : tuple of Match
        Entries of the lattice table that agree; several may. None of them is thereby named.
    sentence : str
        The same in words.
    """

    kind: str
    height: float | None
    u: float | None
    levels: int
    resultant: float
    smallest: float
    terraces: FloatArray | None
    level_heights: tuple[tuple[int, float], ...]
    matches: tuple[Match, ...]
    sentence: str


def ladder(scan: HeightMap, *, crystal: str | None = None, scale: float = 0.03, row_phases: bool = False) -> Ladder:
    """Find the steps of a crystal in a map.

    Parameters
    ----------
    scan : HeightMap
        As recorded or levelled by a plane; never levelled row by row, which takes the steps off with the rows.
    crystal : str, optional
        What the specimen is, if that is known, such as ``"silicon"``: only then the height scale can be checked.
    scale : float, default 0.03
        Expanded relative uncertainty of the height scale, for the match with the lattice table.
    row_phases : bool, default False
        Whether each row may have an offset of its own: for drift of more than a third of a step. Such offsets are
        unknowns of the final fit, too.

    Returns
    -------
    Ladder
        “No steps” is an answer: most polished surfaces show none.

    Notes
    -----
    Phasor search with chirps on two routes (as it is, and less the slope of the terraces), joint fit of surface and
    step height, rejection of multiples, and acceptance only if all hold: R1 ≥ 0.5, whole terraces that keep to the
    levels (mean resultant 0.95, of a few terraces 0.99), a second level of 3 %, a median rise across the edges of 0.7
    to 1.25 steps, 30 % of the edges clean, clean edges as long as half a side, some of them met along rows. The
    uncertainty is a jackknife over 16 tiles. It takes about a second.

    Examples
    --------
    >>> from core.synthetic import terraces
    >>> rng = np.random.default_rng(1)
    >>> z = terraces((192, 192), (1e-8, 1e-8), step=3.136e-10, width=4e-7, angle=30, waviness=4e-8, rng=rng)
    >>> found = ladder(HeightMap(z + 3e-11 * rng.standard_normal(z.shape), pitch=(1e-8, 1e-8)))
    >>> found.kind, abs(found.height - 3.136e-10) < found.u
    ('ladder', True)
    """
    ground = ground_of(scan)
    if ground is None:
        return _nothing(0.0, 0.0, "Too little of this map counts for steps to be looked for.")
    # averaging in blocks takes noise off; a step must still stand out of what is left
    smallest = max(LOWEST, NOISE_STEPS * ground.noise)
    best: tuple[Joint, float, float, int, str] | None = None
    highest = 0.0
    seen: list[float] = []
    for slope in (None, robust_slope(ground)):
        if slope is None and seen:
            continue
        for candidate in candidates(ground, slope):
            if candidate.resultant < LEAST_CANDIDATE and not row_phases:
                continue
            joint = refine(ground, candidate, slope, rows=row_phases)
            if joint is None or is_multiple(ground, joint):
                continue
            seen.append(joint.step)
            highest = max(highest, joint.resultant)
            kind, levels = _accepted(ground, joint)
            if kind == "none" or (best is not None and joint.resultant <= best[0].resultant):
                continue
            height, u = measured(ground, joint, rows=row_phases)
            if math.isfinite(height) and 0.85 < height / joint.step < 1.15 and u < 0.25 * height:
                best = (joint, height, u, levels, kind)
    if best is None:
        return _nothing(highest, smallest, _none_sentence(smallest))
    joint, height, u, levels, kind = best
    agreeing = matches(height, u, scale=scale, crystal=crystal)
    return Ladder(
        kind=kind,
        height=height,
        u=u,
        levels=levels,
        resultant=joint.resultant,
        smallest=smallest,
        terraces=frozen(joint.levels.copy()),
        level_heights=_free_levels(ground, joint),
        matches=agreeing,
        sentence=_sentence(kind, height, u, levels, agreeing, crystal, scale),
    )


def _accepted(ground: Ground, joint: Joint) -> tuple[str, int]:
    """Kind of ladder, and the number of levels that count."""
    _, counts = np.unique(joint.levels[ground.used], return_counts=True)
    shares = np.sort(counts)[::-1] / counts.sum()
    levels = int(np.count_nonzero(shares >= SECOND_LEVEL))
    if joint.resultant < LEAST_RESULTANT or levels < 2:
        return "none", levels
    whole, terraces = terrace_resultant(ground, joint)
    if whole < (LEAST_TERRACES if terraces >= FEW else LEAST_OF_FEW):
        return "none", levels
    edges = edges_of(ground, joint)
    good = (
        JUMP[0] <= edges.jump <= JUMP[1]
        and edges.clean >= CLEAN
        and edges.length >= 1
        and edges.within_rows >= LEAST_WITHIN_ROWS
    )
    if not good:
        return "none", levels
    if levels == 2 or edges.single < MOSTLY:
        return ("one step" if levels == 2 and joint.step >= SINGLE_LEAST else "none"), levels
    return "ladder", levels


def _free_levels(ground: Ground, joint: Joint) -> tuple[tuple[int, float], ...]:
    """Median height of each level against the common surface."""
    rest = ground.z - joint.surface
    numbers = np.unique(joint.levels[joint.inside]).astype(int)
    told = []
    for number in numbers:
        there = joint.inside & (joint.levels == number)
        if np.count_nonzero(there) >= 20:
            told.append((int(number), float(np.median(rest[there]))))
    return tuple(told)


def _nothing(resultant: float, smallest: float, sentence: str) -> Ladder:
    return Ladder("none", None, None, 0, resultant, smallest, None, (), (), sentence)


def _none_sentence(smallest: float) -> str:
    return (
        "No steps seen: normal for this surface, and no fault of it. On terraces of 30 points and more, steps from "
        f"{format_length(smallest)} on would have stood out of the noise."
    )


def _sentence(
    kind: str, height: float, u: float, levels: int, agreeing: tuple[Match, ...], crystal: str | None, scale: float
) -> str:
    told = f"{1e9 * height:.4f} ± {1e9 * u:.4f} nm (95 %, without the height scale)"
    if kind == "one step":
        return f"One step of {told}; two levels only, so not a ladder, and no whole number of lattice steps is claimed."
    first = f"A ladder of {levels} levels, {told} a step."
    if not agreeing:
        return f"{first} No entry of the lattice table agrees within {100 * scale:.2g} % of the height scale."
    if crystal is None:
        names = "; ".join(f"{match.multiple} × {match.crystal.name}" for match in agreeing)
        return f"{first} It agrees with: {names}. Heights alone do not name a crystal: say which it is."
    best = agreeing[0]
    return (
        f"{first} Over {best.multiple} × {1e9 * best.crystal.step:.4f} nm of {best.crystal.name} "
        f"({best.crystal.source}) the height scale reads {best.ratio:.3f} ± {best.u_ratio:.3f}: a check, not a "
        "calibration."
    )
