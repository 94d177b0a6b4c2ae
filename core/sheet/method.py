"""How the numbers were made, in words: the part of the sheet that lets somebody else judge them."""

from __future__ import annotations

from core.results import Comparison
from core.sheet.words import band_text

ONLY_ITEMS = "The results relate only to the items tested, at the spots that were scanned."


NOISE = (
    "Scans of one place again were registered to a fraction of a point by their long waves and laid on each other by "
    "Fourier interpolation: what repeats is surface, half the variance of the difference is noise. A floor that was "
    "measured elsewhere is taken off in quadrature in the same band, its uncertainty with it, on asymmetric intervals. "
    "Above N/S = 0.7 (of a floor known worse than 5 %: above 0.7 by its upper limit) only a bound is given; such "
    "specimens are tied with each other and with everything lower. Repeats count as one spot. Specimens are ranked by "
    "readings with noise, which keeps their order. Hum locked to the lines, bow and double tips repeat and count as "
    "surface."
)


def method(comparison: Comparison) -> list[tuple[str, str]]:
    """Headings and paragraphs on treatment, band, interval, standing, comparability and figure."""
    return [
        (
            "Treatment",
            f"Every scan was treated alike: {comparison.treatment.describe()}. "
            f"Digest of the steps: {comparison.treatment.digest}.",
        ),
        ("Band", _band(comparison)),
        (
            "Readings",
            "From the treated map, over all points that were measured and not masked. Missing points are left out, "
            "never filled in. The definitions are those of the clauses given beside them.",
        ),
        (
            "Specimen",
            "The typical spot stands for a specimen: for readings that are positive by nature the geometric mean of "
            "its spots, otherwise the mean. The interval holds the typical spot of the specimen with 95 % confidence; "
            "it is Student's t on the logarithm of the spots, or on their values. It covers the scatter from spot to "
            "spot and not the scale of the instrument, which is common to all scans of one session. Where the interval "
            "is wide its two ends are given instead of ±. One spot has no such interval; what stands there instead "
            "follows from the autocorrelation of its map and holds within this scan only: such a specimen is not "
            "ranked.",
        ),
        (
            "Budget",
            "Where the interval of a reading comes from stands in the appendix. The interval for comparing is that of "
            "the spots; finite area is inside it and only keeps it from being too narrow. What is common to all scans, "
            "such as the height scale, belongs to the absolute interval alone: expanded parts are combined in "
            "quadrature on the logarithm. What levelling took off the texture is estimated from the levelled map, told "
            "and never corrected.",
        ),
        *([("Noise", NOISE)] if comparison.noise is not None else []),
        (
            "Standing",
            f"By {comparison.rank_by}, the lowest first. Each pair of specimens is tested by Welch's t with Holm's "
            "adjustment over all pairs at 5 %. Specimens that share a letter were not told apart; without a letter a "
            "single spot stands for the specimen, and its place is not proven. P is the probability that the specimen "
            "is truly the lowest. A specimen at the limit of the instrument is tied with all that reads lower; one "
            "whose reading may not stand beside those of most others is set aside, grey and without letter.",
        ),
        (
            "Comparability",
            "A bare roughness is not a result: it depends on scan size, pixel size, treatment, noise and probe. Pairs "
            "that differ in these are named, with the step that makes them comparable. Pairs called not comparable "
            "must not be compared by their numbers.",
        ),
    ]


def _band(comparison: Comparison) -> str:
    told = band_text(comparison.band)
    told = told[0].upper() + told[1:]
    if comparison.band.filtered:
        return f"{told}: only these wavelengths are in the readings."
    return f"{told}: each scan holds waves from two of its own pixels to its own side; the widest limits are given."
