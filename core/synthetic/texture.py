"""Random textures made from their power spectral density.

White Gaussian noise on a periodic field larger than the map is filtered by the square root of the density; the map is
cut out of the field, so that nothing wraps round at its edges. The RMS asked for is that of the *ensemble*: it holds
exactly for the field on average, and one map scatters about it (for a Gaussian texture of length T on a side L by the
share √π T / 2L). Where one map must have an exact RMS, pass it through `normalised`.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from core.errors import MapError
from core.heightmap import FloatArray
from core.synthetic.lattice import Pitch, Shape, coordinates, not_negative, positive

LARGEST_FIELD = 2**27
"""Points of the largest field that is made: 1 GiB of float64."""


def gaussian_texture(shape: Shape, pitch: Pitch, *, sq: float, length: float, rng: np.random.Generator) -> FloatArray:
    """Isotropic texture with a Gaussian autocorrelation.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    sq : float
        Ensemble RMS, metres.
    length : float
        Distance T at which the autocorrelation has fallen to 1/e, metres. Below 1.5 pixels the lattice cuts the
        density off and the texture tends to white noise.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    ndarray, shape `shape`
        Heights, metres, ensemble mean zero.

    Raises
    ------
    MapError
        If `sq` is negative, or `length` not positive or too long for the memory.

    Notes
    -----
    ACF σ² exp(−r²/T²), density π σ² T² exp(−π² T² f²) (a Fourier pair in closed form).

    Examples
    --------
    >>> import numpy as np
    >>> z = gaussian_texture((64, 64), (1e-8, 1e-8), sq=1e-9, length=4e-8, rng=np.random.default_rng(1))
    >>> bool(0.7e-9 < z.std() < 1.3e-9)
    True
    """
    T = positive(length, "The correlation length")
    return _from_density(
        shape, pitch, lambda fy, fx: np.exp(-((np.pi * T) ** 2) * (fy**2 + fx**2)), sq=sq, reach=6 * T, rng=rng
    )


def self_affine(
    shape: Shape, pitch: Pitch, *, sq: float, hurst: float, roll_off: float, rng: np.random.Generator
) -> FloatArray:
    """Self-affine texture, as polishing and fire-polishing leave it.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    sq : float
        Ensemble RMS, metres, over all wavelengths from the field's side down to two pixels.
    hurst : float
        Hurst exponent H, above 0 and at most 1.
    roll_off : float
        Wavelength above which the density stays level, metres.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    ndarray, shape `shape`
        Heights, metres, ensemble mean zero.

    Raises
    ------
    MapError
        If a parameter is out of its range.

    Notes
    -----
    Density ∝ max(f, 1/roll_off)^−(2H+2); exponents as in T. D. B. Jacobs, T. Junge, L. Pastewka, Surf. Topogr.:
    Metrol. Prop. 5 (2017) 013001, doi:10.1088/2051-672X/aa51f8.

    Examples
    --------
    >>> import numpy as np
    >>> z = self_affine((64, 64), (1e-8, 1e-8), sq=1e-9, hurst=0.8, roll_off=2e-7, rng=np.random.default_rng(1))
    >>> z.shape
    (64, 64)
    """
    if not 0 < hurst <= 1:
        raise MapError(f"The Hurst exponent lies above 0 and is at most 1, not {hurst}")
    longest = positive(roll_off, "The roll-off wavelength")

    def density(fy: FloatArray, fx: FloatArray) -> FloatArray:
        return np.maximum(np.hypot(fy, fx) * longest, 1.0) ** (-2 * hurst - 2)

    return _from_density(shape, pitch, density, sq=sq, reach=3 * longest, rng=rng)


def lapping(
    shape: Shape,
    pitch: Pitch,
    *,
    sq: float,
    across: float,
    along: float,
    angle: float,
    rng: np.random.Generator,
    hurst: float = 0.7,
) -> FloatArray:
    """Marks of lapping: scratches of many widths, all in nearly one direction.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    sq : float
        Ensemble RMS, metres.
    across : float
        Wavelength of the widest scratches, metres; finer ones follow the power law of `hurst`.
    along : float
        Distance along a scratch at which it has lost its likeness to itself (autocorrelation 1/e), metres.
    angle : float
        Direction of the scratches, degrees anticlockwise as shown from the fast axis.
    rng : numpy.random.Generator
        Source of randomness.
    hurst : float, default 0.7
        Hurst exponent of a section across the scratches.

    Returns
    -------
    ndarray, shape `shape`
        Heights, metres, ensemble mean zero.

    Raises
    ------
    MapError
        If a parameter is out of its range.

    Notes
    -----
    Density ∝ max(q, 1/across)^−(2H+1) exp(−π² along² p²) with p the frequency along and q across the scratches: a
    section across them is a self-affine profile.

    Examples
    --------
    >>> import numpy as np
    >>> z = lapping((64, 64), (1e-8, 1e-8), sq=5e-9, across=2e-7, along=2e-6, angle=60, rng=np.random.default_rng(1))
    >>> z.shape
    (64, 64)
    """
    if not 0 < hurst <= 1:
        raise MapError(f"The Hurst exponent lies above 0 and is at most 1, not {hurst}")
    width, run = positive(across, "The width across"), positive(along, "The length along")
    cosine, sine = math.cos(math.radians(angle)), math.sin(math.radians(angle))

    def density(fy: FloatArray, fx: FloatArray) -> FloatArray:
        p = fx * cosine - fy * sine  # rows count downwards, the angle is meant as shown
        q = fx * sine + fy * cosine
        falling: FloatArray = np.maximum(np.abs(q) * width, 1.0) ** (-2 * hurst - 1)
        return falling * np.exp(-((np.pi * run * p) ** 2))

    return _from_density(shape, pitch, density, sq=sq, reach=2 * max(width, run), rng=rng)


def directional_texture(
    shape: Shape, pitch: Pitch, *, sq: float, across: float, along: float, angle: float, rng: np.random.Generator
) -> FloatArray:
    """Texture with a Gaussian autocorrelation that is longer in one direction: even grooves of one width.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns.
    pitch : (float, float)
        ``(dy, dx)``, metres.
    sq : float
        Ensemble RMS, metres.
    across, along : float
        Distances at which the autocorrelation has fallen to 1/e across and along the grooves, metres.
    angle : float
        Direction of the grooves, degrees anticlockwise as shown from the fast axis.
    rng : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    ndarray, shape `shape`
        Heights, metres, ensemble mean zero.

    Raises
    ------
    MapError
        If a parameter is out of its range.

    Notes
    -----
    ACF σ² exp(−p²/along² − q²/across²), density ∝ exp(−π² (along² f_p² + across² f_q²)) (a Fourier pair).

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> directional_texture((64, 64), (1e-8, 1e-8), sq=1e-9, across=4e-8, along=4e-6, angle=30, rng=rng).shape
    (64, 64)
    """
    width, run = positive(across, "The width across"), positive(along, "The length along")
    cosine, sine = math.cos(math.radians(angle)), math.sin(math.radians(angle))

    def density(fy: FloatArray, fx: FloatArray) -> FloatArray:
        p = fx * cosine - fy * sine  # rows count downwards, the angle is meant as shown
        q = fx * sine + fy * cosine
        return np.exp(-((np.pi * run * p) ** 2) - (np.pi * width * q) ** 2)

    return _from_density(shape, pitch, density, sq=sq, reach=2 * max(width, run), rng=rng)


def normalised(heights: FloatArray, *, sq: float) -> FloatArray:
    """The same surface without its mean plane, scaled to an exact RMS.

    Parameters
    ----------
    heights : ndarray, shape (ny, nx)
        Metres, complete.
    sq : float
        RMS of the result after its least-squares plane is taken off, metres.

    Returns
    -------
    ndarray, shape (ny, nx)
        Metres, mean zero.

    Raises
    ------
    MapError
        If the surface is a plane: there is nothing to scale.
    """
    wanted = not_negative(sq, "The RMS")
    level = without_plane(heights)
    rms = float(np.sqrt(np.mean(level * level)))
    if rms <= 1e-12 * float(np.ptp(heights)) or rms == 0:
        raise MapError("A plane has no texture to scale")
    return level * (wanted / rms)


def without_plane(heights: FloatArray) -> FloatArray:
    """The surface less its least-squares plane.

    Parameters
    ----------
    heights : ndarray, shape (ny, nx)
        Metres, complete.

    Returns
    -------
    ndarray, shape (ny, nx)
        Metres, mean zero.

    Examples
    --------
    >>> bool(abs(without_plane(np.array([[1.0, 2.0, 3.0], [2.0, 3.0, 4.0]]))).max() < 1e-15)
    True
    """
    y, x = coordinates((heights.shape[0], heights.shape[1]), (1.0, 1.0))
    # Centred coordinates are orthogonal on a complete lattice, so the plane's three terms are found one by one.
    level: FloatArray = heights - heights.mean()
    for term in (y + 0 * x, x + 0 * y):
        power = float(np.sum(term * term))
        if power > 0:
            level = level - term * (float(np.sum(level * term)) / power)
    return level


def _from_density(
    shape: Shape,
    pitch: Pitch,
    density: Callable[[FloatArray, FloatArray], FloatArray],
    *,
    sq: float,
    reach: float,
    rng: np.random.Generator,
) -> FloatArray:
    """A map of a stationary Gaussian field with a density proportional to `density` and RMS `sq`."""
    from scipy.fft import next_fast_len

    coordinates(shape, pitch)  # refuses a bad shape or pitch
    rms = not_negative(sq, "The RMS")
    wanted = [max(2 * n, n + math.ceil(reach / step)) for n, step in zip(shape, pitch, strict=True)]
    if math.prod(wanted) > LARGEST_FIELD:
        raise MapError(
            f"A texture with waves this long needs a field of {wanted[0]} × {wanted[1]} points",
            fix="Ask for shorter waves, or for fewer points at a wider pitch.",
        )
    rows, columns = (int(next_fast_len(n, real=True)) for n in wanted)
    fy: FloatArray = np.fft.fftfreq(rows, pitch[0]).astype(np.float64)[:, None]
    fx: FloatArray = np.fft.rfftfreq(columns, pitch[1]).astype(np.float64)[None, :]
    power = density(fy, fx)
    power[0, 0] = 0.0  # no mean height
    twice = np.full(fx.size, 2.0)  # a half spectrum holds every column twice but the first and, if even, the last
    twice[0] = 1.0
    if columns % 2 == 0:
        twice[-1] = 1.0
    variance = float(np.sum(power * twice)) / (rows * columns)
    if variance == 0:
        raise MapError("A texture with waves longer than its field has no heights", fix="Ask for shorter waves.")
    white = np.fft.rfft2(rng.standard_normal((rows, columns)))
    field = np.fft.irfft2(white * np.sqrt(power * (rms**2 / variance)), s=(rows, columns))
    return np.ascontiguousarray(field[: shape[0], : shape[1]])
