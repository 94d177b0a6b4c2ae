"""Power spectra of a map in one convention, the RMS in any band of them, and models fitted to them."""

from core.spectrum.angular import AngularSpectrum, angular_spectrum
from core.spectrum.areal import ArealSpectrum, areal_spectrum
from core.spectrum.fits import Estimate, Fit, fit_k_correlation, fit_self_affine
from core.spectrum.line import Spectrum, fast_axis_spectrum, radial_average, slow_axis_spectrum
from core.spectrum.models import KCorrelation, PowerLaw
from core.spectrum.taper import Window

__all__ = [
    "AngularSpectrum",
    "ArealSpectrum",
    "Estimate",
    "Fit",
    "KCorrelation",
    "PowerLaw",
    "Spectrum",
    "Window",
    "angular_spectrum",
    "areal_spectrum",
    "fast_axis_spectrum",
    "fit_k_correlation",
    "fit_self_affine",
    "radial_average",
    "slow_axis_spectrum",
]
