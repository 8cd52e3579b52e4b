"""Machines with parallel-sided poles, built from their numbers alone, solved by `ngsolve_field` at one angle."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import ngsolve as ng
import numpy as np
from netgen.occ import Axis, Glue, OCCGeometry, WorkPlane, Z
from ngsolve_field import Field, Section, magnetostatic, torque_by_stress, torque_by_virtual_work
from numpy.typing import NDArray

__all__ = ["Level", "Reference", "reference_parallel", "section_parallel"]

TOUCH = 1e-8  # m: closer than this is the same circle


@dataclass(frozen=True)
class Level:
    """How fine: element sizes at pole corners and in the gap (as parts of the air gap), at pole roots and elsewhere (of
    the pole width), and how fast they may grow (netgen's grading, between 0 and 1)."""

    corner: float
    gap: float
    root: float
    iron: float
    grading: float

    @classmethod
    def numbered(cls, number: int) -> Level:
        """Level 0, 1, 2 ...: each half the size of the one before at corners, 1 / sqrt(2) elsewhere."""
        half, less = 0.5**number, 0.5 ** (number / 2)
        return cls(
            corner=0.2 * half, gap=0.6 * less, root=0.04 * half, iron=0.2 * less, grading=0.4 * 0.9**number
        )


@dataclass(frozen=True, eq=False)
class Reference:
    """What one phase shows at one angle and current; torque twice, by stress and by virtual work (N m)."""

    angle: float
    current: float
    flux_linkage: float
    torque: float
    torque_virtual: float
    coenergy: float
    unknowns: int
    steps: int
    coil_fluxes: NDArray[np.float64]


def _disc(radius: float) -> Any:
    return WorkPlane().Circle(radius).Face()


def _box(x0: float, x1: float, y0: float, y1: float, turn: float) -> Any:
    """Rectangle in the frame of a pole whose axis lies `turn` radians from the x axis."""
    face = WorkPlane().MoveTo(x0, y0).Rectangle((x1 - x0), (y1 - y0)).Face()
    return face.Rotate(Axis((0, 0, 0), Z), math.degrees(turn))


def _joined(shapes: Sequence[Any]) -> Any:
    total = shapes[0]
    for shape in shapes[1:]:
        total = total + shape
    return total


def section_parallel(machine: Any, angle: float, level: Level) -> Section:
    """Draw and mesh a `RadialMachine` with plain poles, its rotor turned by `angle`, rad."""
    rotor_radius = machine.rotor_outer_radius
    bore = rotor_radius + machine.air_gap
    slot = machine.stator_outer_radius - machine.stator_yoke_thickness
    rotor_half = rotor_radius * math.sin(machine.rotor_pole.arc / 2)
    stator_half = bore * math.sin(machine.stator_pole.arc / 2)
    inner, outer = rotor_radius + machine.air_gap / 3, rotor_radius + 2 * machine.air_gap / 3

    steps = [2 * math.pi * k / machine.rotor_poles + angle for k in range(machine.rotor_poles)]
    poles = _joined([_box(0.0, rotor_radius, -rotor_half, rotor_half, turn) for turn in steps])
    rotor = _disc(machine.rotor_yoke_radius) + poles * _disc(rotor_radius) - _disc(machine.shaft_radius)

    steps = [2 * math.pi * k / machine.stator_poles for k in range(machine.stator_poles)]
    root = (slot + machine.stator_outer_radius) / 2
    poles = _joined([_box(bore / 2, root, -stator_half, stator_half, turn) for turn in steps])
    yoke = _disc(machine.stator_outer_radius) - _disc(slot)
    stator = yoke + (poles * _disc(root) - _disc(bore))

    winding = machine.winding
    near, far = stator_half + winding.liner, stator_half + winding.liner + winding.coil_width
    low, high = bore + winding.face_inset, slot - winding.yoke_clearance
    sides, coils = [], []
    for k, turn in enumerate(steps):
        for name, (y0, y1) in {f"coil {k} plus": (near, far), f"coil {k} minus": (-far, -near)}.items():
            side = _box(low, high, y0, y1, turn)
            side.faces.name = name
            sides.append(side)
        coils.append((f"coil {k} plus", f"coil {k} minus"))

    rotor.faces.name, stator.faces.name = "rotor iron", "stator iron"
    shaft = _disc(machine.shaft_radius)
    valleys = _disc(inner) - rotor - shaft
    band, rim = _disc(outer) - _disc(inner), _disc(bore) - _disc(outer)
    slots = _disc(slot) - _disc(bore) - stator - _joined(sides)
    for face, name in (
        (shaft, "shaft"),
        (valleys, "gap inner"),
        (band, "gap"),
        (rim, "gap outer"),
        (slots, "slots"),
    ):
        face.faces.name = name
    whole = Glue([rotor, stator, shaft, valleys, band, rim, slots, *sides])
    _name_edges(whole, machine)
    _set_sizes(whole, machine, level, 2 * min(rotor_half, stator_half))
    rotor_steel = getattr(machine, "rotor_steel", None) or machine.steel
    return Section(
        mesh=_meshed(whole, level),
        steels={"rotor iron": rotor_steel, "stator iron": machine.steel},
        coils=coils,
        gap=(inner, outer),
        length=machine.stack_length,
    )


def _meshed(shape: Any, level: Level) -> Any:
    return ng.Mesh(OCCGeometry(shape, dim=2).GenerateMesh(grading=level.grading, optsteps2d=5)).Curve(3)


def _name_edges(shape: Any, machine: Any) -> None:
    bore = machine.rotor_outer_radius + machine.air_gap
    for edge in shape.edges:
        edge.name = "inside"
    rotor = {face for face in shape.faces if face.name == "rotor iron"}
    for face in rotor:
        for edge in face.edges:
            edge.name = "rotor"
    for edge in shape.edges:
        radii = [math.hypot(point.p.x, point.p.y) for point in edge.vertices]
        middle = edge.center
        if max(abs(r - machine.shaft_radius) for r in radii) < TOUCH:
            edge.name = "inside"
        if max(abs(r - machine.stator_outer_radius) for r in radii) < TOUCH:
            edge.name = "fixed"
        if max(abs(r - bore) for r in radii) < TOUCH and math.hypot(middle.x, middle.y) < bore + TOUCH:
            edge.name = "bore"


def _set_sizes(shape: Any, machine: Any, level: Level, pole_width: float) -> None:
    for face in shape.faces:
        face.maxh = (
            machine.air_gap * level.gap if face.name in ("gap", "gap outer") else pole_width * level.iron
        )
    for edge in shape.edges:
        edge.maxh = pole_width * level.iron
    # The field is singular at every corner: outside the iron where it sticks out, inside it at the roots of the poles.
    for face in shape.faces:
        if face.name not in ("rotor iron", "stator iron"):
            continue
        for vertex in face.vertices:
            radius = math.hypot(vertex.p.x, vertex.p.y)
            near_gap = abs(radius - machine.rotor_outer_radius) < 2 * machine.air_gap
            vertex.maxh = machine.air_gap * level.corner if near_gap else pole_width * level.root


def _phase(machine: Any) -> list[float]:
    """Signs of the coils of the first phase: poles a stroke pattern apart, of alternating polarity; 0 elsewhere."""
    in_phase = math.gcd(machine.stator_poles, machine.rotor_poles)
    apart = machine.stator_poles // in_phase
    return [(-1.0) ** (k // apart) if k % apart == 0 else 0.0 for k in range(machine.stator_poles)]


def reference_parallel(
    machine: Any, angle: float, currents: Sequence[float], level: int | Level = 1, order: int = 3
) -> tuple[Reference, ...]:
    """Solve the first phase of a `RadialMachine` at one angle (rad) for ascending currents (A) on one mesh."""
    sizes = Level.numbered(level) if isinstance(level, int) else level
    section = section_parallel(machine, angle, sizes)
    turns = machine.winding.turns_per_pole * np.array(_phase(machine))
    results: list[Reference] = []
    field: Field | None = None
    for current in currents:
        field = magnetostatic(section, current * turns, order, field)
        results.append(
            Reference(
                angle=angle,
                current=current,
                flux_linkage=float(turns @ field.fluxes),
                torque=torque_by_stress(section, field),
                torque_virtual=torque_by_virtual_work(section, field),
                coenergy=field.coenergy,
                unknowns=field.unknowns,
                steps=field.steps,
                coil_fluxes=field.fluxes,
            )
        )
    return tuple(results)
