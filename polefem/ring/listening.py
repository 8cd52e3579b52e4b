"""What a machine makes of the pull in its gap at an operating point: all figures of this room, by one call."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

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
#: What makes the difference from a coarser mesh cover nine of ten random machines (a test holds it).
COVER = 1.2


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
    that can meet the ring; None where there is none. errors: how far the first three may be off by the mesh and by what
    lies between the angles, by name; empty where no one knows."""

    pull_swing: float
    wave_swing: float
    surface_velocity: float | None
    waves: RingWaves | None
    errors: Mapping[str, float] = field(default_factory=dict)


def heard(
    pressure: GapPressure,
    outer: OuterRing | None,
    speed: float,
    hearing: Hearing,
    rough: GapPressure | None = None,
) -> Heard:
    """What the pressure in the gap does to a machine that turns at a speed, rad/s.

    rough: the same pressure on a coarser mesh (`polefem.field.COARSER`), by which errors are estimated (`by_mesh`);
    what may lie between the angles (`between_angles`) is added to them.
    """
    meeting = None
    if outer is not None:
        meeting = ring_waves(pressure_waves(pressure), outer.ring, outer.frequencies, speed)
    figures, errors = _figures(pressure, outer, speed, hearing), {}
    if rough is not None:
        mesh = by_mesh(pressure, rough, outer, speed, hearing)
        between = between_angles(pressure, outer, speed, hearing)
        errors = {name: mesh[name] + between[name] for name in mesh}
    return Heard(
        figures["pull_swing"], figures["wave_swing"], figures.get("surface_velocity"), meeting, errors
    )


def by_mesh(
    pressure: GapPressure, rough: GapPressure, outer: OuterRing | None, speed: float, hearing: Hearing
) -> dict[str, float]:
    """How far figures may be off by the mesh, by name: the same figure of the difference from a coarser one, which is
    no less than the difference of their figures, times `COVER`. Of the velocity it is the field's share alone; the
    ring's own frequencies and its damping are estimates."""
    apart = _figures(pressure.less(rough), outer, speed, hearing)
    return {name: COVER * value for name, value in apart.items()}


def between_angles(
    pressure: GapPressure, outer: OuterRing | None, speed: float, hearing: Hearing
) -> dict[str, float]:
    """How far figures may be off by what lies between the angles, by name: as far as they are from what either half
    of the angles gives."""
    whole, *halves = (
        _figures(one, outer, speed, hearing)
        for one in (pressure, pressure.every_second(0), pressure.every_second(1))
    )
    return {name: max(abs(half[name] - value) for half in halves) for name, value in whole.items()}


def _figures(
    pressure: GapPressure, outer: OuterRing | None, speed: float, hearing: Hearing
) -> dict[str, float]:
    """Figures that have an error, by name."""
    order = pressure.phase_poles if hearing.order is None else hearing.order
    found = {"pull_swing": pressure.pull_swing, "wave_swing": pressure.order_swing(order)}
    velocity = _velocity(pressure, outer, speed, hearing)
    return found if velocity is None else {**found, "surface_velocity": velocity}


def _velocity(pressure: GapPressure, outer: OuterRing | None, speed: float, hearing: Hearing) -> float | None:
    """Of the ring's surface, m/s; None where it is held or there is none."""
    if outer is None or hearing.mount != "free":
        return None
    known = outer.ring, outer.frequencies, speed, hearing.damping
    return surface_velocity(pressure_waves(pressure), pressure, *known)


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
