"""The two sides of a gap, each described once: levels, poles, coils, and where the section ends."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from polefem.outline.coils import CoilSide, coils_of
from polefem.outline.cuts import cut_pole, cut_winding
from polefem.outline.values import Member
from polefem.params import AxialMachine, Machine, OuterRotorMachine, Pole, RadialMachine, Winding
from polefem.shapes import Edge, Seat, pole_edge

__all__ = ["Build", "axial_builds", "builds_of", "outer_rotor_builds", "radial_builds"]


@dataclass(frozen=True)
class Build:
    """Rotor or stator, before it is laid out.

    pattern: the poles of one repeating unit. poles: in the whole turn (flat: period). face, root, back: levels of pole
    faces, of the yoke towards the poles, and of its back (the same as root without a yoke), m. far, far_fixed: as in
    `Side`. windings: of the pattern's poles. radius: of the cut, in a flat section. shaft: whether what lies behind its
    back is a shaft that carries flux.
    """

    name: Member
    pattern: tuple[Pole, ...]
    poles: int
    face: float
    root: float
    back: float
    far: float
    far_fixed: bool
    windings: tuple[Winding, ...]  # of the pattern's poles; none on the rotor
    radius: float | None = None
    shaft: bool = False

    @property
    def seat(self) -> Seat:
        """Where its poles stand."""
        return Seat(self.face, self.root, math.pi / self.poles, self.radius is not None, self.radius or 1.0)

    @property
    def pitch(self) -> float:
        """Angle from pole to pole, rad."""
        return 2 * math.pi / self.poles

    @property
    def mirror(self) -> bool:
        """Whether its one pole is symmetric."""
        return len(self.pattern) == 1 and self.pattern[0].symmetric

    @cached_property
    def edges(self) -> tuple[Edge, ...]:
        """The edge of each pole of the unit; raises GeometryRefused where a pole has none."""
        return tuple(pole_edge(pole, self.seat, f"{self.name}_pole") for pole in self.pattern)

    @cached_property
    def coils(self) -> tuple[CoilSide, ...]:
        """Minus and plus side of each pole's coil; none on a side without winding. Raises as `coils_of` does."""
        return tuple(
            side
            for at, winding in enumerate(self.windings)
            for side in coils_of(at, self.edges[at], self.seat, winding)
        )


Builds = tuple[Build, Build]


def builds_of(machine: Machine, radius: float | None = None) -> Builds:
    """Rotor and stator of a machine; of an axial one, of the flat section at a radius (m), or at the mean radius."""
    match machine:
        case AxialMachine():
            return axial_builds(machine, machine.mean_radius if radius is None else radius)
        case RadialMachine():
            return radial_builds(machine)
        case OuterRotorMachine():
            return outer_rotor_builds(machine)


def radial_builds(machine: RadialMachine) -> Builds:
    """Rotor and stator of a machine whose rotor runs inside. Past the air round the stator no flux goes."""
    rotor = Build(
        name="rotor",
        pattern=machine.rotor_pattern,
        poles=machine.rotor_poles,
        face=machine.rotor_outer_radius,
        root=machine.rotor_yoke_radius,
        back=machine.shaft_radius,
        far=0.0,
        far_fixed=False,
        windings=(),
        shaft=machine.shaft_steel is not None,
    )
    stator = Build(
        name="stator",
        pattern=machine.stator_pattern,
        poles=machine.stator_poles,
        face=machine.stator_bore_radius,
        root=machine.slot_radius,
        back=machine.stator_outer_radius,
        far=machine.stator_outer_radius + machine.surrounding_air,
        far_fixed=True,
        windings=(machine.winding,) * len(machine.stator_pattern),
    )
    return rotor, stator


def outer_rotor_builds(machine: OuterRotorMachine) -> Builds:
    """Rotor and stator of a machine whose rotor runs outside. Past the air round the rotor no flux goes."""
    rotor = Build(
        name="rotor",
        pattern=machine.rotor_pattern,
        poles=machine.rotor_poles,
        face=machine.rotor_bore_radius,
        root=machine.valley_radius,
        back=machine.rotor_outer_radius,
        far=machine.rotor_outer_radius + machine.surrounding_air,
        far_fixed=True,
        windings=(),
    )
    stator = Build(
        name="stator",
        pattern=machine.stator_pattern,
        poles=machine.stator_poles,
        face=machine.stator_outer_radius,
        root=machine.stator_yoke_radius,
        back=machine.shaft_radius,
        far=0.0,
        far_fixed=False,
        windings=(machine.winding,) * len(machine.stator_pattern),
        shaft=machine.shaft_steel is not None,
    )
    return rotor, stator


def axial_builds(machine: AxialMachine, radius: float) -> Builds:
    """Rotor (below x = 0) and stator of the flat section at a radius, up to the plane of symmetry if any."""
    gap, mean = machine.air_gap, machine.mean_radius
    share = {name: 0.5 if machine.middle == name else 1.0 for name in ("rotor", "stator")}
    free = {name: machine.middle == name and machine.through_flux for name in ("rotor", "stator")}
    rotor_root = -machine.rotor_pole_height
    rotor_back = rotor_root - share["rotor"] * machine.rotor_yoke_thickness
    stator_root = gap + machine.stator_pole_height
    stator_back = stator_root + share["stator"] * machine.stator_yoke_thickness
    rotor = Build(
        name="rotor",
        pattern=tuple(cut_pole(pole, machine.rotor_flanks, mean, radius) for pole in machine.rotor_pattern),
        poles=machine.rotor_poles,
        face=0.0,
        root=rotor_root,
        back=rotor_back,
        far=rotor_back,
        far_fixed=not free["rotor"],
        windings=(),
        radius=radius,
    )
    stator = Build(
        name="stator",
        pattern=tuple(cut_pole(pole, machine.stator_flanks, mean, radius) for pole in machine.stator_pattern),
        poles=machine.stator_poles,
        face=gap,
        root=stator_root,
        back=stator_back,
        far=stator_back,
        far_fixed=not free["stator"],
        windings=tuple(cut_winding(machine, pole, radius) for pole in machine.stator_pattern),
        radius=radius,
    )
    return rotor, stator
