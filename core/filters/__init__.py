"""Filters of ISO 16610: what parts short waves from long ones, on maps and on profiles."""

from core.filters.bandpass import Banded, band_pass
from core.filters.gaussian import Edges, Smoothed, low_pass
from core.filters.profile import Parted, part_profiles, profile_low_pass
from core.filters.regression import regression_low_pass
from core.filters.robust import robust_low_pass
from core.filters.weights import sampled_transfer, transmission

__all__ = [
    "Banded",
    "Edges",
    "Parted",
    "Smoothed",
    "band_pass",
    "low_pass",
    "part_profiles",
    "profile_low_pass",
    "regression_low_pass",
    "robust_low_pass",
    "sampled_transfer",
    "transmission",
]
