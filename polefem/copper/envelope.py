"""The cylinder that a machine just fits into, coils included: what it takes up, and what can shed its heat."""

from __future__ import annotations

import math
from dataclasses import dataclass

from polefem.copper.turn import coil_shape
from polefem.outline import DrawnMachine, drawn
from polefem.params import AxialMachine, Machine, OuterRotorMachine

__all__ = ["Envelope", "envelope"]


@dataclass(frozen=True)
class Envelope:
    """A cylinder. radius, height: m."""

    radius: float
    height: float

    @property
    def volume(self) -> float:
        """What it takes up, m3."""
        return math.pi * self.radius**2 * self.height

    @property
    def surface(self) -> float:
        """Its mantle and both ends, m2."""
        return 2 * math.pi * self.radius * (self.radius + self.height)


def envelope(machine: Machine | DrawnMachine) -> Envelope:
    """Round the steel and the end turns of the coils; without shaft, bearings and case.

    Raises GeometryRefused for a machine that cannot be built.
    """
    known = drawn(machine)
    machine, coil = known.machine, coil_shape(known)
    if isinstance(machine, AxialMachine):
        return Envelope(machine.outer_radius + coil.overhang, _disc_height(machine))
    outer = (
        machine.rotor_outer_radius if isinstance(machine, OuterRotorMachine) else machine.stator_outer_radius
    )
    return Envelope(outer, machine.stack_length + 2 * coil.overhang)


def _disc_height(machine: AxialMachine) -> float:
    """Along the shaft, m: both sides of a double-sided build, its middle yoke once."""
    stator, rotor = machine.stator_yoke_thickness, machine.rotor_yoke_thickness
    side = machine.stator_pole_height + machine.air_gap + machine.rotor_pole_height
    once = {"stator": stator, "rotor": rotor, None: 0.0}[machine.middle]
    return machine.halves * (side + stator + rotor - once) + once
