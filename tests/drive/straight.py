"""The straight inductance that the drives are checked on, and its closed answers without resistance.

T. J. E. Miller, Switched Reluctance Motors and Their Control, 1993 (from memory); each also follows in a line
from d(flux linkage)/dt = v and flux linkage = L(angle) i.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from polefem.maps import linear_map, summed
from polefem.units import deg

ALIGNED, UNALIGNED, FULL, APART = 60e-3, 6e-3, 3 * deg, 30 * deg
RISE = (ALIGNED - UNALIGNED) / (APART - FULL)
ALONE = linear_map(ALIGNED, UNALIGNED, full=FULL, apart=APART, current=60.0, corner=1e-6)
STRAIGHT = summed(ALONE)

Array = NDArray[np.float64]


def inductance(angle: Array | float) -> Array:
    """L at an angle from aligned, either side, H."""
    return np.interp(np.abs(angle), [FULL, APART], [ALIGNED, UNALIGNED])


def slope(angle: Array | float) -> Array:
    """dL/dangle, H/rad: rising before aligned, falling after."""
    inside = (np.abs(angle) > FULL) & (np.abs(angle) < APART)
    return np.where(inside, -np.sign(angle) * RISE, 0.0)


def pulse_flux(angle: Array, turn_on: float, turn_off: float, volts: float, speed: float) -> Array:
    """Flux linkage of a single pulse without resistance: up at the supply's rate, down at the same, then
    none."""
    up = np.clip(angle, turn_on, turn_off) - turn_on
    return np.maximum(0.0, up - np.maximum(0.0, angle - turn_off)) * volts / speed
