"""Which end of which coil is joined to which, so that every pole gets the polarity that the field was computed with.

All coils are wound alike: counter-clockwise for who looks from the air gap at the pole's face, from the start S to
the finish F. A current from S to F then drives flux out of the face, towards the rotor (right-hand rule): polarity +.
A coil of polarity - is entered at F.

Coils of a path are taken evenly from all round the stator, so that a rotor that runs out of centre, which strengthens
one coil where it weakens the opposite one, leaves the paths' shares of the current alike to first order.

Of a double-sided machine with a coil on each face, both coils of a pole stand in series. Where flux goes straight
through the middle disc it leaves one face and enters the other, so that the coil at the back has the opposite polarity,
seen from its own gap; where it turns within the disc, the same.
"""

from __future__ import annotations

from dataclasses import dataclass

from polefem.copper.turn import coils_per_pole
from polefem.params import Machine, made_of_discs

__all__ = ["JoinedCoil", "JoiningPlan", "joining_plan"]


@dataclass(frozen=True)
class JoinedCoil:
    """A coil in its path. pole: counted from 0. polarity: 1 where a positive current drives flux towards the rotor.
    face: "front" or "back" where a pole has a coil on both."""

    pole: int
    polarity: int
    face: str = ""

    @property
    def name(self) -> str:
        """For people, who count poles from 1: "3", or "3 back"."""
        return f"{self.pole + 1} {self.face}".strip()

    @property
    def enters(self) -> str:
        """The end at which a positive current enters: "S" or "F"."""
        return "S" if self.polarity > 0 else "F"

    @property
    def leaves(self) -> str:
        """The end at which it leaves."""
        return "F" if self.polarity > 0 else "S"


@dataclass(frozen=True)
class JoiningPlan:
    """All coils. paths: of each phase, each a string of coils in series from the phase's + to its -."""

    paths: tuple[tuple[tuple[JoinedCoil, ...], ...], ...]

    def sentences(self) -> tuple[str, ...]:
        """The joints in words, a path a sentence.

        >>> coils = JoinedCoil(0, 1), JoinedCoil(3, -1)
        >>> JoiningPlan(((coils,),)).sentences()
        ('Phase 1: + to 1 S; 1 F to 4 F; 4 S to -.',)
        """
        said = []
        for phase, paths in enumerate(self.paths):
            for at, path in enumerate(paths):
                ends = ["+", *(end for coil in path for end in _ends(coil)), "-"]
                joints = "; ".join(f"{a} to {b}" for a, b in zip(ends[::2], ends[1::2], strict=True))
                which = f", path {at + 1}" if len(paths) > 1 else ""
                said.append(f"Phase {phase + 1}{which}: {joints}.")
        return tuple(said)


def joining_plan(machine: Machine) -> JoiningPlan:
    """How the coils of a machine are joined: by `winding.polarity`, `phase_of_pole` and `parallel_paths`."""
    phases, strings = machine.phases, machine.winding.parallel_paths
    back = -1 if made_of_discs(machine) and machine.through_flux else 1
    faces = (("", 1),) if coils_per_pole(machine) == 1 else (("front", 1), ("back", back))

    def path(poles: tuple[int, ...]) -> tuple[JoinedCoil, ...]:
        return tuple(
            JoinedCoil(pole, sign * phases.polarity[pole], face) for pole in poles for face, sign in faces
        )

    return JoiningPlan(
        tuple(
            tuple(path(phases.poles(phase)[first::strings]) for first in range(strings))
            for phase in range(phases.count)
        )
    )


def _ends(coil: JoinedCoil) -> tuple[str, str]:
    return f"{coil.name} {coil.enters}", f"{coil.name} {coil.leaves}"
