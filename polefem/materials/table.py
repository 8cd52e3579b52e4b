"""From a table of (H, B) points to the knots of a law: what is refused, and which slopes the law takes."""

import numpy as np
from numpy.typing import ArrayLike

from polefem.errors import InvalidValue, refusal
from polefem.materials.law import MU0, NU0, FloatArray, Law

__all__ = ["END_STRETCH", "checked_table", "law_through"]

END_STRETCH: float = (
    0.05  #: T past the last point over which the slope rises to 1/mu0, when nothing better is known
)
LEAST_POINTS = 3
# A measured and rounded table of a saturated steel strays below the slope of vacuum: the EN9 table of TEAM
# problem 24 by 4.6 % between its last two points.
SLOPE_TOLERANCE = 0.05


def checked_table(h: ArrayLike, b: ArrayLike, name: str) -> tuple[FloatArray, FloatArray]:
    """The table as arrays, or a refusal that names the first row at fault (rows count from 1).

    Raises
    ------
    InvalidValue
        Unequal lengths, fewer than three points, NaN or infinite, not starting at (0, 0), not increasing, or
        rising by less than vacuum would.
    """
    h, b = np.asarray(h, dtype=np.float64), np.asarray(b, dtype=np.float64)
    if h.ndim != 1 or h.shape != b.shape:
        raise InvalidValue(
            refusal(
                "H and B come in pairs",
                name,
                f"H of shape {h.shape} with B of shape {b.shape}",
                "equal lengths",
            )
        )
    if h.size < LEAST_POINTS:
        raise InvalidValue(
            refusal("a curve needs points", name, f"a table of {h.size} rows", f"{LEAST_POINTS} rows or more")
        )

    def refuse(faulty: np.ndarray, rule: str, allowed: str) -> None:
        if faulty.any():
            row = int(np.argmax(faulty))
            raise InvalidValue(
                refusal(rule, f"{name}, row {row + 1}", f"H = {h[row]:g} A/m, B = {b[row]:g} T", allowed)
            )

    refuse(~(np.isfinite(h) & np.isfinite(b)), "a B-H table holds numbers", "finite H and B")
    refuse(
        np.append((h[:1] != 0) | (b[:1] != 0), False),
        "a B-H table starts at the origin",
        "H = 0 A/m, B = 0 T",
    )
    grown = np.append(False, (np.diff(h) <= 0.0) | (np.diff(b) <= 0.0))
    refuse(grown, "a B-H table increases", "H and B both above the row before")
    low = np.append(False, np.diff(b) < (1.0 - SLOPE_TOLERANCE) * MU0 * np.diff(h))
    refuse(low, "B rises at least as it would in vacuum", "a step in B of mu0 times the step in H, or more")
    return h, b


def law_through(h: FloatArray, b: FloatArray, saturation: float | None = None) -> Law:
    """The law through every point of a checked table, with slope 1/mu0 at the end.

    Past the last point the slope rises evenly to 1/mu0, over `END_STRETCH` or, if a saturation polarisation
    in T is given, over the stretch that makes the polarisation end there.
    """
    slope = _slopes(h, b)
    missing = 1.0 - MU0 * slope[-1]
    if missing <= 1e-9:
        return Law(b, h, slope)
    reached = b[-1] - MU0 * h[-1]
    stretch = END_STRETCH if saturation is None else 2.0 * (saturation - reached) / missing
    h_end = h[-1] + 0.5 * stretch * (slope[-1] + NU0)
    return Law(np.append(b, b[-1] + stretch), np.append(h, h_end), np.append(slope, NU0))


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
