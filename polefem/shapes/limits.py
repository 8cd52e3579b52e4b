"""What would be allowed where a size does not fit, said in a refusal: found by trying, so that it holds."""

from __future__ import annotations

import math
from collections.abc import Callable

__all__ = ["angle_at_most", "flatter", "length_at_most"]

Fits = Callable[[float], bool]

#: Sizes are said to a micrometre, angles to a hundredth of a degree.
MICROMETRE = 1e-6
GRAIN = math.radians(0.01)
#: Radii are tried up to this many times the one refused.
FLATTEST = 1e6


def length_at_most(fits: Fits, refused: float) -> str:
    """The largest length (m) that fits, of all below the one refused."""
    found = _largest(fits, refused, MICROMETRE)
    return f"{found * 1e3:.6g} mm or less" if found else "none here"


def angle_at_most(fits: Fits, refused: float) -> str:
    """The largest angle from the pole's axis (rad) that fits, on the side of the one refused."""
    sign = math.copysign(1.0, refused)
    found = _largest(lambda size: fits(sign * size), abs(refused), GRAIN)
    return (
        f"{math.degrees(found):.5g} deg or less from the axis" if found else "none on this side of the axis"
    )


def flatter(fits: Fits, refused: float) -> str:
    """The most curved radius (m) that fits, of all flatter than the one refused and of its sign."""
    sign, curved = math.copysign(1.0, refused), 1 / abs(refused)
    found = _largest(lambda curvature: fits(sign / curvature), curved, curved / FLATTEST)
    if not found:
        return "none here"
    return f"{sign * math.ceil(1 / found / MICROMETRE) * MICROMETRE * 1e3:.7g} mm, or flatter"


def _largest(fits: Fits, refused: float, grain: float) -> float:
    """By halving; a multiple of the grain, 0 where nothing fits."""
    low, high = 0.0, refused
    while high - low > grain / 2:
        middle = (low + high) / 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return math.floor(low / grain) * grain
