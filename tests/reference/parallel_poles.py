"""Machines with parallel-sided poles, built from their numbers alone, for `ngsolve_field` to solve at one angle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from drawing import TOUCH, disc, joined, meshed, named, rectangle
from netgen.occ import Axis, Rotation, Z
from ngsolve_field import Level, Reference, Section, over_currents

__all__ = ["phase_turns", "reference_parallel", "section_parallel"]


def reference_parallel(
    machine: Any,
    angle: float,
    currents: Sequence[float],
    level: int | Level = 1,
    order: int = 3,
    fine: float = 1e-13,
) -> tuple[Reference, ...]:
    """Solve the first phase of a `RadialMachine` at one angle (rad) for ascending currents (A) on one mesh."""
    section = section_parallel(machine, angle, Level.numbered(level) if isinstance(level, int) else level)
    return over_currents(section, phase_turns(machine), currents, order, fine)


def phase_turns(machine: Any) -> list[float]:
    """Signed turns of each pole's coil in the first phase: evenly spaced poles of alternating polarity; 0 elsewhere."""
    winding = machine.winding
    turns = winding.turns_per_pole / winding.parallel_paths
    apart = machine.stator_poles // math.gcd(machine.stator_poles, machine.rotor_poles)
    return [turns * (-1.0) ** (k // apart) if k % apart == 0 else 0.0 for k in range(machine.stator_poles)]


def section_parallel(machine: Any, angle: float, level: Level, half: bool = False) -> Section:
    """Draw and mesh a `RadialMachine` with plain poles, its rotor turned by `angle`, rad.

    half: only the half turn that begins midway before the first pole, for phases of two poles: A returns with its sign
    changed. Its coils are those of the first half of the poles.
    """
    face, air_gap = machine.rotor_outer_radius, machine.air_gap
    slot = machine.stator_outer_radius - machine.stator_yoke_thickness
    gap = face + air_gap / 3, face + 2 * air_gap / 3
    rotor = _rotor(machine, angle)
    stator = _stator(machine)
    sides = {
        f"coil {k} {side}": _coil_side(machine, k, side)
        for k in range(machine.stator_poles)
        for side in SIDES
    }
    shaft = disc(machine.shaft_radius)
    shapes = {
        "rotor iron": rotor,
        "stator iron": stator,
        "shaft": shaft,
        "rotor air": disc(gap[0]) - rotor - shaft,
        "gap": disc(gap[1]) - disc(gap[0]),
        "stator air": disc(slot) - disc(gap[1]) - stator - joined(list(sides.values())),
        **sides,
    }
    if half:
        shapes = _halved(shapes, machine)
    width = 2 * min(_half_width(machine.rotor_pole, face), _half_width(machine.stator_pole, face + air_gap))
    return Section(
        mesh=meshed(
            [named(name, shape) for name, shape in shapes.items()],
            gap,
            air_gap,
            width,
            level,
            fixed=(machine.stator_outer_radius, CORE * machine.shaft_radius),
            ends=_ends(machine) if half else None,
        ),
        steels={"rotor iron": machine.rotor_steel or machine.steel, "stator iron": machine.steel},
        coils=[
            (f"coil {k} plus", f"coil {k} minus") for k in range(machine.stator_poles // (2 if half else 1))
        ],
        gap=gap,
        length=machine.stack_length * (2 if half else 1),
        repeats=-1.0 if half else None,
    )


CORE = 0.1  # of the shaft's radius: a half turn is cut out there, where A is 0 on the axis


def _cut(machine: Any) -> float:
    """Angle of the line that halves the section, between two stator poles, rad."""
    return -math.pi / machine.stator_poles


def _halved(shapes: dict[str, Any], machine: Any) -> dict[str, Any]:
    size = 2 * machine.stator_outer_radius
    kept = _turned(rectangle(-size, size, 0.0, size), _cut(machine)) - disc(CORE * machine.shaft_radius)
    halves = {name: shape * kept for name, shape in shapes.items()}
    return {name: shape for name, shape in halves.items() if len(shape.faces)}


def _ends(machine: Any) -> tuple[Any, Any]:
    """Whether a point lies on the first end of the half turn, and the turn to the other end."""
    along = math.cos(_cut(machine)), math.sin(_cut(machine))

    def first(point: Any) -> bool:
        beside = along[0] * point.y - along[1] * point.x
        return abs(beside) < TOUCH and along[0] * point.x + along[1] * point.y > 0

    return first, Rotation(Axis((0, 0, 0), Z), 180)


SIDES = {"plus": 1.0, "minus": -1.0}


def _half_width(pole: Any, radius: float) -> float:
    return radius * math.sin(pole.arc / 2)


def _turned(shape: Any, angle: float) -> Any:
    return shape.Rotate(Axis((0, 0, 0), Z), math.degrees(angle))


def _star(half: float, x0: float, x1: float, count: int, angle: float = 0.0) -> Any:
    """Strips of the given half width from x0 to x1, turned about the origin."""
    strip = rectangle(x0, x1, -half, half)
    return joined([_turned(strip, angle + 2 * math.pi * k / count) for k in range(count)])


def _rotor(machine: Any, angle: float) -> Any:
    radius = machine.rotor_outer_radius
    strips = _star(_half_width(machine.rotor_pole, radius), 0.0, radius, machine.rotor_poles, angle)
    return disc(machine.rotor_yoke_radius) + strips * disc(radius) - disc(machine.shaft_radius)


def _stator(machine: Any) -> Any:
    bore = machine.rotor_outer_radius + machine.air_gap
    outer = machine.stator_outer_radius
    slot = outer - machine.stator_yoke_thickness
    within = (slot + outer) / 2  # strips end inside the yoke
    strips = _star(_half_width(machine.stator_pole, bore), bore / 2, within, machine.stator_poles)
    return disc(outer) - disc(slot) + (strips * disc(within) - disc(bore))


def _coil_side(machine: Any, pole: int, side: str) -> Any:
    winding = machine.winding
    bore = machine.rotor_outer_radius + machine.air_gap
    slot = machine.stator_outer_radius - machine.stator_yoke_thickness
    near = _half_width(machine.stator_pole, bore) + winding.liner
    low, high = sorted(SIDES[side] * y for y in (near, near + winding.coil_width))
    box = rectangle(bore + winding.face_inset, slot - winding.yoke_clearance, low, high)
    return _turned(box, 2 * math.pi * pole / machine.stator_poles)
