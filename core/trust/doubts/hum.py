"""Hum: mains in the heights. A frequency in time becomes a stripe whose place in the spectrum the line rate tells.

The wavenumber along the lines gives the frequency to a few lines' worth; the phase from line to line refines it to a
millihertz, up to a whole multiple of the line rate.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.trust.doubts.doubt import Doubt
from core.trust.doubts.look import Look
from core.trust.doubts.noise_floor import without_short_waves
from core.trust.doubts.ridges import ridge
from core.trust.doubts.spectrum_lines import Line, harmonic_ratio, lines, refined
from core.units import format_length, format_number, percent

MAINS = (50.0, 100.0, 150.0, 60.0, 120.0, 180.0)
"""Hz: what buildings hum at, with the first two harmonics."""

LOWEST_BIN = 4
NYQUIST_BINS = 3
"""A mains bin below four cycles per row, or within three of the Nyquist limit, is not looked at."""

RATIO, DIRECTIONAL_RATIO = 12.0, 25.0
HARMONIC = 0.1
"""Least line ratio; on a texture with a direction more, and with next to nothing at twice the wavenumber."""

OTHER_RATIO, OTHER_DIRECTIONAL_RATIO, OTHER_CYCLES = 30.0, 50.0, 16.0
"""What a line must have to be told though it is no mains."""

RED_SHARE = 0.1
"""RMS of the hum as a share of S above which the doubt is red."""

SAME_COLUMN = 0.3
"""Bins by which the interpolated wavenumber across may miss (1 % miss by 0.16)."""

STANDING = 0.02
"""Cycles from line to line below which the stripe stands across the lines as a grating would."""


@dataclass(frozen=True, slots=True)
class Mains:
    """Where a mains frequency lies in the spectrum of one map.

    Attributes
    ----------
    frequency : float
        Hz.
    bin : float
        Cycles per frame across, folded at the Nyquist limit.
    sign : int
        −1 where folding (or a retrace, in which time runs backwards) turns the phase from line to line.
    """

    frequency: float
    bin: float
    sign: int


def mains_bins(look: Look, line_rate: float) -> list[Mains]:
    """The mains frequencies that a map of this line rate can show, each with its place."""
    columns = look.power.columns
    backwards = -1 if look.raw.metadata.get("direction") == "retrace" else 1
    found = []
    for frequency in MAINS:
        cycles = frequency / (2 * line_rate * look.raw.shape[1])  # per point; half of a line's time goes there
        folded = cycles - round(cycles)
        at = abs(folded) * columns
        if LOWEST_BIN <= at <= columns / 2 - NYQUIST_BINS:
            found.append(Mains(frequency, at, backwards if folded >= 0 else -backwards))
    return found


def hum(look: Look) -> Doubt | None:
    """The doubt of mains in the map: amber, red when its RMS exceeds a tenth of S; other strong lines are a note.

    A steady hum is one line of ratio above 12 in a mains bin (25 on a texture with a direction); mains that wanders
    during the scan is a ridge there.

    Simulated for this program, ten textures of 256² points: no alarm on 600 clean maps; steady hum of 0.05, 0.1, 0.2 S
    found in 93, 97, 99 %, mains wandering by 20 mHz of 0.1, 0.2 S in 95, 99 %; the frequency of steady hum is right to
    0.02 mHz (median), 1 mHz (99 %). At 128² points 3 alarms on 560 maps, at 1024² 1 on 54 (terraces).
    """
    if look.obstacle:
        return None
    rate = look.line_rate
    if rate is None:
        return _other(look, None)
    mains = mains_bins(look, rate)
    return _steady(look, mains, rate) or _wandering(look, mains, rate) or _other(look, rate)


def _steady(look: Look, mains: list[Mains], rate: float) -> Doubt | None:
    limit = (DIRECTIONAL_RATIO if look.directional else RATIO) + math.log(max(1.0, look.power.rows / 256))
    for line in _lines_near(look, mains):  # the strongest first
        if line.ratio <= limit:
            return None
        if look.directional and harmonic_ratio(look.power, line) > HARMONIC:
            continue
        down, across = refined(look.power, line)
        place = _nearest(mains, across, down / look.power.rows, rate)
        frequency, upwards = _frequencies(place, down / look.power.rows, rate)
        return _told(look, line, math.sqrt(line.share), frequency, upwards, rate, steady=True)
    return None


def _nearest(mains: list[Mains], across: float, phase: float, rate: float) -> Mains:
    """Which mains frequency a line is: of those in its column the one from which it would deviate by the fewest hertz.

    Frequencies a pixel rate apart fall on one bin; mains keeps within a few hundredths of a hertz.
    """
    closest = min(abs(across - place.bin) for place in mains)
    near = [place for place in mains if abs(across - place.bin) <= closest + SAME_COLUMN]
    return min(near, key=lambda place: abs(_frequencies(place, phase, rate)[0] - place.frequency))


def _lines_near(look: Look, mains: list[Mains]) -> list[Line]:
    """The lines whose column lies within one of a mains bin, the strongest first."""
    columns = np.arange(look.power.density.shape[1])
    near = [np.abs(columns - place.bin) <= 1 for place in mains]
    if not near:
        return []
    return lines(look.power, look.above_box, np.broadcast_to(np.any(near, axis=0), look.power.density.shape))


def _wandering(look: Look, mains: list[Mains], rate: float) -> Doubt | None:
    tried = ((place, ridge(look.power, place.bin, directional=look.directional)) for place in mains)
    hits = [(place, found) for place, found in tried if found is not None]
    if not hits:
        return None
    place, best = max(hits, key=lambda hit: hit[1].excess)
    frequency, upwards = _frequencies(place, best.down / look.power.rows, rate)
    line = Line(round(best.down), round(place.bin), best.excess, best.share)
    return _told(look, line, math.sqrt(best.share), frequency, upwards, rate, steady=False)


def _frequencies(place: Mains, phase: float, rate: float) -> tuple[float, float]:
    """Hz for a scan that ran from the top line down, and for one that ran upwards: the ones nearest to the mains."""

    def nearest(turn: float) -> float:
        return (round(place.frequency / rate - turn) + turn) * rate

    return nearest(place.sign * phase), nearest(-place.sign * phase)


def _told(
    look: Look, line: Line, share: float, frequency: float, upwards: float, rate: float, *, steady: bool
) -> Doubt:
    wavelength = look.wavelength(line)
    hertz = f"{format_number(frequency, digits=5 if steady else 4)} Hz"
    other = f", {format_number(upwards, digits=5)} Hz if the scan ran upwards" if steady else ""
    kind = "Mains hum" if steady else "Mains hum that wanders"
    stripe = f"{format_length(wavelength)} = {hertz}"
    looks_like = "A stripe of this wavelength on the surface."
    if abs(line.down) < STANDING * look.power.rows:
        looks_like = f"Fixed stripe, {stripe}: a grating or lapping lines across the scan lines look the same."
    turned = " Directional texture: it cannot be told from lapping in one map." if look.directional else ""
    return Doubt(
        "hum",
        "red" if share > RED_SHARE else "amber",
        f"{kind}: stripes of {stripe}{other} (or any multiple of the line rate "
        f"{format_number(rate)} Hz away; exact as far as the line rate is), {look.told(share)} RMS, {percent(share)} "
        f"of the roughness.{turned}",
        "Look for ground loops, lamps, pumps and fans; try another socket or a battery; scan at another line rate.",
        {
            "frequency_hz": frequency,
            "frequency_upwards_hz": upwards,
            "line_rate_hz": rate,
            "wavelength_m": wavelength,
            "rms_m": share * look.rough,
            "rough_share": share,
            "ratio": line.ratio,
        },
        confused_with=looks_like,
        settled_by="A scan at a line rate 3 % higher: hum moves, texture stays.",
        cure=without_short_waves(look, wavelength),
    )


def _other(look: Look, rate: float | None) -> Doubt | None:
    """A note about a line that is no mains, or of which nobody knows without a line rate."""
    limit = OTHER_DIRECTIONAL_RATIO if look.directional else OTHER_RATIO
    strong = [line for line in look.lines if line.ratio > limit and line.cycles > OTHER_CYCLES and line.across > 0]
    strong = [line for line in strong if harmonic_ratio(look.power, line) < HARMONIC]
    if not strong:
        return None
    line = max(strong, key=lambda line: line.share)
    wavelength = look.wavelength(line)
    figures = {"wavelength_m": wavelength, "rms_m": math.sqrt(line.share) * look.rough, "ratio": line.ratio}
    hertz, advice = (
        "",
        "Note the line rate beside the file (line_rate in its sidecar): then the stripe has a frequency.",
    )
    if rate is not None:
        frequency = _free_frequency(look, line, rate)
        figures["frequency_hz"] = frequency
        hertz, advice = f" = {format_number(frequency, digits=5)} Hz at this line rate", "Scan at another line rate."
    return Doubt(
        "hum",
        "note",
        f"One sharp line in the spectrum: stripes of {format_length(wavelength)}{hertz}, "
        f"{look.told(math.sqrt(line.share))} RMS.",
        advice,
        figures,
        confused_with="A grating on the surface, or an oscillation in time such as mains, a pump or a resonance.",
        settled_by="A scan at a line rate 3 % higher: what oscillates in time moves, texture stays.",
    )


def _free_frequency(look: Look, line: Line, rate: float) -> float:
    """Hz without assuming mains, between 0 and the Nyquist limit: the wavenumber across picks the multiple."""
    down, across = refined(look.power, line)
    turn = down / look.power.rows * (-1 if look.raw.metadata.get("direction") == "retrace" else 1)
    rough = across / look.power.columns * 2 * look.raw.shape[1]  # in line rates
    return (round(rough - turn) + turn) * rate
