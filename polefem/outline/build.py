"""From a machine to its outline: both members, their poles and coils, checked."""

from __future__ import annotations

import math

from polefem.outline.checks import refuse_overlaps, refuse_touching_faces
from polefem.outline.coils import coils_of
from polefem.outline.member import Member, side_of
from polefem.outline.values import Outline
from polefem.params.machine import RadialMachine
from polefem.shapes import Seat, pole_edge

__all__ = ["outline_of"]


def outline_of(machine: RadialMachine) -> Outline:
    """The outline of a machine's cross section.

    Raises GeometryRefused, in one sentence, where the machine cannot be built: pole faces that touch, flanks
    that miss their yoke, coils that cut the yoke, a pole or a neighbour.
    """
    refuse_touching_faces("rotor_pole", [machine.rotor_pole.arc], machine.rotor_pitch)
    refuse_touching_faces("stator_pole", [machine.stator_pole.arc], 2 * math.pi / machine.stator_poles)
    rotor, stator = _rotor(machine), _stator(machine)
    refuse_overlaps(rotor)
    refuse_overlaps(stator)
    return Outline(side_of(rotor), side_of(stator), machine.stack_length)


def _rotor(machine: RadialMachine) -> Member:
    seat = Seat(machine.rotor_outer_radius, machine.rotor_yoke_radius)
    return Member(
        name="rotor",
        seat=seat,
        back=machine.shaft_radius,
        edges=(pole_edge(machine.rotor_pole, seat, "rotor_pole"),),
        coils=(),
        poles=machine.rotor_poles,
        mirror=True,
        gap=machine.rotor_outer_radius + machine.air_gap / 3,
        far=0.0,
        far_fixed=False,
        air_gap=machine.air_gap,
    )


def _stator(machine: RadialMachine) -> Member:
    seat = Seat(machine.stator_bore_radius, machine.slot_radius)
    edge = pole_edge(machine.stator_pole, seat, "stator_pole")
    return Member(
        name="stator",
        seat=seat,
        back=machine.stator_outer_radius,
        edges=(edge,),
        coils=coils_of(0, edge, seat, machine.winding),
        poles=machine.stator_poles,
        mirror=True,
        gap=machine.rotor_outer_radius + machine.air_gap * 2 / 3,
        far=machine.stator_outer_radius,
        far_fixed=True,
        air_gap=machine.air_gap,
    )
