"""Spatial parameters: how far a height is like its neighbours, and in which direction the texture lies."""

from __future__ import annotations

from core.measures.decay import THRESHOLD, Decay, decay_of
from core.measures.heights import NOTHING
from core.measures.outcome import Outcome
from core.measures.quantity import Quantity
from core.measures.surface import Surface
from core.spectrum import angular_spectrum, areal_spectrum
from core.spectrum.angular import NEAR, QUARTER
from core.spectrum.areal import LEAST_SIDE
from core.units import format_length, percent

NARROW = 16.0
"""Sides of a map, in Sal, below which Str says so: there an isotropic Gaussian texture reads 0.85 on average."""

FEWEST_POINTS = 2.0
"""Sal, in points, below which it tells of the pixels and not of the surface."""

CONSTANT = Outcome(None, "All heights are equal: there is no texture.")


def autocorrelation_length(surface: Surface, threshold: float = THRESHOLD) -> Outcome:
    """Sal: the least distance at which the autocorrelation falls to the threshold; metres."""
    decay = _decay(surface, threshold)
    if isinstance(decay, Outcome):
        return decay
    if decay.shortest is None:
        return Outcome(
            None,
            f"The autocorrelation does not fall to {threshold:g} within half of the map: the texture is too coarse.",
        )
    return Outcome(decay.shortest, _condition(surface, decay))


def aspect_ratio(surface: Surface, threshold: float = THRESHOLD) -> Outcome:
    """Str: least over greatest distance at which the autocorrelation falls to the threshold; a pure number, 0 to 1."""
    decay = _decay(surface, threshold)
    if isinstance(decay, Outcome):
        return decay
    if decay.shortest is None or decay.longest is None:
        return Outcome(
            None,
            f"The autocorrelation stays above {threshold:g} up to lags of half the map in some direction: "
            "ridges run through the map, or the texture is too coarse for it.",
        )
    return Outcome(decay.shortest / decay.longest, _condition(surface, decay))


def direction(surface: Surface) -> Outcome:
    """Std: direction of the greatest power in the angular spectrum; degrees, 0 up to 180."""
    none = _without_texture(surface)
    if none is not None:
        return none
    if min(surface.scan.shape) < LEAST_SIDE:
        return Outcome(None, f"The map is too small: a spectrum needs {LEAST_SIDE} × {LEAST_SIDE} points.")
    angular = angular_spectrum(areal_spectrum(surface.scan))
    gathered = (
        f"{percent(angular.gathered)} of the power lies within {NEAR}° of it "
        f"({percent(QUARTER)} where directions are alike)"
    )
    if not angular.distinct:
        return Outcome(
            None,
            f"No direction stands out beyond chance. The strongest is {round(angular.strongest) % 180}°: {gathered}, "
            f"and more than {percent(angular.chance)} would be needed on this map.",
        )
    return Outcome(angular.strongest, f"Ridges lie at {round(angular.strongest + 90) % 180}°; {gathered}.")


def _decay(surface: Surface, threshold: float) -> Decay | Outcome:
    none = _without_texture(surface)
    if none is not None:
        return none
    return surface.decay if threshold == THRESHOLD else decay_of(surface.scan, threshold)


def _without_texture(surface: Surface) -> Outcome | None:
    if not surface.points:
        return NOTHING
    if surface.lowest == surface.highest:
        return CONSTANT
    if not surface.moments.second < float("inf"):
        return Outcome(None, "The heights are too large to be evaluated.")
    return None


def _condition(surface: Surface, decay: Decay) -> str:
    side = min(surface.scan.size)
    if decay.shortest is None:
        return ""
    if decay.shortest < FEWEST_POINTS * min(surface.scan.pitch):
        return (
            "Sal is below two points: neighbours are hardly alike, as in noise or on pixels too coarse for the texture."
        )
    if side >= NARROW * decay.shortest:
        return ""
    return (
        f"The map is only {side / decay.shortest:.2g} times as wide as Sal ({format_length(decay.shortest)}): there "
        "Sal and Str of an isotropic texture read low, Sal by 7 % and Str by 15 % or more."
    )


_LOBE = (
    "The autocorrelation about the mean, each lag divided by its number of overlapping points; only the lobe round lag "
    f"0 counts, to the threshold {THRESHOLD:g}, with linear crossings between lags."
)

ENTRIES = (
    Quantity(
        "Sal",
        "autocorrelation length",
        "m",
        "ISO 25178-2:2021, 4.4.2",
        f"How far one must go, in the quickest direction, until heights have little to do with each other. {_LOBE}",
        "Sal = least √(tx² + ty²) at which the autocorrelation falls to 0.2",
        "On a map less than 16 Sal wide it reads low and scatters by 6 % and more. Levelling and noise shorten it.",
        True,
        autocorrelation_length,
    ),
    Quantity(
        "Str",
        "texture aspect ratio",
        "1",
        "ISO 25178-2:2021, 4.4.3",
        f"1: the texture is alike in all directions; towards 0: it has ridges. {_LOBE}",
        "Str = least / greatest √(tx² + ty²) at which the autocorrelation falls to 0.2",
        "An isotropic texture reads about 0.85 on a map 16 Sal wide: only much lower values show a direction. Row "
        "offsets and stripes of the instrument look like ridges.",
        True,
        aspect_ratio,
    ),
    Quantity(
        "Std",
        "texture direction",
        "deg",
        "ISO 25178-2:2021, 4.4.4",
        "The direction in which heights change most: that of the greatest power in the angular spectrum, in degrees "
        "anticlockwise as shown from the fast axis, 0 to 180. It is square to the ridges (the lay), which lie 90° "
        "further: ridges that run up the picture read 0. Hann window, directions joined by a Gaussian of 3°.",
        "Std = angle of the greatest ∫ PSD(f, angle) f df",
        "It means nothing on a texture alike in all directions and is given only where one stands out beyond chance; "
        "of crossed textures it names one. Row offsets read 90, hum near 0: the instrument. 179 and 1 are neighbours.",
        False,
        direction,
        period=180.0,
    ),
)
