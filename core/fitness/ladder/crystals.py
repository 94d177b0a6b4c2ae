"""Step heights of crystals, derived from lattice parameters, and which of them a measured step agrees with."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

NM = 1e-9


@dataclass(frozen=True, slots=True)
class Crystal:
    """The single step of one crystal face.

    Attributes
    ----------
    name : str
        Crystal and face.
    step : float
        Height of one step, metres.
    u : float
        Uncertainty of it (expanded), metres: of the lattice parameter, or the spread between specimens.
    source : str
        Lattice parameter and where it comes from.
    """

    name: str
    step: float
    u: float
    source: str


SILICON = 192015.569e-15 * math.sqrt(8)
"""Lattice parameter of silicon, metres, from d220 = 192015.569(6) fm (Basile et al., IEEE Trans. Instrum. Meas. 44
(1995) 526)."""

_SI = "d220 = 192015.569(6) fm, Basile et al., IEEE Trans. Instrum. Meas. 44 (1995) 526"

CRYSTALS: tuple[Crystal, ...] = (
    Crystal("silicon (111)", SILICON / math.sqrt(3), 1e-15, f"a/√3; {_SI}"),
    Crystal("silicon (100)", SILICON / 4, 1e-15, f"a/4; {_SI}"),
    Crystal("silicon (110)", SILICON / math.sqrt(8), 1e-15, f"a/√8; {_SI}"),
    Crystal("graphite", 0.6711 * NM / 2, 0.0004 * NM, "c/2; c = 0.6711(4) nm, Trucano and Chen, Nature 258 (1975) 136"),
    Crystal(
        "muscovite mica",
        2.01058 * NM * math.sin(math.radians(95.782)) / 2,
        0.004 * NM,
        "c sin β/2; c = 2.01058 nm, β = 95.782° (2M1 refinement; other specimens 1.998–2.010 nm)",
    ),
    Crystal("sapphire (0001)", 1.2991 * NM / 6, 0.0001 * NM, "c/6; c = 1.2991 nm, from memory"),
    Crystal("strontium titanate (001)", 0.3905 * NM, 0.0001 * NM, "a = 0.3905 nm, from memory"),
    Crystal("gold (111)", 0.40786 * NM / math.sqrt(3), 0.0001 * NM, "a/√3; a = 0.40786 nm, from memory"),
    Crystal("magnesium oxide (001)", 0.42112 * NM / 2, 0.0001 * NM, "a/2; a = 0.42112 nm, from memory"),
    Crystal("calcium fluoride (111)", 0.3154 * NM, 0.0002 * NM, "a/√3, from memory"),
    Crystal("sodium chloride (001)", 0.2820 * NM, 0.0002 * NM, "a/2, from memory"),
    Crystal("lanthanum aluminate (001)", 0.379 * NM, 0.0005 * NM, "pseudocubic a, from memory"),
    Crystal("gallium arsenide (001)", 0.2827 * NM, 0.0002 * NM, "a/2, from memory"),
    Crystal("silicon carbide (0001)", 0.252 * NM, 0.0005 * NM, "bilayer of 6H, from memory"),
)
"""The table. Every entry says where its lattice parameter comes from."""

MULTIPLES = range(1, 5)
"""Steps are also seen bunched: two, three and four high."""


@dataclass(frozen=True, slots=True)
class Match:
    """A crystal whose step, or a small multiple of it, agrees with what was measured.

    Attributes
    ----------
    crystal : Crystal
    multiple : int
        Steps in one measured step.
    ratio : float
        Measured over expected height: the consistency of the height scale. A check, not a calibration.
    u_ratio : float
        Its expanded uncertainty, without that of the height scale.
    deviation : float
        Difference over its expanded uncertainty; at most 1 for a match.
    """

    crystal: Crystal
    multiple: int
    ratio: float
    u_ratio: float
    deviation: float


def matches(
    height: float, u: float, *, scale: float = 0.03, crystal: str | None = None, table: Sequence[Crystal] = CRYSTALS
) -> tuple[Match, ...]:
    r"""All entries of the table that agree with a step height, best first.

    An entry h₀ agrees with m steps if :math:`|h - m h_0| \le \sqrt{U^2 + (m U_0)^2 + (h\,U_z)^2}`.

    Parameters
    ----------
    height : float
        Measured, metres.
    u : float
        Expanded uncertainty of it, metres.
    scale : float, default 0.03
        Expanded relative uncertainty of the height scale.
    crystal : str, optional
        The crystal, where it is known: only entries whose name contains it are looked at.
    table : sequence of Crystal, optional

    Returns
    -------
    tuple of Match
        May hold several: at 3 % sapphire and magnesium oxide, or silicon and calcium fluoride, are not told apart.
        The measurement does not name a crystal.

    Examples
    --------
    >>> [match.crystal.name for match in matches(0.3136e-9, 2e-12)]
    ['silicon (111)', 'calcium fluoride (111)']
    """
    found = []
    for entry in table:
        if crystal is not None and crystal.lower() not in entry.name.lower():
            continue
        for multiple in MULTIPLES:
            expected = multiple * entry.step
            allowed = math.sqrt(u**2 + (multiple * entry.u) ** 2 + (height * scale) ** 2)
            deviation = abs(height - expected) / allowed
            if deviation <= 1:
                own = math.hypot(u, multiple * entry.u) / expected
                found.append(Match(entry, multiple, height / expected, own, deviation))
    return tuple(sorted(found, key=lambda match: (match.multiple, match.deviation)))
