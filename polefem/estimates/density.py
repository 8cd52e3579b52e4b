"""Torque for what a machine weighs and takes up."""

from __future__ import annotations

from dataclasses import dataclass

from polefem.copper import envelope
from polefem.estimates.masses import masses_of
from polefem.estimates.shear_stress import USUAL_SHEAR, gap_shear_stress
from polefem.field import BuiltMachine, built
from polefem.params import Machine

__all__ = ["TorqueDensity", "torque_density"]


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
