"""The polynomials that a map is pieced together from: Hermite's, cubic in the angle and quintic in the current."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["BENDS", "CUBIC", "QUINTIC", "powers", "quintic", "solve_rising"]

Array = NDArray[np.float64]

# Power coefficients of the Hermite polynomials on [0, 1]: a row for each power, a column for each end value.
CUBIC = np.array(  # value, slope at 0; value, slope at 1
    [[1, 0, 0, 0], [0, 1, 0, 0], [-3, -2, 3, -1], [2, 1, -2, 1]], dtype=float
)
QUINTIC = np.array(  # value, slope, curvature at 0; the same at 1
    [
        [1, 0, 0, 0, 0, 0],
        [0, 1, 0, 0, 0, 0],
        [0, 0, 0.5, 0, 0, 0],
        [-10, -6, -1.5, 10, -4, 0.5],
        [15, 8, 1.5, -15, 7, -1],
        [-6, -3, -0.5, 6, -3, 0.5],
    ],
    dtype=float,
)
#: Where an interval's slope is looked at, and what each power adds there to a polynomial's second derivative.
_PLACES = np.linspace(0, 1, 17)
BENDS = np.stack(
    [0 * _PLACES, 0 * _PLACES, 2 + 0 * _PLACES, 6 * _PLACES, 12 * _PLACES**2, 20 * _PLACES**3], axis=1
)
_NEWTON_STEPS = 60


def powers(u: Array) -> tuple[Array, Array]:
    """Powers 0 to 3 of u, and their slopes, both of shape (..., 4)."""
    one, nought = np.ones_like(u), np.zeros_like(u)
    return np.stack([one, u, u * u, u * u * u], axis=-1), np.stack([nought, one, 2 * u, 3 * u * u], axis=-1)


def quintic(c: Array, s: Array) -> tuple[Array, Array, Array]:
    """Value, slope and curvature of polynomials, coefficients of shape (..., 6), by Horner's rule."""
    value, slope, bend = c[..., 5], np.zeros_like(s), np.zeros_like(s)
    for power in range(4, -1, -1):
        bend = bend * s + 2 * slope
        slope = slope * s + value
        value = value * s + c[..., power]
    return value, slope, bend


def solve_rising(column: Array, target: Array) -> Array:
    """Where the rising slope of quintics (shape (n, 6)) is `target`: Newton, halving when it leaves."""
    low, high = np.zeros_like(target), np.ones_like(target)
    first, last = column[:, 1], column @ np.arange(6.0)
    s = np.clip((target - first) / (last - first), 0.0, 1.0)
    for _ in range(_NEWTON_STEPS):
        _, slope, bend = quintic(column, s)
        excess = slope - target
        high, low = np.where(excess > 0, s, high), np.where(excess < 0, s, low)
        step = s - excess / bend
        following = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
        following = np.where(excess == 0.0, s, following)
        moved = np.abs(following - s).max(initial=0.0)
        s = following
        if moved < 1e-13:
            break
    return s
