"""Power: the best-fit paraboloid of revolution, which irregularity leaves out."""

from __future__ import annotations

import numpy as np

from core.errors import TreatmentError
from core.heightmap import HeightMap, frozen


def without_power(scan: HeightMap) -> HeightMap:
    r"""The map without its plane and power.

    Least squares of :math:`a + b\,x + c\,y + d\,(x^2 + y^2)` over the points that count; a sphere of radius 1/(2d) to
    the order that flat parts need. What is left is irregularity in the sense of ISO 10110-5.

    Parameters
    ----------
    scan : HeightMap

    Returns
    -------
    HeightMap
        The residual, at masked points too.

    Raises
    ------
    TreatmentError
        If the points that count do not determine the four terms.

    Examples
    --------
    >>> y, x = np.mgrid[-3:4, -3:4] * 1e-3
    >>> bowl = HeightMap(1e-6 + 2e-3 * x + 0.5 * (x**2 + y**2), pitch=(1e-3, 1e-3))
    >>> bool(np.abs(without_power(bowl).z).max() < 1e-18)
    True
    """
    rows, columns = scan.shape
    y = np.linspace(-1, 1, rows) if rows > 1 else np.zeros(1)
    x = np.linspace(-1, 1, columns) if columns > 1 else np.zeros(1)
    half = (rows - 1) * scan.pitch[0] / 2, (columns - 1) * scan.pitch[1] / 2
    largest = max(*half, 1e-300)
    bowl = (y[:, None] * half[0] / largest) ** 2 + (x[None, :] * half[1] / largest) ** 2
    terms = np.stack([np.ones(scan.shape), np.broadcast_to(y[:, None], scan.shape),
                      np.broadcast_to(x[None, :], scan.shape), bowl])  # fmt: skip
    used = scan.used
    design = terms[:, used]
    normal = design @ design.T
    if used.sum() < 4 or np.linalg.matrix_rank(normal, tol=1e-10 * float(np.trace(normal))) < 4:
        raise TreatmentError("The points that count do not determine power", fix="Mask less.")
    level = float(np.median(scan.z[used]))
    rest = scan.z - level
    for _ in range(2):  # the second fit takes off what rounding left of the first
        coefficients = np.linalg.solve(normal, design @ rest[used])
        rest = rest - np.tensordot(coefficients, terms, axes=1)
    return scan.with_(z=frozen(rest))
