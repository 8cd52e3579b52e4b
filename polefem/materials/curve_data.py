"""The numbers of a figure that shows a steel: its points, the law through them, and where it is extrapolated."""

from dataclasses import dataclass

import numpy as np

from polefem.materials.law import MU0, FloatArray
from polefem.materials.steel import Steel

__all__ = ["CurveData", "curve_data"]


@dataclass(frozen=True, eq=False)
class CurveData:
    """A law along its curve; the last `points_h` is where extrapolation begins.

    Attributes
    ----------
    name, source, assumed : text, the last two empty if nothing is known
    h, b, j, mu_r : ndarray, shape (n,)
        Field strength in A/m, flux density and polarisation in T, and relative permeability B / (mu0 H).
    extrapolated : ndarray of bool, shape (n,)
        True beyond the last point.
    points_h, points_b : ndarray, shape (n_points,), A/m and T
    saturation : float, T
    """

    name: str
    source: str
    assumed: str
    h: FloatArray
    b: FloatArray
    j: FloatArray
    mu_r: FloatArray
    extrapolated: np.ndarray[tuple[int], np.dtype[np.bool_]]
    points_h: FloatArray
    points_b: FloatArray
    saturation: float


def curve_data(steel: Steel, n: int = 400) -> CurveData:
    """A law sampled evenly in B from 0, then from the last point to past the end of its extrapolation.

    >>> data = curve_data(Steel.named("M330-50A measured"))
    >>> bool(data.extrapolated[0]), bool(data.extrapolated[-1]), round(data.saturation, 3)
    (False, True, 1.995)
    """
    law, curve = steel.law, steel.curve
    known = curve.b[-1] if curve else max(law.b[-1], 1.0)
    beyond = max(1.1 * law.b[-1], known + 0.1)
    b = np.append(np.linspace(0.0, known, n - n // 4), np.linspace(known, beyond, n // 4 + 1)[1:])
    h, slope, _ = law.evaluate(b)
    mu_r = np.divide(b, MU0 * h, out=1.0 / (MU0 * slope), where=h > 0.0)
    return CurveData(
        name=steel.name,
        source=f"{curve.standing}; {curve.source}, {curve.seen}" if curve else "",
        assumed=curve.assumed if curve else "",
        h=h,
        b=b,
        j=b - MU0 * h,
        mu_r=mu_r,
        extrapolated=b > known if curve else np.zeros(b.shape, dtype=np.bool_),
        points_h=curve.h if curve else np.zeros(0),
        points_b=curve.b if curve else np.zeros(0),
        saturation=steel.saturation_polarisation,
    )
