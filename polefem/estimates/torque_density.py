"""Torque for what a machine weighs and takes up, and the shear stress that makes it in the gap."""

from __future__ import annotations

import math
from dataclasses import dataclass

from polefem.copper import envelope
from polefem.estimates.masses import masses_of
from polefem.field import BuiltMachine, built
from polefem.outline import DrawnMachine, machine_of
from polefem.params import AxialMachine, Machine, OuterRotorMachine

__all__ = ["USUAL_SHEAR", "TorqueDensity", "gap_shear_stress", "torque_density"]

USUAL_SHEAR = (3.5e3, 15e3)
"""Mean shear stress in the gap of small machines cooled by still air, Pa: torque per rotor volume of 7 to 30 kN m/m3
(T. J. E. Miller, Switched Reluctance Motors and Their Control, 1993, on small industrial motors; from memory)."""


@dataclass(frozen=True)
class TorqueDensity:
    """per_mass: torque over the mass of copper and steel, N m/kg. per_volume: over the cylinder that the machine just
    fits into, end turns included, N m/m3. shear_stress: mean over the gap, Pa."""

    per_mass: float
    per_volume: float
    shear_stress: float

    def __str__(self) -> str:
        low, high = USUAL_SHEAR
        where = "below" if self.shear_stress < low else "above" if self.shear_stress > high else "within"
        return (
            f"{self.per_mass:.3g} N m/kg of copper and steel, {self.per_volume * 1e-3:.3g} N m/l; shear stress in the "
            f"gap {self.shear_stress * 1e-3:.3g} kPa, {where} the {low * 1e-3:g} to {high * 1e-3:g} kPa usual of small "
            f"machines in still air"
        )


def torque_density(machine: Machine | BuiltMachine, torque: float) -> TorqueDensity:
    """Of a mean torque, N m.

    Raises GeometryRefused for a machine that cannot be built.
    """
    known = built(machine)
    per_mass, per_volume = torque / masses_of(known).active, torque / envelope(known).volume
    return TorqueDensity(per_mass, per_volume, gap_shear_stress(known, torque))


def gap_shear_stress(machine: Machine | DrawnMachine, torque: float) -> float:
    """Mean over the gap, Pa: torque / (2 * rotor volume) in a radial machine, its rotor taken as full to the gap."""
    machine = machine_of(machine)
    if isinstance(machine, AxialMachine):
        return torque / (
            machine.halves * 2 / 3 * math.pi * (machine.outer_radius**3 - machine.inner_radius**3)
        )
    radius = (
        machine.rotor_bore_radius if isinstance(machine, OuterRotorMachine) else machine.rotor_outer_radius
    )
    return torque / (2 * math.pi * radius**2 * machine.stack_length)
