"""Profile parameters of ISO 21920-2: primary profile P, waviness W and roughness R, from rows, columns or a section."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

import numpy as np

from core.errors import MapError, QuantityError
from core.filters.profile import part_profiles
from core.heightmap import FloatArray
from core.measures.profile_elements import element_widths
from core.measures.profiles import Profiles
from core.units import format_length

Family = Literal["P", "W", "R"]

SECTIONS = 5
"""Section lengths in an evaluation length where the profile is long enough (ISO 21920-3 default, from memory)."""

ELEMENT_HEIGHT = 0.1
"""Share of Rz that peaks and valleys of a profile element must reach (ISO 21920-2 default, from memory)."""

LEAST_SHARE = 0.5
"""A profile of which less counts within the evaluation length is left out (own choice)."""

SYMBOLS = ("p", "v", "z", "t", "a", "q", "sk", "ku", "dq", "Sm", "mr")
"""Endings of the symbols, in the order in which they are shown: with R they are Rp, Rv, Rz, Rt, Ra, Rq ..."""

UNITS = MappingProxyType({"sk": "1", "ku": "1", "dq": "1", "mr": "1"})
"""Units that are not metres, by ending."""

_STENCIL = np.array([-1, 9, -45, 0, 45, -9, 1]) / 60


@dataclass(frozen=True, slots=True)
class Texture:
    """Profile parameters, means over the profiles that have them.

    Attributes
    ----------
    family : {"P", "W", "R"}
        Which profile.
    values : mapping of str to (float or None)
        By symbol, such as ``"Rq"``; SI. None where no profile has it.
    spread : mapping of str to (float or None)
        Standard deviation between the profiles (n − 1); None for a single one. Neighbouring rows of a map are alike,
        so this is no measure of uncertainty.
    profiles : int
        Number of profiles that count.
    sections : int
        Section lengths within the evaluation length.
    section_length, evaluation_length : float
        Metres.
    shortest, longest : float or None
        The cut-offs λs and λc, metres.
    note : str
        What departs from the rules, in words.
    """

    family: Family
    values: Mapping[str, float | None]
    spread: Mapping[str, float | None]
    profiles: int
    sections: int
    section_length: float
    evaluation_length: float
    shortest: float | None
    longest: float | None
    note: str = ""


def texture(
    profiles: Profiles,
    *,
    family: Family,
    shortest: float | None,
    longest: float | None,
    form: int = 1,
    height: float = 0.0,
    sections: int = SECTIONS,
) -> Texture:
    r"""Profile parameters.

    Parameters
    ----------
    profiles : Profiles
        Heights along lines; missing points do not count.
    family : {"P", "W", "R"}
        P: after λs. W: of P, what is longer than λc. R: of P, what is shorter than λc.
    shortest : float or None
        λs, metres; None where the probe is the only short limit.
    longest : float or None
        λc, metres. W and R need it; P takes none.
    form : int, default 1
        Degree of the polynomial that is taken off each profile first: 0 the mean, 1 a line, 2 a parabola.
    height : float, default 0
        Height of Rmr above the reference line, metres.
    sections : int, default 5
        Most section lengths within the evaluation length.

    Returns
    -------
    Texture
        Rp, Rv, Rz: greatest height, depth, and their sum in each section length, mean over the sections. Rt: the same
        over the evaluation length. Ra, Rq, Rsk, Rku: moments about the reference line over the evaluation length. Rdq:
        root mean square slope by the seven-point derivative. RSm: mean width of the profile elements. Rmr: share of the
        points at or above `height`. All are means over the profiles, each profile having one vote.

    Raises
    ------
    QuantityError
        If a cut-off is missing, not positive, or λs is not below λc.
    MapError
        If the profiles are too short to be filtered.

    Notes
    -----
    Half a cut-off is cut off at either end. Of what is kept the middle is evaluated: for R in section lengths of λc, as
    many as fit, at most `sections`; if not even one fits, all that is kept is one section, and the note says so. P and
    W have one section, all that is kept. A profile of which less than half counts there is left out. ISO 21920-2:2021
    (parameters), ISO 21920-3:2021 (defaults), ISO 16610-21:2011 (filter); clauses from memory.

    Examples
    --------
    A wave of amplitude 1 nm and length 1 µm:

    >>> wave = 1e-9 * np.cos(2 * np.pi * np.arange(1000) / 100)
    >>> found = texture(Profiles(wave, 1e-8), family="P", shortest=None, longest=None, form=0)
    >>> {symbol: round(1e9 * found.values[symbol], 3) for symbol in ("Pz", "Pq", "PSm")}
    {'Pz': 2.0, 'Pq': 0.707, 'PSm': 1000.0}
    """
    _check(family, longest, sections)
    levelled = profiles.without_form(form)
    parted = part_profiles(
        levelled.heights, levelled.spacing, shortest=shortest, longest=None if family == "P" else longest, edges="cut"
    )
    whole = {"P": parted.primary, "W": parted.waviness, "R": parted.roughness}[family]
    kept = parted.keep.stop - parted.keep.start
    points = round(longest / profiles.spacing) if family == "R" and longest else kept
    count = min(sections if family == "R" else 1, kept // max(points, 1))
    note = ""
    if count == 0:
        count, points = 1, kept
        note = (
            f"The profile keeps {format_length(kept * profiles.spacing)}, less than one section length "
            f"({format_length(longest or 0.0)}): all of it is one section."
        )
    elif family == "R" and count < sections:
        note = f"The profile holds {count} of {sections} section lengths."
    start = parted.keep.start + (kept - count * points) // 2
    inside = slice(start, start + count * points)
    by_profile = _parameters(whole, inside, count, profiles.spacing, height)
    return Texture(
        family=family,
        values=MappingProxyType({family + ending: _mean(by_profile[ending]) for ending in SYMBOLS}),
        spread=MappingProxyType({family + ending: _deviation(by_profile[ending]) for ending in SYMBOLS}),
        profiles=int(np.count_nonzero(~np.isnan(by_profile["q"]))),
        sections=count,
        section_length=points * profiles.spacing,
        evaluation_length=count * points * profiles.spacing,
        shortest=shortest,
        longest=None if family == "P" else longest,
        note=note,
    )


def _check(family: str, longest: float | None, sections: int) -> None:
    if family not in ("P", "W", "R"):
        raise MapError(f"The profile families are P, W and R, not {family!r}")
    if family != "P" and longest is None:
        raise QuantityError(
            f"{family} parameters need the cut-off λc", fix="Give the longest wavelength that counts as roughness."
        )
    if sections < 1:
        raise MapError(f"An evaluation length has at least one section length, not {sections}")


def _parameters(whole: FloatArray, inside: slice, count: int, spacing: float, height: float) -> dict[str, FloatArray]:
    """Each parameter of each profile, by ending, shape (m,); NaN where a profile has it not."""
    z = whole[:, inside]
    there = ~np.isnan(z)
    enough = np.count_nonzero(there, axis=1) >= LEAST_SHARE * z.shape[1]
    whole, z, there = whole[enough], z[enough], there[enough]
    found = {ending: np.full(enough.size, np.nan) for ending in SYMBOLS}
    if not enough.any():
        return found
    by_section = z.reshape(len(z), count, -1)
    peaks, pits = np.fmax.reduce(by_section, axis=2), -np.fmin.reduce(by_section, axis=2)
    filled = np.where(there, z, 0.0)
    points = np.count_nonzero(there, axis=1)
    square = filled * filled
    rms = np.sqrt(square.sum(axis=1) / points)
    with np.errstate(invalid="ignore", divide="ignore"):  # an even profile has no skewness
        values = {
            "p": _over_sections(peaks),
            "v": _over_sections(pits),
            "z": _over_sections(peaks + pits),
            "t": np.fmax.reduce(z, axis=1) - np.fmin.reduce(z, axis=1),
            "a": np.abs(filled).sum(axis=1) / points,
            "q": rms,
            "sk": (square * filled).sum(axis=1) / points / rms**3,
            "ku": (square * square).sum(axis=1) / points / rms**4,
            "dq": _slope(whole, inside, spacing),
            "mr": np.count_nonzero(z >= height, axis=1) / points,
        }
    values["Sm"] = np.array(
        [_mean_width(row, ELEMENT_HEIGHT * z_) * spacing for row, z_ in zip(z, values["z"], strict=True)]
    )
    for ending, value in values.items():
        found[ending][enough] = value
    return found


def _over_sections(values: FloatArray) -> FloatArray:
    """Mean over the sections in which points count."""
    there = ~np.isnan(values)
    return np.asarray(np.where(there, values, 0.0).sum(axis=1) / np.count_nonzero(there, axis=1))


def _slope(whole: FloatArray, inside: slice, spacing: float) -> FloatArray:
    """Root mean square slope over the points with a whole stencil, which may reach beyond the evaluation length."""
    reach = len(_STENCIL) // 2
    n = whole.shape[1]
    if n <= 2 * reach:
        return np.full(len(whole), np.nan)
    slope = np.full(whole.shape, np.nan)
    slope[:, reach : n - reach] = sum(
        weight * whole[:, k : n - 2 * reach + k] for k, weight in enumerate(_STENCIL) if weight
    )
    slope = slope[:, inside] / spacing
    there = ~np.isnan(slope)
    total = np.where(there, slope * slope, 0.0).sum(axis=1)
    return np.asarray(np.sqrt(total / np.count_nonzero(there, axis=1)))


def _mean_width(heights: FloatArray, least: float) -> float:
    if not least > 0:
        return math.nan
    widths = element_widths(heights, least)
    return float(widths.mean()) if widths.size else math.nan


def _mean(values: FloatArray) -> float | None:
    there = values[~np.isnan(values)]
    return float(there.mean()) if there.size else None


def _deviation(values: FloatArray) -> float | None:
    there = values[~np.isnan(values)]
    return float(there.std(ddof=1)) if there.size > 1 else None
