"""What a machine makes of the pull in its gap at an operating point: all figures of this room, by one call."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from polefem.field import BuiltMachine
from polefem.forces import GapPressure, PressureWaves, pressure_waves
from polefem.ring.crossings import RingWaves
from polefem.ring.hearing import Hearing
from polefem.ring.level import surface_velocity
from polefem.ring.modal import natural_frequencies
from polefem.ring.outer import outer_ring
from polefem.ring.ring import Ring

__all__ = ["Heard", "OuterRing", "heard", "ring_waves"]

#: Waves below this part of the strongest are left out.
WEAK = 0.02


@dataclass(frozen=True, eq=False)
class OuterRing:
    """The outer ring of a machine and its natural frequencies, Hz, by order."""

    ring: Ring
    frequencies: dict[int, float]

    @classmethod
    def of(cls, whole: BuiltMachine, hearing: Hearing) -> OuterRing | None:
        """Of a machine; None of an axial one, which has none. Raises as `natural_frequencies`."""
        if whole.machine.flat:
            return None
        ring = outer_ring(whole, hearing.elastic)
        return cls(ring, natural_frequencies(whole, ring, hearing.mount))


@dataclass(frozen=True)
class Heard:
    """pull_swing: highest less lowest pull on a stator pole, N. wave_swing: likewise of the order that matters, N.
    surface_velocity: root mean square of the ring's surface, m/s; None where the ring is held or there is none. waves:
    that can meet the ring; None where there is none."""

    pull_swing: float
    wave_swing: float
    surface_velocity: float | None
    waves: RingWaves | None


def heard(pressure: GapPressure, outer: OuterRing | None, speed: float, hearing: Hearing) -> Heard:
    """What the pressure in the gap does to a machine that turns at a speed, rad/s."""
    velocity, meeting = None, None
    if outer is not None:
        waves = pressure_waves(pressure)
        meeting = ring_waves(waves, outer.ring, outer.frequencies, speed)
        if hearing.mount == "free":
            velocity = surface_velocity(
                waves, pressure, outer.ring, outer.frequencies, speed, hearing.damping
            )
    return Heard(pressure.pull_swing, pressure.wave_swing, velocity, meeting)


def ring_waves(
    waves: PressureWaves, ring: Ring, frequencies: Mapping[int, float], speed: float, weak: float = WEAK
) -> RingWaves:
    """The waves that move and whose order the ring rings in, those below a part of the strongest left out.

    frequencies: of the ring, Hz, by order. speed: at which the waves are known, rad/s.
    """
    every = waves.strongest(waves.pull.size)
    least = weak * every[0][2]
    kept = tuple(wave for wave in every if wave[2] >= least and abs(wave[0]) in frequencies and wave[1] > 0)
    own, last = tuple(sorted(frequencies.items())), int(waves.harmonics[-1])
    return RingWaves(ring.member, waves.rotor_poles, abs(speed), own, kept, last)
