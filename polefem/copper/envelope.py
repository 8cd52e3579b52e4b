"""The cylinder that a machine just fits into, coils included: what it takes up, and what can shed its heat."""

from __future__ import annotations

import math
from dataclasses import dataclass

from polefem.copper.turn import coil_shape
from polefem.outline import DrawnMachine, drawn
from polefem.params import Machine

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
    machine, overhang = known.machine, coil_shape(known).overhang
    if machine.flat:
        return Envelope(machine.outside_radius + overhang, machine.height)
    return Envelope(machine.outside_radius, machine.height + 2 * overhang)
