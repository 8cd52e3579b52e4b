"""A machine together with its outlines: drawn once, and handed to whatever reads off them."""

from __future__ import annotations

from dataclasses import dataclass

from polefem.outline.build import outline_of, sections
from polefem.outline.values import Outline
from polefem.params import Machine, Turning, turnings

__all__ = ["DrawnMachine", "drawn", "machine_of"]


@dataclass(frozen=True, eq=False)
class DrawnMachine:
    """A machine that can be built, and its outlines.

    outline: of its cross section; of an axial machine, of the flat section at its mean radius over the whole length of
    the poles. sections: the outlines whose flux and torque add up to the machine's (see `polefem.outline.sections`).
    """

    machine: Machine
    outline: Outline
    sections: tuple[Outline, ...]

    @property
    def mirror(self) -> bool:
        """Whether torque is odd and flux linkage even in the angle: all poles are symmetric."""
        return all(outline.mirror for outline in self.sections)

    @property
    def turnings(self) -> tuple[Turning, ...]:
        """The ways to turn or mirror the machine onto itself."""
        return turnings(self.machine.stator_poles, self.outline.stator.unit_poles, self.mirror)


def drawn(machine: Machine | DrawnMachine) -> DrawnMachine:
    """A machine with its outlines; one that is drawn already is handed back.

    Raises GeometryRefused, in one sentence, where the machine cannot be built.
    """
    if isinstance(machine, DrawnMachine):
        return machine
    cuts = sections(machine)
    return DrawnMachine(machine, outline_of(machine) if machine.flat else cuts[0], cuts)


def machine_of(machine: Machine | DrawnMachine) -> Machine:
    """The machine itself, drawn already or not."""
    return machine.machine if isinstance(machine, DrawnMachine) else machine
