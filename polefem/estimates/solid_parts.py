"""Whether solid parts follow the field at a speed, as a static map takes them to."""

from __future__ import annotations

import math

from polefem.materials import solid_part_caution
from polefem.outline import DrawnMachine, drawn, machine_of
from polefem.params import Machine
from polefem.params.checks import positive

__all__ = ["solid_cautions", "stroke_frequency"]


def stroke_frequency(machine: Machine | DrawnMachine, speed: float) -> float:
    """Strokes in a second at a speed (rad/s), Hz."""
    machine = machine_of(machine)
    return machine.phases.count * machine.rotor_poles * speed / (2 * math.pi)


def solid_cautions(machine: Machine | DrawnMachine, speed: float) -> tuple[str, ...]:
    """A sentence for each part of solid steel whose poles are too thick for its eddy currents to die away within a
    stroke, at a speed in rad/s; see `polefem.materials.solid_part_caution`. Steel without a grade is passed over."""
    positive("eddy currents need a speed", "speed", speed, "rad/s")
    known = drawn(machine)
    machine, outline = known.machine, known.outline
    said = []
    for side, steel in zip((outline.rotor, outline.stator), machine.core_steels, strict=True):
        if steel.grade is None or steel.grade.thickness is not None:
            continue
        caution = solid_part_caution(steel, side.feature, stroke_frequency(machine, speed))
        said += [] if caution is None else [f"{side.row.name}: {caution}"]
    return tuple(said)
