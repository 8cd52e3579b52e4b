"""Machines with parallel-sided poles, built from their numbers alone, for `ngsolve_field` to solve at one angle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from drawing import disc, joined, meshed, named, rectangle
from netgen.occ import Axis, Z
from ngsolve_field import Level, Reference, Section, over_currents

__all__ = ["reference_parallel", "section_parallel"]


def reference_parallel(
    machine: Any, angle: float, currents: Sequence[float], level: int | Level = 1, order: int = 3
) -> tuple[Reference, ...]:
    """Solve the first phase of a `RadialMachine` at one angle (rad) for ascending currents (A) on one mesh."""
    section = section_parallel(machine, angle, Level.numbered(level) if isinstance(level, int) else level)
    turns = machine.winding.turns_per_pole / machine.winding.parallel_paths * np.array(_phase(machine))
    return over_currents(section, turns, currents, order)


def _phase(machine: Any) -> list[float]:
    """Signs of the coils of the first phase: evenly spaced poles of alternating polarity; 0 elsewhere."""
    in_phase = math.gcd(machine.stator_poles, machine.rotor_poles)
    apart = machine.stator_poles // in_phase
    return [(-1.0) ** (k // apart) if k % apart == 0 else 0.0 for k in range(machine.stator_poles)]


def section_parallel(machine: Any, angle: float, level: Level) -> Section:
    """Draw and mesh a `RadialMachine` with plain poles, its rotor turned by `angle`, rad."""
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
    width = 2 * min(_half_width(machine.rotor_pole, face), _half_width(machine.stator_pole, face + air_gap))
    return Section(
        mesh=meshed(
            [named(name, shape) for name, shape in shapes.items()],
            gap,
            air_gap,
            width,
            level,
            fixed=machine.stator_outer_radius,
        ),
        steels={"rotor iron": machine.rotor_steel or machine.steel, "stator iron": machine.steel},
        coils=[(f"coil {k} plus", f"coil {k} minus") for k in range(machine.stator_poles)],
        gap=gap,
        length=machine.stack_length,
    )


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
