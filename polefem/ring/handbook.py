"""Natural frequencies of a ring by the handbook's formulas.

A thin ring swells (order 0) at sqrt(E / rho) / R, and bends into m waves (m = 2, 3 ...) at

    w_m = w_0 i m (m^2 - 1) / sqrt(m^2 + 1),    i = h / (sqrt(12) R),

R the mean radius, h the thickness (R. Hoppe, J. reine angew. Math. 73 (1871) 158-170; A. E. H. Love, A Treatise on the
Mathematical Theory of Elasticity, 4th ed., art. 293; both held against the exact plane ring in the tests). Mass that
hangs on the ring divides w^2 by the ratio of all mass to the yoke's. A thick ring is softer, since it shears, and
heavier to bend, since its parts tilt:

    w_m is divided by sqrt(1 + i^2 (m^2 - 1) (4 m^2 + m^2 + 3) / (m^2 + 1))

(H. Frohne's formula as H. Jordan's school of machine acoustics gives it, here with the tilting of the yoke alone; from
memory, held against the exact plane ring in the tests).
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from polefem.errors import InvalidValue, refusal
from polefem.ring.ring import Ring

__all__ = ["ring_frequencies", "thick_ring_frequency"]


def thick_ring_frequency(ring: Ring, order: int, thick: bool = True) -> float:
    """Natural frequency of a free ring in an order, Hz. thick: with shear and tilting.

    Raises InvalidValue for order 1, in which a ring does not bend but moves as a whole, and for orders below 0.
    """
    if order < 0 or order == 1:
        raise InvalidValue(refusal("a ring swells or bends into waves", "order", order, "0, 2, 3 ..."))
    swelling = math.sqrt(ring.modulus / (ring.density * ring.mass_ratio)) / ring.mean_radius
    if order == 0:
        return swelling / (2 * math.pi)
    i, m2 = ring.thickness / (math.sqrt(12) * ring.mean_radius), order**2
    bending = swelling * i * order * (m2 - 1) / math.sqrt(m2 + 1)
    if thick:
        bending /= math.sqrt(1 + i**2 * (m2 - 1) * (m2 * 5 + 3) / (m2 + 1))
    return bending / (2 * math.pi)


def ring_frequencies(ring: Ring, orders: Iterable[int] = (0, 2, 3, 4)) -> dict[int, float]:
    """Natural frequencies of a free ring, Hz, by order."""
    return {order: thick_ring_frequency(ring, order) for order in orders}
