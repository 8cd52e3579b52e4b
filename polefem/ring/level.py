"""How fast the outside of the ring moves under the pull: a level to compare shapes by, not a loudness.

Each wave of order m drives the ring in that order as a mass on a spring: with the pull P and the shear S on the gap's
circle, M the mass of the ring and all that hangs on it, w_m its natural frequency and z the damping (of the critical),

    M (1 + 1 / m^2) (w_m^2 - w^2 + 2 i z w_m w) x = 2 pi area (P -+ i S / m),

since a ring that bends without stretching moves along itself by 1 / m of what it moves across (order 0 does not). The
shear pushes it so: minus for a stator outside, plus for a rotor. The mean square of the velocity w x over the surface
and over time is half the sum of the squares of all waves. (A. E. H. Love, as for the formulas of the ring.)
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from polefem.params.checks import positive
from polefem.ring.crossings import cycles
from polefem.ring.hearing import DAMPING
from polefem.ring.ring import Ring

if TYPE_CHECKING:  # to compare levels needs no mesher
    from polefem.forces import GapPressure, PressureWaves

__all__ = ["relative_level", "surface_velocity"]


def surface_velocity(
    waves: PressureWaves,
    pressure: GapPressure,
    ring: Ring,
    frequencies: Mapping[int, float],
    speed: float,
    damping: float = DAMPING,
) -> float:
    """Root mean square velocity of the ring's surface, m/s, at a speed of the rotor (rad/s).

    frequencies: of a free ring, Hz, by order; orders that are not in it are left out. Raises InvalidValue for a damping
    of nought or less.
    """
    positive("a ring that rings comes to rest", "damping", damping)
    total = 0.0
    sense = 1.0 if ring.member == "rotor" else -1.0
    mass = ring.yoke_mass * ring.mass_ratio
    for row, order in enumerate(waves.orders.tolist()):
        own = frequencies.get(abs(order))
        if own is None:
            continue
        inertia = mass * (1.0 + (1.0 / order**2 if order else 0.0))
        for column, harmonic in enumerate(waves.harmonics.tolist()):
            w = cycles(order, harmonic, waves.rotor_poles, ring.member) * abs(speed)
            drive = complex(waves.pull[row, column])
            if order:
                drive += sense * 1j * complex(waves.shear[row, column]) / order
            w0 = 2 * math.pi * own
            moved = 2 * math.pi * pressure.area * drive / (inertia * (w0**2 - w**2 + 2j * damping * w0 * w))
            total += abs(w * moved) ** 2 / 2
    return math.sqrt(total)


def relative_level(velocity: float, first: float) -> float:
    """Of a surface velocity against another, dB, by their squares.

    >>> round(relative_level(2.0, 1.0), 1)
    6.0
    """
    return 20 * math.log10(velocity / first)
