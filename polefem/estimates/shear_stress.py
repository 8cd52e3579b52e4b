"""The shear stress in the gap that makes a torque."""

from __future__ import annotations

from polefem.outline import DrawnMachine, machine_of
from polefem.params import Machine

__all__ = ["USUAL_SHEAR", "gap_shear_stress"]

USUAL_SHEAR = (3.5e3, 15e3)
"""Mean shear stress in the gap of small machines cooled by still air, Pa: torque per rotor volume of 7 to 30 kN m/m3
(T. J. E. Miller, Switched Reluctance Motors and Their Control, 1993, on small industrial motors; from memory)."""


def gap_shear_stress(machine: Machine | DrawnMachine, torque: float) -> float:
    """Mean over the gap, Pa: torque / (2 * rotor volume) in a radial machine, its rotor taken as full to the gap."""
    return torque / machine_of(machine).gap_lever
