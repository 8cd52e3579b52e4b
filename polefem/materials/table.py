"""From a table of (H, B) points to the knots of a law: what is refused, and which slopes the law takes."""

from collections.abc import Sequence
from math import ceil, log

import numpy as np
from numpy.typing import ArrayLike, NDArray

from polefem.errors import InvalidValue, refusal
from polefem.materials.law import MU0, NU0, FloatArray, Law

__all__ = ["END_STRETCH", "checked_table", "law_through"]

#: T past the last point over which the slope rises to 1/mu0, when nothing better is known.
END_STRETCH: float = 0.05
LEAST_POINTS = 3
MOST_H, MOST_B = 1e12, 1e6  # beyond what any magnet makes, and far within what can be squared
# A measured and rounded table of a saturated steel strays below the slope of vacuum: the EN9 table of TEAM
# problem 24 by 4.6 % between its last two points.
SLOPE_TOLERANCE = 0.05


def checked_table(
    h: ArrayLike, b: ArrayLike, name: str, labels: Sequence[str] = ()
) -> tuple[FloatArray, FloatArray]:
    """The table as arrays of its own, or a refusal that names the first row at fault.

    Parameters
    ----------
    h, b : array_like, shape (n,), A/m and T
    labels : what to call each row; row 1, row 2, ... if left out

    Raises
    ------
    InvalidValue
        Unequal lengths, fewer than three points, NaN or infinite, not starting at (0, 0), not increasing, or
        rising by less than vacuum would.
    """
    h, b = (_numbers(values, name) for values in (h, b))
    if h.ndim != 1 or h.shape != b.shape:
        found = f"H of shape {h.shape} with B of shape {b.shape}"
        raise InvalidValue(refusal("H and B come in pairs", name, found, "equal lengths"))
    if h.size < LEAST_POINTS:
        found = f"a table of {h.size} rows"
        raise InvalidValue(refusal("a curve needs points", name, found, f"{LEAST_POINTS} rows or more"))

    def refuse(faulty: NDArray[np.bool_], rule: str, allowed: str) -> None:
        if faulty.any():
            row = int(np.argmax(faulty))
            where = f"{name}, {labels[row] if labels else f'row {row + 1}'}"
            raise InvalidValue(refusal(rule, where, f"H = {h[row]:g} A/m, B = {b[row]:g} T", allowed))

    sane = (np.abs(h) < MOST_H) & (np.abs(b) < MOST_B)  # nor are NaN and infinite
    refuse(~sane, "a B-H table holds numbers", f"finite H and B, below {MOST_H:g} A/m and {MOST_B:g} T")
    first = np.arange(h.size) == 0
    step_h, step_b = np.diff(h, prepend=h[:1]), np.diff(b, prepend=b[:1])
    refuse(first & ((h != 0.0) | (b != 0.0)), "a B-H table starts at the origin", "H = 0 A/m, B = 0 T")
    still = ~first & ((step_h <= 0.0) | (step_b <= 0.0))
    refuse(still, "a B-H table increases", "H and B both above the row before")
    low = ~first & (step_b < (1.0 - SLOPE_TOLERANCE) * MU0 * step_h)
    refuse(low, "B rises at least as it would in vacuum", "a step in B of mu0 times the step in H, or more")
    return h, b


def _numbers(values: ArrayLike, name: str) -> FloatArray:
    try:
        raw = np.array(values)
        if raw.dtype.kind in "iuf" or raw.size == 0:
            return raw.astype(np.float64)
        found = f"text or the like ({raw.dtype})"
    except ValueError:
        found = "lists of unequal length"
    raise InvalidValue(refusal("a B-H table holds numbers", name, found, "numbers alone"))


def law_through(h: FloatArray, b: FloatArray, saturation: float | None, name: str) -> Law:
    """The law through every point of a checked table, with slope 1/mu0 at the end.

    Past the last point the slope rises evenly to 1/mu0 over `END_STRETCH`. If a saturation polarisation in T is
    given, the polarisation approaches it exponentially instead, from the slope that it has at the last point.

    Raises
    ------
    InvalidValue
        If the table ends above the saturation polarisation.
    """
    slope = _slopes(h, b)
    if 1.0 - MU0 * slope[-1] <= 1e-9:
        return Law(b, h, slope)
    if saturation is None:
        beyond = _even_rise(h[-1], b[-1], slope[-1])
    else:
        reached = b[-1] - MU0 * h[-1]
        if not reached < saturation < np.inf:
            found = f"{saturation:g} T of saturation polarisation"
            allowed = f"above the {reached:.4g} T that its last row reaches"
            raise InvalidValue(refusal("iron saturates past its last point", name, found, allowed))
        beyond = _approach(h[-1], b[-1], slope[-1], saturation)
    return Law(*(np.append(known, new) for known, new in zip((b, h, slope), beyond, strict=True)))


def _even_rise(h: float, b: float, slope: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """One knot (b, h, slope) where the slope, rising evenly from the last point, has reached that of vacuum."""
    end_b, end_h = b + END_STRETCH, h + 0.5 * END_STRETCH * (slope + NU0)
    return np.array([end_b]), np.array([end_h]), np.array([NU0])


def _approach(
    h: float, b: float, slope: float, saturation: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Knots (b, h, slope) on J = Js - (Js - J0) exp(-(H - H0) / Ha), Ha such that dJ/dH joins at the last point.

    The form that measured sheet is extrapolated with in the Modelica Standard Library, where Ha is 10 to 14 kA/m.
    It ends where J lacks less than 0.3 % of the rest and dJ/dH is below a thousandth of mu0.
    """
    j, rate = b - MU0 * h, 1.0 / slope - MU0
    scale = (saturation - j) / rate
    steps = max(24, ceil(4.0 * log(1e3 * rate / MU0)))
    x = np.arange(1, steps + 1) / 4.0
    new_h = h + scale * x
    new_slope = 1.0 / (MU0 + rate * np.exp(-x))
    new_slope[-1] = NU0
    return saturation - (saturation - j) * np.exp(-x) + MU0 * new_h, new_h, new_slope


def _slopes(h: FloatArray, b: FloatArray) -> FloatArray:
    """dH/dB at the points: one-sided at the ends, else the weighted harmonic mean of the neighbouring secants
    (F. N. Fritsch and J. Butland, SIAM J. Sci. Stat. Comput. 5 (1984) 300-304).
    """
    width, secant = np.diff(b), np.diff(h) / np.diff(b)
    before, after = 2.0 * width[1:] + width[:-1], width[1:] + 2.0 * width[:-1]
    inner = (before + after) / (before / secant[:-1] + after / secant[1:])
    slope = np.concatenate(
        [[_one_sided(width[:2], secant[:2])], inner, [_one_sided(width[:-3:-1], secant[:-3:-1])]]
    )
    smaller: FloatArray = np.minimum(np.append(secant, secant[-1]), np.append(secant[0], secant))
    # At most twice the smaller secant, where three times would do: every piece then increases strictly.
    kept: FloatArray = np.minimum(np.minimum(slope, 2.0 * smaller), NU0)
    return kept


def _one_sided(width: FloatArray, secant: FloatArray) -> float:
    """Three-point slope at the outer end of the first of two pieces, never below a quarter of its secant."""
    slope = ((2.0 * width[0] + width[1]) * secant[0] - width[0] * secant[1]) / (width[0] + width[1])
    return max(float(slope), 0.25 * float(secant[0]))
