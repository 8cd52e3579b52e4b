"""From a machine to its outline: both members, their poles and coils, checked."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from polefem.outline.checks import (
    refuse_coils,
    refuse_overlaps,
    refuse_thin_iron,
    refuse_touching_faces,
)
from polefem.outline.coils import coils_of
from polefem.outline.member import Member, side_of
from polefem.outline.values import Outline
from polefem.params import Pole, RadialMachine, Winding
from polefem.shapes import Seat, pole_edge

__all__ = ["outline_of"]


def outline_of(machine: RadialMachine) -> Outline:
    """The outline of a machine's cross section.

    Raises GeometryRefused, in one sentence, where the machine cannot be built: pole faces that touch, flanks
    that miss their yoke, notches through a pole, iron thinner than its web, coils that cut iron or each
    other.
    """
    gap = machine.air_gap
    rotor = _Build(
        name="rotor",
        pattern=machine.rotor_pattern,
        poles=machine.rotor_poles,
        face=machine.rotor_outer_radius,
        root=machine.rotor_yoke_radius,
        back=machine.shaft_radius,
        trace=machine.rotor_outer_radius + gap / 3,
        far=0.0,
        far_fixed=False,
        winding=None,
    )
    stator = _Build(
        name="stator",
        pattern=machine.stator_pattern,
        poles=machine.stator_poles,
        face=machine.stator_bore_radius,
        root=machine.slot_radius,
        back=machine.stator_outer_radius,
        trace=machine.stator_bore_radius - gap / 3,
        far=machine.stator_outer_radius,
        far_fixed=True,
        winding=machine.winding,
    )
    return _outline(rotor, stator, gap, machine.stack_length)


@dataclass(frozen=True)
class _Build:
    """What a machine says of one side of its gap; levels as in `Member`."""

    name: Literal["rotor", "stator"]
    pattern: tuple[Pole, ...]
    poles: int
    face: float
    root: float
    back: float
    trace: float
    far: float
    far_fixed: bool
    winding: Winding | None
    radius: float | None = None  # of the cut, in a flat section

    @property
    def seat(self) -> Seat:
        flat = self.radius is not None
        return Seat(self.face, self.root, math.pi / self.poles, flat, self.radius or 1.0)


def _outline(rotor: _Build, stator: _Build, air_gap: float, length: float) -> Outline:
    members = [_member(build, air_gap) for build in (rotor, stator)]
    # A shaped face on either side may leave the gap wider everywhere than it is said to be.
    spare = sum(abs(m.seat.face - _nearest(m)) for m in members)
    sides = [side_of(member, air_gap + spare) for member in members]
    for build, member, side in zip((rotor, stator), members, sides, strict=True):
        refuse_coils(member)
        refuse_overlaps(side)
        refuse_thin_iron(side, min(pole.web for pole in build.pattern))
    return Outline(sides[0], sides[1], length, rotor.radius or 1.0)


def _nearest(member: Member) -> float:
    return min((edge.nearest for edge in member.edges), key=lambda level: abs(level - member.seat.face))


def _member(build: _Build, air_gap: float) -> Member:
    seat, name = build.seat, f"{build.name}_pole"
    refuse_touching_faces(name, [pole.arc for pole in build.pattern], 2 * seat.half_pitch)
    edges = tuple(pole_edge(pole, seat, name) for pole in build.pattern)
    winding = build.winding
    coils = () if winding is None else [coils_of(k, edge, seat, winding) for k, edge in enumerate(edges)]
    return Member(
        name=build.name,
        seat=seat,
        back=build.back,
        edges=edges,
        coils=tuple(coil for pair in coils for coil in pair),
        poles=build.poles,
        mirror=len(build.pattern) == 1 and build.pattern[0].symmetric,
        gap=build.trace,
        far=build.far,
        far_fixed=build.far_fixed,
    )
