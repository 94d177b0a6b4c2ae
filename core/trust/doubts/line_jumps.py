"""Line jumps: heights that the instrument shifted between scan lines, line by line or once."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.heightmap import FloatArray
from core.spectrum.taper import window_weights
from core.trust.doubts.doubt import Doubt, Level, Place
from core.trust.doubts.lines import LEAST_LINES, TURN_SCAN, steps, surface_or_scanner
from core.trust.doubts.look import MOST_MISSING, Look
from core.trust.doubts.periodogram import Periodogram, periodogram
from core.units import format_length

RATIO = 3.0
AMBER = 0.05
RED = 0.3
"""Power of offsets over that of waves along the line, and RMS of the offsets in S, above which lines are doubted."""

FAST = 0.3
"""Cycles per row above which textures have died out down the map and offsets have not."""

FIRST_WAVE, WAVES = 3, 12
"""The waves along the line that offsets are compared with: 3 to 12 periods in the frame."""

"""Rows and columns below which the waves of comparison are texture of the map's own size."""

JUMP = 6.0
AGREE = 0.7
AROUND = 15


def line_jumps(look: Look) -> Doubt | None:
    """The doubt that scan lines are shifted against each other, each by itself or all from one line on.

    Notes
    -----
    *Offsets*: mean periodogram over 0.3 < |f_y| < 0.5 cycles per row, J = I(k_x = 0) / median I(k_x = 3 … 12). Offsets
    independent from row to row are white down the map and constant along it; grooves along the lines are smooth down
    the map. σ_o² = [I(0) − background] Σh²/(Σh)², h the Hann window along the line. Amber for J > 3 and
    σ_o > 0.05 S, red above 0.3 S. *One jump*: the median difference between two rows over the typical one of 15 rows
    on each side is above 6, more than 70 % of the columns move the same way by more than half of it, and the rows
    beside do not take it back.

    Simulated for this program (256², ten clean textures; `tests/core/trust/test_doubt_spatial_rates.py`): no alarm in
    1,500 clean maps; offsets of 0.1 S found in all, one jump of 1 S in 178 of 180 maps and of 0.6 S in 166, but where
    lapping runs along the scan lines (7 and 1 of 20). Noise with a 1/f spectrum in time makes true offsets; it is told.
    """
    if min(look.raw.shape) < LEAST_LINES or look.blank:
        return None
    jump = one_jump(look.level)
    power = look.power if jump is None else periodogram(_without(look.clipped, jump), unit=look.rough)
    offsets = row_offsets(power, look.rough)
    judged = look.raw.missing_fraction <= MOST_MISSING
    if judged and offsets.ratio > RATIO and offsets.rms > AMBER * look.rough:
        return _offsets_told(look, offsets)
    return None if jump is None else _jump_told(look, jump)


@dataclass(frozen=True, slots=True)
class Offsets:
    """Row offsets: power over that of waves along the line, and their RMS in metres."""

    ratio: float
    rms: float


def row_offsets(power: Periodogram, unit: float) -> Offsets:
    """Offsets of rows against each other.

    Parameters
    ----------
    power : Periodogram
        Of the clipped map, in squared units.
    unit : float
        Metres.
    """
    high = np.abs(power.frequencies[0][:, 0]) > FAST
    waves = np.mean(power.density[high, : WAVES + 1], axis=0)
    background = float(np.median(waves[FIRST_WAVE:]))
    along = window_weights("hann", power.columns)
    rms = unit * math.sqrt(max(0.0, float(waves[0]) - background) * float(along @ along)) / float(along.sum())
    return Offsets(float(waves[0]) / background if background > 0 else math.inf, rms)


@dataclass(frozen=True, slots=True)
class Jump:
    """One jump: the first row after it, its height in metres, and how far it stands out."""

    row: int
    height: float
    ratio: float


def one_jump(level: FloatArray) -> Jump | None:
    """The largest step between two rows that stands out of its surroundings and that most columns make."""
    move = steps(level)
    size = np.abs(move)
    common = 0.7 * robust_sigma_about_zero(size)
    best: Jump | None = None
    # Only steps far above the common ones can stand out of their own surroundings too.
    for row in np.flatnonzero(size > JUMP * common):
        beside = np.concatenate([size[max(0, row - AROUND) : max(0, row - 1)], size[row + 2 : row + 2 + AROUND]])
        yardstick = max(robust_sigma_about_zero(beside), common)
        ratio = float(size[row]) / yardstick if yardstick > 0 else 0.0
        if ratio <= JUMP or (best is not None and ratio <= best.ratio):
            continue
        lasting = abs(float(np.nansum(move[max(0, row - 1) : row + 2]))) > float(size[row]) / 2
        if lasting and _agreed(level, int(row), float(move[row])):
            best = Jump(int(row) + 1, float(move[row]), ratio)
    return best


def _without(level: FloatArray, jump: Jump) -> FloatArray:
    """The map without its one jump, which would pass for offsets of all rows in a spectrum."""
    return np.concatenate([level[: jump.row], level[jump.row :] - jump.height])


def robust_sigma_about_zero(size: FloatArray) -> float:
    """1.4826 × median of absolute values that are not NaN."""
    known = size[np.isfinite(size)]
    return float(1.482602218505602 * np.median(known)) if known.size else 0.0


def _agreed(level: FloatArray, row: int, move: float) -> bool:
    moves = level[row + 1] - level[row]
    moves = moves[np.isfinite(moves)]
    return moves.size > 0 and float(np.mean(moves * np.sign(move) > abs(move) / 2)) > AGREE


def _offsets_told(look: Look, offsets: Offsets) -> Doubt:
    share = offsets.rms / look.rough
    level: Level = "red" if share > RED else "amber"
    return Doubt(
        "line-jumps",
        level,
        f"Scan lines are shifted against each other by {format_length(offsets.rms)} RMS, {share:.2g} of the roughness "
        f"{format_length(look.rough)}.",
        "Let the instrument settle, shield it from draughts and sound, raise the gain or the line rate. Only numbers "
        "along the fast axis can be trusted; taking off row offsets takes off texture too.",
        {"offset_rms_m": offsets.rms, "offset_share": share, "power_ratio": min(offsets.ratio, 1e9)},
        confused_with=surface_or_scanner(look),
        settled_by=TURN_SCAN,
        cure={"do": "rows", "remove": "offset", "by": "median"},
    )


def _jump_told(look: Look, jump: Jump) -> Doubt:
    ny, nx = look.raw.shape
    longer = f"lines {jump.row + 1} to {ny}" if jump.row < ny / 2 else f"lines 1 to {jump.row}"
    shorter = {"top": "0 px", "height": f"{jump.row} px"} if jump.row < ny / 2 else {"top": f"{jump.row} px"}
    return Doubt(
        "line-jumps",
        "amber",
        f"All heights jump by {format_length(jump.height)} between lines {jump.row} and {jump.row + 1}.",
        f"The probe let go, or something knocked. Use the longer part, {longer}, or scan again.",
        {"jump_m": jump.height, "line": float(jump.row), "jump_ratio": jump.ratio},
        place=Place(max(0, jump.row - 1), 0, jump.row + 1, nx),
        confused_with=surface_or_scanner(look),
        settled_by=TURN_SCAN,
        cure={"do": "mask", "what": "rectangle", **shorter},
    )
