"""What each kind of machine says of the two sides of its gap: levels, poles, and where the section ends."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from polefem.outline.cuts import cut_pole, cut_winding
from polefem.params import AxialMachine, OuterRotorMachine, Pole, RadialMachine, Winding
from polefem.shapes import Seat

__all__ = ["Build", "axial_builds", "outer_rotor_builds", "radial_builds"]


@dataclass(frozen=True)
class Build:
    """One side of a gap. face, root, back: levels of pole faces, of the yoke towards the poles, and of its back
    (the same as root without a yoke), m. far, far_fixed: as in `Side`. radius: of the cut, in a flat section. shaft:
    whether what lies behind its back is a shaft that carries flux.
    """

    name: Literal["rotor", "stator"]
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


Builds = tuple[Build, Build]


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
