"""The smallest part of a machine that stands for the whole of it."""

from __future__ import annotations

import math

from polefem.params import Phases

__all__ = ["smallest_sector"]


def smallest_sector(phases: Phases, stator_units: int, rotor_units: int) -> tuple[int, bool]:
    """How many equal sectors the machine falls into, and whether the field changes sign from one to the next.

    stator_units, rotor_units: how often the repeating unit of each side fits into the turn. A turn by one sector must
    map both sides onto themselves and every coil onto one of its phase, all of one polarity or all of the other.

    >>> from polefem.params import phases_of
    >>> smallest_sector(phases_of(6, 4), 6, 4), smallest_sector(phases_of(12, 8), 12, 8)
    ((2, True), (4, True))
    """
    poles = len(phases.of_pole)
    common = math.gcd(stator_units, rotor_units)
    for sectors in sorted((n for n in range(2, common + 1) if common % n == 0), reverse=True):
        step = poles // sectors
        ahead = [(pole + step) % poles for pole in range(poles)]
        if any(phases.of_pole[pole] != phases.of_pole[ahead[pole]] for pole in range(poles)):
            continue
        signs = {phases.polarity[pole] * phases.polarity[ahead[pole]] for pole in range(poles)}
        if len(signs) == 1:
            return sectors, signs == {-1}
    return 1, False
