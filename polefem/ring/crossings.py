"""Which speeds to avoid: where a wave of the pull, going round as the rotor turns, meets the ring's own frequency.

A wave counts where both agree: as many waves round the circle as the ring bends into, and as many in a second as it
rings with. Harmonic k of the electrical frequency comes k N_r times a turn; a ring that turns with the rotor meets a
wave of order m (above 0 where it runs with the rotor) k N_r - m times.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from polefem.forces import PressureWaves
from polefem.outline import Member
from polefem.params.quantity import quantity
from polefem.ring.ring import Ring
from polefem.units import rpm

__all__ = ["Crossing", "crossing_sentence", "crossings", "cycles"]

#: Waves below this part of the strongest are left out.
WEAK = 0.02


@dataclass(frozen=True)
class Crossing:
    """A wave that meets the ring. order: waves round the turn, below 0 against the rotor. harmonic: of the electrical
    frequency. speed: rad/s. frequency: of the ring, Hz. pull: amplitude of the wave, Pa."""

    order: int
    harmonic: int
    speed: float = field(metadata=quantity("rpm"))
    frequency: float = field(metadata=quantity("Hz"))
    pull: float = field(metadata=quantity("kPa", digits=3))


def cycles(order: int, harmonic: int, rotor_poles: int, member: Member) -> int:
    """How often in a turn of the rotor a wave swings, as seen by the stator or by the rotor."""
    return abs(harmonic * rotor_poles - (order if member == "rotor" else 0))


def crossings(
    waves: PressureWaves,
    ring: Ring,
    frequencies: Mapping[int, float],
    lowest: float,
    highest: float,
    weak: float = WEAK,
) -> tuple[Crossing, ...]:
    """Crossings between two speeds (rad/s), the strongest first. frequencies: of the ring, Hz, by order."""
    sizes = {(int(m), int(k)): waves.amplitude(m, k) for m in waves.orders for k in waves.harmonics if k > 0}
    least = weak * max(sizes.values(), default=0.0)
    found = []
    for (order, harmonic), pull in sizes.items():
        own, times = frequencies.get(abs(order)), cycles(order, harmonic, waves.rotor_poles, ring.member)
        if own is None or not times or pull < least:
            continue
        speed = 2 * math.pi * own / times
        if lowest <= speed <= highest:
            found.append(Crossing(order, harmonic, speed, own, pull))
    return tuple(sorted(found, key=lambda crossing: -crossing.pull))


def crossing_sentence(found: Sequence[Crossing], highest: float, most: int = 3) -> str:
    """What a builder should know of them, up to a speed (rad/s), in one sentence.

    >>> crossing_sentence([Crossing(-2, 12, 98.4, 752.0, 4e3)], 200.0)
    'order 2 meets the yoke at 940 rpm (harmonic 12 of the electrical frequency, 752 Hz)'
    """
    if not found:
        return f"no wave of note meets the yoke below {highest / rpm:.0f} rpm"
    told: dict[tuple[int, int], Crossing] = {}
    for crossing in found:
        told.setdefault((abs(crossing.order), crossing.harmonic), crossing)
    words = [
        f"order {abs(one.order)} meets the yoke at {one.speed / rpm:.0f} rpm (harmonic {one.harmonic} of the "
        f"electrical frequency, {one.frequency:.0f} Hz)"
        for one in list(told.values())[:most]
    ]
    return "; ".join(words)
