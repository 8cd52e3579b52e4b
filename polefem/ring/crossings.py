"""Which speeds to avoid: where a wave of the pull, going round as the rotor turns, meets the ring's own frequency.

A wave counts where both agree: as many waves round the circle as the ring bends into, and as many in a second as it
rings with. Harmonic k of the electrical frequency comes k N_r times a turn; a ring that turns with the rotor meets a
wave of order m (above 0 where it runs with the rotor) k N_r - m times.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from polefem.outline import Member
from polefem.params.quantity import quantity
from polefem.units import rpm

__all__ = ["Crossing", "RingWaves", "crossing_sentence", "cycles"]


@dataclass(frozen=True)
class Crossing:
    """A wave that meets the ring. order: waves round the turn, below 0 against the rotor. harmonic: of the electrical
    frequency. speed: rad/s. frequency: of the ring, Hz. pull: amplitude of the wave, Pa."""

    order: int
    harmonic: int
    speed: float = field(metadata=quantity("rpm"))
    frequency: float = field(metadata=quantity("Hz"))
    pull: float = field(metadata=quantity("kPa", digits=3))


@dataclass(frozen=True)
class RingWaves:
    """The ring's own frequencies and the waves of the pull that can meet them: all that a chart of them needs.

    member: whose the ring is. rotor_poles: electrical cycles in a turn. speed: rad/s, at which the waves are known.
    frequencies: of the ring, order and Hz, by rising order. waves: order, harmonic and amplitude (Pa), the strongest
    first. harmonics: up to which waves were looked at.
    """

    member: Member
    rotor_poles: int
    speed: float
    frequencies: tuple[tuple[int, float], ...]
    waves: tuple[tuple[int, int, float], ...]
    harmonics: int

    def sentence(self, highest: float) -> str:
        """What a builder should know of the crossings up to a speed (rad/s)."""
        return crossing_sentence(self.crossings(0.0, highest), highest, self.harmonics)

    @classmethod
    def of(cls, plain: Mapping[str, Any]) -> RingWaves:
        """From what `dataclasses.asdict` and JSON make of one; raises KeyError or TypeError for anything else."""
        pairs, waves = ((tuple(row) for row in plain[name]) for name in ("frequencies", "waves"))
        return cls(
            plain["member"],
            plain["rotor_poles"],
            plain["speed"],
            tuple(pairs),
            tuple(waves),
            plain["harmonics"],
        )

    def cycles(self, order: int, harmonic: int) -> int:
        """How often in a turn of the rotor a wave swings, as the ring sees it."""
        return cycles(order, harmonic, self.rotor_poles, self.member)

    def crossings(self, lowest: float, highest: float) -> tuple[Crossing, ...]:
        """Where a wave meets the ring between two speeds (rad/s), the strongest first.

        The waves are those of one operating point: at other speeds the drive makes others, somewhat.
        """
        own, found = dict(self.frequencies), []
        for order, harmonic, pull in self.waves:
            times = self.cycles(order, harmonic)
            if abs(order) in own and times:
                speed = 2 * math.pi * own[abs(order)] / times
                if lowest <= speed <= highest:
                    found.append(Crossing(order, harmonic, speed, own[abs(order)], pull))
        return tuple(found)


def cycles(order: int, harmonic: int, rotor_poles: int, member: Member) -> int:
    """How often in a turn of the rotor a wave swings, as seen by the stator or by the rotor."""
    return abs(harmonic * rotor_poles - (order if member == "rotor" else 0))


def crossing_sentence(found: Sequence[Crossing], highest: float, harmonics: int, most: int = 3) -> str:
    """What a builder should know of crossings up to a speed (rad/s), of waves up to some harmonic, the strongest first.

    >>> crossing_sentence([Crossing(-2, 12, 98.4, 752.0, 4e3)], 200.0, 23)
    'order 2 meets the yoke at 940 rpm (harmonic 12 of the electrical frequency, 752 Hz)'
    >>> crossing_sentence([], 200.0, 23)
    'no wave of note up to harmonic 23 of the electrical frequency meets the yoke below 1910 rpm'
    """
    if not found:
        kept = f"up to harmonic {harmonics} of the electrical frequency"
        return f"no wave of note {kept} meets the yoke below {highest / rpm:.0f} rpm"
    told: dict[tuple[int, int], Crossing] = {}
    for crossing in found:
        told.setdefault((abs(crossing.order), crossing.harmonic), crossing)
    words = [
        f"order {abs(one.order)} meets the yoke at {one.speed / rpm:.0f} rpm (harmonic {one.harmonic} of the "
        f"electrical frequency, {one.frequency:.0f} Hz)"
        for one in list(told.values())[:most]
    ]
    return "; ".join(words)
