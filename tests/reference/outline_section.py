"""Any outline of polefem, round or flat, redrawn for `ngsolve_field` to solve at one angle."""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from drawing import TOUCH, across, around, disc, joined, meshed, named, rectangle
from netgen.occ import ArcOfCircle, Axis, Face, Pnt, Translation, Vec, Wire, Z
from netgen.occ import Segment as Straight
from ngsolve_field import Law, Level, Reference, Section, over_currents, total

from polefem.outline import Outline, Ring, Side, sections
from polefem.params import AxialMachine, Machine, phases_of
from polefem.shapes import Arc

__all__ = ["reference_machine", "reference_outline", "section_outline", "with_wide_band"]


def reference_machine(
    machine: Machine, angle: float, currents: Sequence[float], level: int | Level = 1, order: int = 3
) -> tuple[Reference, ...]:
    """Solve the first phase of any machine at one angle (rad) for ascending currents (A): the sum over its sections."""
    phases = phases_of(machine.stator_poles, machine.rotor_poles, machine.single_phase)
    turns = machine.section_turns if isinstance(machine, AxialMachine) else machine.winding.turns_per_pole
    signed = [
        polarity * turns / machine.winding.parallel_paths if phase == 0 else 0.0
        for phase, polarity in zip(phases.of_pole, phases.polarity, strict=True)
    ]
    steels: dict[str, Law] = {
        "rotor iron": machine.rotor_steel or machine.steel,
        "stator iron": machine.steel,
    }
    if machine.magnetic_shaft is not None:
        steels |= dict.fromkeys(("rotor shaft", "stator shaft"), machine.magnetic_shaft)
    parts = [
        reference_outline(part, angle, signed, currents, steels, level, order) for part in sections(machine)
    ]
    return tuple(total(points) for points in zip(*parts, strict=True))


def reference_outline(
    outline: Outline,
    angle: float,
    turns: Sequence[float],
    currents: Sequence[float],
    steels: Mapping[str, Law],
    level: int | Level = 1,
    order: int = 3,
) -> tuple[Reference, ...]:
    """Solve an outline at one angle (rad) for ascending currents (A).

    turns: signed, of the coil of each pole of the whole turn (flat: period). steels: by side and material.
    """
    sizes = Level.numbered(level) if isinstance(level, int) else level
    return over_currents(section_outline(outline, angle, steels, sizes), turns, currents, order)


def section_outline(
    outline: Outline, angle: float, steels: Mapping[str, Law], level: Level, offset: complex = 0.0
) -> Section:
    """Draw and mesh an outline whole, its rotor turned by `angle` (rad; a flat one shifted) about its own axis, which
    is off the stator's by an offset (m; of a round one). What is inside is moved, by the offset or against it, with the
    circle where it ends: both circles then need room (`with_wide_band`)."""
    stator, rotor = outline.stator, outline.rotor
    flat = stator.flat
    gap = rotor.gap, stator.gap
    moved = {"rotor": offset, "stator": 0.0} if gap[0] < gap[1] else {"rotor": 0.0, "stator": -offset}
    ring = _between(*gap, stator)
    if offset:
        ring = disc(max(gap)) - disc(min(gap)).Move(_vector(sum(moved.values())))
    band = named("gap", ring)
    shapes = [
        band,
        *_parts(rotor, outline, angle, moved["rotor"]),
        *_parts(stator, outline, 0.0, moved["stator"]),
    ]
    fixed = [side.row.far for side in (rotor, stator) if side.row.far_fixed]
    mesh = meshed(
        shapes,
        gap,
        min(rotor.air_gap, stator.air_gap),
        min(rotor.feature, stator.feature),
        level,
        fixed=fixed,
        place=across if flat else around,
        ends=_ends(stator) if flat else None,
    )
    return Section(
        mesh=mesh,
        steels={name: steels[name] for name in sorted(set(mesh.GetMaterials()) & steels.keys())},
        coils=[(f"coil {k} plus", f"coil {k} minus") for k in range(1, stator.row.poles + 1)],
        gap=gap,
        length=outline.length,
        repeats=1.0 if flat else None,
        flat=flat,
        radius=outline.radius,
    )


def with_wide_band(outline: Outline, part: float = 0.3) -> Outline:
    """The outline with the circles of its gap nearer to the faces: by so much of how far they are apart."""
    way = part * (outline.stator.gap - outline.rotor.gap)
    rotor, stator = outline.rotor, outline.stator
    return replace(
        outline, rotor=replace(rotor, gap=rotor.gap - way), stator=replace(stator, gap=stator.gap + way)
    )


def _vector(offset: complex) -> tuple[float, float, float]:
    return offset.real, offset.imag, 0.0


def _ends(stator: Side) -> tuple[Any, Any]:
    """Whether a point lies on the lower end of a flat section, and the shift to the upper one."""
    low = -stator.pitch / 2
    return lambda point: abs(point.y - low) < TOUCH, Translation(Vec(0, stator.row.poles * stator.pitch, 0))


def _parts(side: Side, outline: Outline, angle: float, shift: complex) -> list[Any]:
    """All regions of one side and the air they leave, named, all of them shifted (m)."""
    domain = _between(side.gap, side.row.far, outline.stator)
    parts: dict[str, list[Any]] = {}
    for unit, offset in _offsets(side, outline, angle):
        for region in side.regions:
            if region.material == "air":
                continue
            shape = _face(region.ring)
            for hole in region.holes:
                shape = shape - _face(hole)
            shape = _placed(shape, offset, side.flat)
            if side.flat and side.row.name == "rotor":
                shape = shape * domain
            name = f"{side.row.name} {region.material}"
            if region.material == "coil":
                name = str(region.label.further(unit * side.unit_poles))
            parts.setdefault(name, []).extend(shape.faces)
    air = domain - joined([face for faces in parts.values() for face in faces])
    called = [(name, face) for name, faces in parts.items() for face in faces]
    called += [(f"{side.row.name} {'air' if _reaches(face, side) else 'void'}", face) for face in air.faces]
    return [named(name, face.Move(_vector(shift)) if shift else face) for name, face in called]


def _offsets(side: Side, outline: Outline, angle: float) -> list[tuple[int, float]]:
    """Number and place of each unit: an angle, rad, or in a flat section a shift along y, m."""
    step = side.pitch * side.unit_poles
    units = side.row.poles // side.unit_poles
    if not side.flat:
        return [(unit, angle + unit * step) for unit in range(units)]
    if side.row.name == "stator":
        return [(unit, unit * step) for unit in range(units)]
    shift = math.remainder(angle * outline.radius, step)
    return [(unit % units, shift + unit * step) for unit in range(-2, units + 2)]


def _between(first: float, second: float, stator: Side) -> Any:
    """The ring between two radii, or in a flat section the strip between two levels over one period."""
    low, high = sorted((first, second))
    if stator.flat:
        begins = -stator.pitch / 2
        return rectangle(low, high, begins, begins + stator.row.poles * stator.pitch)
    return disc(high) - disc(low) if low > 0 else disc(high)


def _placed(shape: Any, offset: float, flat: bool) -> Any:
    if flat:
        return shape.Move((0, offset, 0))
    return shape.Rotate(Axis((0, 0, 0), Z), math.degrees(offset))


def _reaches(face: Any, side: Side) -> bool:
    """Whether a face of air borders on the band in the gap."""
    place = across if side.flat else around
    return any(all(abs(place(v.p) - side.gap) < TOUCH for v in edge.vertices) for edge in face.edges)


def _face(ring: Ring) -> Any:
    edges = []
    for segment in ring:
        start, end = _point(segment.start), _point(segment.end)
        if isinstance(segment, Arc):
            half = segment.centre + (segment.start - segment.centre) * cmath.exp(0.5j * segment.sweep)
            edges.append(ArcOfCircle(start, _point(half), end))
        else:
            edges.append(Straight(start, end))
    return Face(Wire(edges))


def _point(z: complex) -> Any:
    return Pnt(z.real, z.imag, 0)
