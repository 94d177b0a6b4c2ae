"""Functional parameters: from the material ratio curve, so from how often each height occurs and not from where."""

from __future__ import annotations

from core.measures.heights import NOTHING
from core.measures.material_ratio import DALES, HILLS, LEAST_POINTS, CoreLine, Tail
from core.measures.outcome import Outcome
from core.measures.quantity import Quantity
from core.measures.surface import Surface
from core.units import percent

EXTREME_FROM, EXTREME_TO = 0.025, 0.50
"""Ratios between which Sxp reaches (ISO 25178-3 defaults, from memory)."""


def material_ratio(surface: Surface, height: float = 0.0) -> Outcome:
    """Smr(c): share of the points at or above the height c above the mean (metres); a pure number."""
    return Outcome(surface.material_ratio.ratio(surface.mean + height)) if surface.points else NOTHING


def material_height(surface: Surface, ratio: float = HILLS) -> Outcome:
    """Smc(p): height above the mean at which the share p of the points lies at or above; metres."""
    return Outcome(surface.above_mean(surface.material_ratio.height(ratio))) if surface.points else NOTHING


def extreme_peak_height(surface: Surface) -> Outcome:
    """Sxp: Smc(2.5 %) − Smc(50 %); metres."""
    if not surface.points:
        return NOTHING
    curve = surface.material_ratio
    return Outcome(curve.height(EXTREME_FROM) - curve.height(EXTREME_TO))


def core_height(surface: Surface) -> Outcome:
    """Sk: fall of the equivalent straight line from 0 to 100 %; metres."""
    core = _core(surface)
    return Outcome(core.top - core.bottom) if isinstance(core, CoreLine) else core


def reduced_peak_height(surface: Surface) -> Outcome:
    """Spk: height of the triangle as large as the hills above the core; metres."""
    hills = _hills(surface)
    return Outcome(hills.height) if isinstance(hills, Tail) else hills


def reduced_dale_depth(surface: Surface) -> Outcome:
    """Svk: height of the triangle as large as the dales below the core; metres."""
    dales = _dales(surface)
    return Outcome(dales.height) if isinstance(dales, Tail) else dales


def hill_share(surface: Surface) -> Outcome:
    """Smr1: share of the points above the core; a pure number."""
    hills = _hills(surface)
    return Outcome(hills.share) if isinstance(hills, Tail) else hills


def without_dales(surface: Surface) -> Outcome:
    """Smr2: share of the points that are not below the core; a pure number."""
    dales = _dales(surface)
    return Outcome(1 - dales.share) if isinstance(dales, Tail) else dales


def hill_volume(surface: Surface) -> Outcome:
    """Vmp: material above the height of 10 %; metres (m³/m²)."""
    return Outcome(surface.material_ratio.hills.volume) if surface.points else NOTHING


def core_material(surface: Surface) -> Outcome:
    """Vmc: material between the heights of 80 % and 10 %; metres (m³/m²)."""
    if not surface.points:
        return NOTHING
    # The material above the height of 80 % is what lies above the mean, down to there, and the void below, put back.
    above = -surface.above_mean(surface.material_ratio.dale_height) + surface.material_ratio.dales.volume
    return Outcome(above - surface.material_ratio.hills.volume)


def core_void(surface: Surface) -> Outcome:
    """Vvc: void between the heights of 10 % and 80 %; metres (m³/m²)."""
    if not surface.points:
        return NOTHING
    below = surface.above_mean(surface.material_ratio.hill_height) + surface.material_ratio.hills.volume
    return Outcome(below - surface.material_ratio.dales.volume)


def dale_void(surface: Surface) -> Outcome:
    """Vvv: void below the height of 80 %; metres (m³/m²)."""
    return Outcome(surface.material_ratio.dales.volume) if surface.points else NOTHING


NO_CORE = Outcome(
    None,
    "The material ratio curve has no flat part in its middle (it is flattest at an end, as for a wave or a bow): "
    "a core cannot be told from hills and dales.",
)
TOO_FEW = Outcome(None, f"Fewer than {LEAST_POINTS} points: the flattest part of the curve would be chance.")


def _core(surface: Surface) -> CoreLine | Outcome:
    return surface.material_ratio.core or NO_CORE if surface.points >= LEAST_POINTS else _too_few(surface)


def _hills(surface: Surface) -> Tail | Outcome:
    return surface.material_ratio.above_core or NO_CORE if surface.points >= LEAST_POINTS else _too_few(surface)


def _dales(surface: Surface) -> Tail | Outcome:
    return surface.material_ratio.below_core or NO_CORE if surface.points >= LEAST_POINTS else _too_few(surface)


def _too_few(surface: Surface) -> Outcome:
    return TOO_FEW if surface.points else NOTHING


_LINE = (
    "The curve's flattest 40 % (by the secant) are fitted with a straight line (least squares), which is drawn out to "
    "0 % and 100 %."
)
_FLAT = (
    "It needs a curve with a flat middle: waves and bow have none. On small or long-waved maps the place of the "
    "flattest part is chance."
)
_RATIOS = (
    f"The ratios {percent(HILLS)} and {percent(DALES)} are an agreement: they cut every surface alike, whatever it is "
    "made of."
)

ENTRIES = (
    Quantity(
        "Sk",
        "core height",
        "m",
        "ISO 25178-2:2021, 4.6",
        f"The height of the surface's body, without its hills and dales. {_LINE}",
        "Sk = c(0 %) − c(100 %) of the line",
        f"{_FLAT} 2.57 Sq for Gaussian heights; by the secant itself it would be 2.62 Sq.",
        True,
        core_height,
    ),
    Quantity(
        "Spk",
        "reduced peak height",
        "m",
        "ISO 25178-2:2021, 4.6",
        "How high the hills stand above the core: the height of a triangle on the base Smr1 as large as they are. "
        "First to be worn, first to be touched.",
        "Spk = 2 · mean of max(z − c(0 %), 0) / Smr1",
        f"One tall speck raises it. {_FLAT}",
        True,
        reduced_peak_height,
    ),
    Quantity(
        "Svk",
        "reduced dale depth",
        "m",
        "ISO 25178-2:2021, 4.6",
        "How deep the dales reach below the core: the height of a triangle on the base 1 − Smr2 as large as they are.",
        "Svk = 2 · mean of max(c(100 %) − z, 0) / (1 − Smr2)",
        f"A blunt tip does not reach the bottom of narrow pits. {_FLAT}",
        True,
        reduced_dale_depth,
    ),
    Quantity(
        "Smr1",
        "material ratio of the hills",
        "1",
        "ISO 25178-2:2021, 4.6",
        "Share of the points that stand above the core, 0.1 for 10 %.",
        "Smr1 = share of points with z > c(0 %)",
        _FLAT,
        False,
        hill_share,
    ),
    Quantity(
        "Smr2",
        "material ratio of the dales",
        "1",
        "ISO 25178-2:2021, 4.6",
        "Share of the points that do not lie below the core; 1 − Smr2 is the share of the dales.",
        "Smr2 = 1 − share of points with z < c(100 %)",
        _FLAT,
        False,
        without_dales,
    ),
    Quantity(
        "Smr",
        "areal material ratio at the mean height",
        "1",
        "ISO 25178-2:2021, 4.6",
        "Share of the points at or above the mean height. Below 0.5 where a few bumps stand on a plain, above where "
        "pits are sunk into a plateau.",
        "Smr(c) = share of points with z ≥ mean + c, here c = 0",
        "On maps with few height levels it jumps from level to level.",
        False,
        material_ratio,
    ),
    Quantity(
        "Smc",
        f"inverse areal material ratio at {percent(HILLS)}",
        "m",
        "ISO 25178-2:2021, 4.6",
        f"The height above the mean that {percent(HILLS)} of the points reach or exceed.",
        f"Smc(p) = height at the ratio p of the curve, less the mean; here p = {percent(HILLS)}",
        "Features that cover less than the ratio do not show in it.",
        False,
        material_height,
    ),
    Quantity(
        "Sxp",
        "peak extreme height",
        "m",
        "ISO 25178-2:2021, 4.6",
        "How far the hills rise above the middle of the heights, without the highest few points.",
        f"Sxp = Smc({percent(EXTREME_FROM, 1)}) − Smc({percent(EXTREME_TO)})",
        "Features that cover less than 2.5 % of the area do not show in it.",
        True,
        extreme_peak_height,
    ),
    Quantity(
        "Vmp",
        "hill material volume",
        "m",
        "ISO 25178-2:2021, 4.6",
        f"The material in the highest {percent(HILLS)}, spread evenly over the whole area.",
        "Vmp = mean of max(z − Smc(10 %), 0)",
        f"{_RATIOS} One tall speck raises it.",
        True,
        hill_volume,
    ),
    Quantity(
        "Vmc",
        "core material volume",
        "m",
        "ISO 25178-2:2021, 4.6",
        "The material between the heights of 80 % and 10 %, spread evenly over the whole area.",
        "Vmc = mean of max(z − Smc(80 %), 0) − Vmp",
        _RATIOS,
        True,
        core_material,
    ),
    Quantity(
        "Vvc",
        "core void volume",
        "m",
        "ISO 25178-2:2021, 4.6",
        "The room between the heights of 10 % and 80 % that is not filled, spread evenly over the whole area.",
        "Vvc = mean of max(Smc(10 %) − z, 0) − Vvv",
        _RATIOS,
        True,
        core_void,
    ),
    Quantity(
        "Vvv",
        "dale void volume",
        "m",
        "ISO 25178-2:2021, 4.6",
        "The room in the lowest 20 %, spread evenly over the whole area: what holds liquid, or dirt.",
        "Vvv = mean of max(Smc(80 %) − z, 0)",
        f"{_RATIOS} A blunt tip does not reach the bottom of narrow pits.",
        True,
        dale_void,
    ),
)
