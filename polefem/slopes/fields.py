"""What each field of a machine moves: nodes, lengths and steels, by differences of the outline alone.

An outline is drawn in milliseconds and exactly, so that a difference over some hundredths of a micron is its slope to
seven digits or more, and no field is solved for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from polefem.errors import GeometryRefused, InvalidValue, refusal
from polefem.field import BuiltMachine, built
from polefem.materials import Steel
from polefem.outline import DrawnMachine, Outline, drawn
from polefem.params import Machine
from polefem.params.fields import field_names, field_value, shown, with_fields
from polefem.params.quantity import quantity_of
from polefem.slopes.motion import Faces, Motion, Way, moved_system

__all__ = ["Following", "Move", "continuous_fields"]

#: Steps of the differences by the unit of a field: m, rad, and bare numbers.
STEPS = {"mm": 3e-8, "deg": 1e-6, "": 1e-6}
#: Weights and places, in steps, of differences of second order: to both sides, else to one.
DIFFERENCES = (((0.5, -0.5), (1, -1)), ((-1.5, 2.0, -0.5), (0, 1, 2)), ((1.5, -2.0, 0.5), (0, -1, -2)))


@dataclass(frozen=True, eq=False)
class _Drawn:
    """A machine as outlines, one a section, with the levels of its pole faces (m), the shares of iron in the length of
    both stacks, and their steels as the field finds them."""

    outlines: tuple[Outline, ...]
    faces: Faces
    shares: tuple[float, float]
    steels: tuple[Steel, Steel]


def _drawn(machine: Machine | DrawnMachine) -> _Drawn:
    shape = drawn(machine)
    rotor, stator = shape.machine.rows()
    faces, shares = (rotor.face, stator.face), shape.machine.stacking_factors
    return _Drawn(shape.sections, faces, shares, shape.machine.stacked_steels)


@dataclass(frozen=True, eq=False)
class Move:
    """What one field moves in one section, per unit of the field.

    way: of the nodes, per unit of the field. length: relative growth of the length along which the
    section acts. steels: weights and pairs of steels; the sum of a quantity so weighted is its slope in what the field
    changes of the steels; empty where it changes none.
    """

    way: Way
    length: float
    steels: tuple[tuple[float, tuple[Steel, Steel]], ...]


def continuous_fields(machine: Machine) -> tuple[str, ...]:
    """Dotted names of all fields of a machine that hold a number which is not a count."""
    return tuple(name for name in field_names(machine) if isinstance(field_value(machine, name), float))


class Following:
    """A built machine whose meshes follow its dimensions."""

    def __init__(self, whole: BuiltMachine) -> None:
        self.whole = whole
        own = _drawn(whole)
        self.motions = tuple(
            Motion(system.model, outline, own.faces)
            for system, outline in zip(whole.systems, own.outlines, strict=True)
        )

    def near(self, machine: Machine) -> BuiltMachine:
        """A machine of other dimensions on these meshes, moved; its unknowns are the same.

        Raises GeometryRefused for a machine that cannot be built or whose outline does not keep its pieces, and
        MeshFailed where it is so far off that triangles get poor.
        """
        other = built(machine, self.whole.mesh, self.whole.copper)
        own = _drawn(other)
        shaft = machine.magnetic_shaft
        systems = tuple(
            moved_system(system, motion.way(outline, own.faces).nodes, outline, own.steels, shaft)
            for system, motion, outline in zip(self.whole.systems, self.motions, own.outlines, strict=True)
        )
        # In place of what the machine would mesh when first asked for.
        other.__dict__["systems"] = systems
        return other

    def moves(self, fields: Sequence[str]) -> list[list[Move]]:
        """What each field (a dotted name) moves in each section: for each section a list over the fields.

        Where a field can go one way only, the difference is taken to that side. Raises GeometryRefused for a field in
        whose neighbourhood the outline does not keep its pieces, InvalidValue for a name that is no number of the
        machine.
        """
        found: list[list[Move]] = [[] for _ in self.motions]
        for field in fields:
            weights, near = _neighbours(self.whole.machine, field)
            for at, motion in enumerate(self.motions):
                found[at].append(_move(motion, at, weights, near))
        return found


def _move(motion: Motion, at: int, weights: Sequence[float], near: Sequence[_Drawn]) -> Move:
    pairs = list(zip(weights, near, strict=True))
    ways = [(weight, motion.way(drawn.outlines[at], drawn.faces)) for weight, drawn in pairs]
    nodes, slides = sum(w * way.nodes for w, way in ways), sum(w * way.slides for w, way in ways)
    length = sum(weight * drawn.outlines[at].length for weight, drawn in pairs) / motion.outline.length
    steels = tuple((weight, drawn.steels) for weight, drawn in pairs)
    alike = all(drawn.shares == near[0].shares for drawn in near)
    return Move(Way(np.asarray(nodes), np.asarray(slides)), float(length), () if alike else steels)


def _neighbours(machine: Machine, field: str) -> tuple[list[float], list[_Drawn]]:
    """Machines near by along a field, and the weights that make a difference of them."""
    value = field_value(machine, field)
    if isinstance(value, bool) or not isinstance(value, float):
        rule = "a slope is taken in a length, an angle or a share"
        raise InvalidValue(refusal(rule, field, value, "a field that holds one"))
    how = quantity_of(Machine, field)
    step = STEPS[how.unit if how else ""]

    def at(steps: int) -> _Drawn:
        # Whether it starts from every angle is a rule and no geometry: its limit has two sides.
        return _drawn(with_fields(machine, {field: value + steps * step, "must_start": False}))

    for weights, places in DIFFERENCES:
        try:
            return [weight / step for weight in weights], [at(place) for place in places]
        except (GeometryRefused, InvalidValue):
            continue
    rule = "a slope is taken where machines near by can be built"
    raise GeometryRefused(refusal(rule, field, shown(Machine, field, value), "one with room on a side"))
