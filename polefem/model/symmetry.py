"""The smallest part of a machine that stands for the whole of it."""

from __future__ import annotations

from polefem.params import Phases, symmetries, turnings

__all__ = ["smallest_sector"]


def smallest_sector(phases: Phases, stator_units: int, rotor_units: int) -> tuple[int, bool]:
    """How many equal sectors the machine falls into, and whether the field changes sign from one to the next.

    stator_units, rotor_units: how often the repeating unit of each side fits into the turn. A turn by one sector must
    map both sides onto themselves and every coil onto one of its phase, all of one polarity or all of the other.

    >>> from polefem.params import phases_of
    >>> smallest_sector(phases_of(6, 4), 6, 4), smallest_sector(phases_of(12, 8), 12, 8)
    ((2, True), (4, True))
    """
    poles, own = len(phases.of_pole), tuple(range(phases.count))
    _, *ways = symmetries(phases, turnings(poles, poles // stator_units, mirror=False))
    for way in ways:
        if way.turned * rotor_units % poles == 0 and way.phase == own and len(set(way.sign)) == 1:
            return poles // way.turned, way.sign[0] < 0
    return 1, False
