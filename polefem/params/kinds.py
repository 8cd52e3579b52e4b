"""The kinds of machine there are. What a kind decides it says itself, by properties that all of them have."""

from __future__ import annotations

from typing import TypeGuard

from polefem.params.axial import AxialMachine
from polefem.params.machine import OuterRotorMachine, RadialMachine

__all__ = ["Machine", "made_of_discs"]

Machine = RadialMachine | OuterRotorMachine | AxialMachine


def made_of_discs(machine: Machine) -> TypeGuard[AxialMachine]:
    """Whether a machine says that its section is a flat strip: then it has discs, and radii between which they lie."""
    return machine.flat
