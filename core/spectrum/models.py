"""Two models of a surface's spectrum, each over both wavenumbers and along a line."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from core.errors import MapError
from core.heightmap import FloatArray


@dataclass(frozen=True, slots=True)
class PowerLaw:
    r"""A self-affine surface: the two-sided density is :math:`K f^{-\beta}`.

    Attributes
    ----------
    amplitude : float
        K in SI: the density that the law has at 1 cycle per metre.
    exponent : float
        β: 2H + 2 for an areal density, 2H + 1 along a line (H the Hurst exponent).
    dimension : {1, 2}
        Whether the density is along a line (m³) or areal (m⁴).

    References
    ----------
    T. D. B. Jacobs, T. Junge, L. Pastewka, Surf. Topogr.: Metrol. Prop. 5 (2017) 013001, doi:10.1088/2051-672X/aa51f8.

    Examples
    --------
    >>> areal = PowerLaw(1.0, 3.6, 2)
    >>> round(areal.hurst, 12), round(areal.along_a_line().exponent, 12), round(areal.along_a_line().amplitude, 8)
    (0.8, 2.6, 1.70791616)
    """

    amplitude: float
    exponent: float
    dimension: int = 2

    @property
    def hurst(self) -> float:
        """Hurst exponent; between 0 and 1 the surface is self-affine in the strict sense."""
        return (self.exponent - self.dimension) / 2

    def density(self, f: FloatArray) -> FloatArray:
        """Two-sided density at wavenumbers f > 0 (cycles per metre), m³ or m⁴."""
        return np.asarray(self.amplitude * f**-self.exponent, dtype=np.float64)

    def along_a_line(self) -> PowerLaw:
        """The density along a line of an isotropic surface: K c f^−(2H+1), c = √π Γ(H+½)/Γ(H+1).

        Raises
        ------
        MapError
            If the areal exponent is 1 or less: a line then meets endless power.
        """
        if self.dimension == 1:
            return self
        if self.exponent <= 1:
            raise MapError(f"An areal exponent of {self.exponent:.3g} has no finite density along a line")
        c = math.sqrt(math.pi) * math.exp(math.lgamma((self.exponent - 1) / 2) - math.lgamma(self.exponent / 2))
        return PowerLaw(self.amplitude * c, self.exponent - 1, 1)

    def band_rms(self, low: float, high: float) -> float:
        """RMS height between two wavenumbers 0 < low < high (cycles per metre), metres.

        Notes
        -----
        Areal: ∫ 2πf K f^−β df; along a line: ∫ 2 K f^−β df (both sides).
        """
        scale, power = (
            (2 * math.pi * self.amplitude, self.exponent - 1)
            if self.dimension == 2
            else (
                2 * self.amplitude,
                self.exponent,
            )
        )
        span, rise = math.log(high / low), 1 - power
        mean = math.expm1(rise * span) / rise if abs(rise * span) > 1e-12 else span
        return math.sqrt(scale * low**rise * mean)


@dataclass(frozen=True, slots=True)
class KCorrelation:
    r"""The k-correlation (ABC) model: level below a knee, a power law above it.

    Parameters are those of the *one-sided density along a line*, whichever density is fitted:
    :math:`A / (1 + (Bf)^2)^{C/2}`. The areal two-sided density of the same isotropic surface is
    :math:`K A B / (1 + (Bf)^2)^{(C+1)/2}` with :math:`K = \Gamma((C+1)/2) / (2\sqrt\pi\,\Gamma(C/2))`.

    Attributes
    ----------
    a : float
        A, the level at long waves, m³.
    b : float
        B, metres: 1/B is the wavenumber of the knee.
    c : float
        C, the exponent far above the knee.

    References
    ----------
    E. L. Church, P. Z. Takacs, on the k-correlation form (from memory; the relations are verified by quadrature).

    Examples
    --------
    >>> model = KCorrelation.from_rms(1e-9, b=1e-6, c=3.0)
    >>> round(model.rms * 1e9, 12), model.hurst
    (1.0, 1.0)
    """

    a: float
    b: float
    c: float

    @classmethod
    def from_rms(cls, rms: float, *, b: float, c: float) -> KCorrelation:
        """The model with a given RMS over all wavenumbers, metres; needs C > 1."""
        return cls(rms**2 / _variance_over_a_by_b(c) * b, b, c)

    @property
    def areal_factor(self) -> float:
        """K, from the density along a line to the areal one."""
        return math.exp(math.lgamma((self.c + 1) / 2) - math.lgamma(self.c / 2)) / (2 * math.sqrt(math.pi))

    @property
    def rms(self) -> float:
        """RMS over all wavenumbers, metres; infinite for C ≤ 1."""
        return math.sqrt(_variance_over_a_by_b(self.c) * self.a / self.b) if self.c > 1 else math.inf

    @property
    def hurst(self) -> float:
        """(C − 1)/2, the Hurst exponent of the part above the knee."""
        return (self.c - 1) / 2

    def density(self, f: FloatArray, dimension: int = 2) -> FloatArray:
        """Two-sided density at wavenumbers f (cycles per metre): areal (m⁴), or along a line (m³) for dimension 1."""
        knee = 1 + np.square(self.b * f)
        if dimension == 1:
            return np.asarray(self.a / 2 * knee ** (-self.c / 2), dtype=np.float64)
        return np.asarray(self.areal_factor * self.a * self.b * knee ** (-(self.c + 1) / 2), dtype=np.float64)

    def band_rms(self, low: float, high: float) -> float:
        """RMS height of the isotropic surface between areal wavenumbers 0 ≤ low < high (cycles per metre), metres."""
        # ∫ 2πf (1 + B²f²)^−(C+1)/2 df with v = ln(1 + B²f²): (π/B²) ∫ exp((1 − C)/2 · v) dv
        start, end = math.log1p((self.b * low) ** 2), math.log1p((self.b * high) ** 2)
        rate = (1 - self.c) / 2
        mean = math.expm1(rate * (end - start)) / rate if abs(rate) > 1e-12 else end - start
        return math.sqrt(math.pi * self.areal_factor * self.a / self.b * math.exp(rate * start) * mean)


def _variance_over_a_by_b(c: float) -> float:
    """σ² B/A = (√π/2) Γ((C−1)/2)/Γ(C/2)."""
    if c <= 1:
        raise MapError(f"A k-correlation surface with C = {c:.3g} has no finite RMS", fix="C must be above 1.")
    return math.sqrt(math.pi) / 2 * math.exp(math.lgamma((c - 1) / 2) - math.lgamma(c / 2))
