"""From drawn faces to a curved mesh with named boundaries, in NGSolve's own mesher."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any

import ngsolve as ng
from netgen.occ import Glue, OCCGeometry, WorkPlane
from ngsolve_field import Level

__all__ = ["across", "around", "disc", "joined", "meshed", "named", "rectangle"]

TOUCH = 1e-8  # m: closer than this is the same place


def disc(radius: float) -> Any:
    """The disc about the origin; nothing for a radius of 0."""
    return WorkPlane().Circle(radius).Face()


def rectangle(x0: float, x1: float, y0: float, y1: float) -> Any:
    """The rectangle with sides along the axes."""
    return WorkPlane().MoveTo(x0, y0).Rectangle(x1 - x0, y1 - y0).Face()


def joined(shapes: Sequence[Any]) -> Any:
    """All shapes as one."""
    total, *others = shapes
    for shape in others:
        total = total + shape
    return total


def named(name: str, shape: Any) -> Any:
    """The shape, its faces called `name`."""
    shape.faces.name = name
    return shape


def around(point: Any) -> float:
    """Level of a point in a round section: its radius, m."""
    return math.hypot(point.x, point.y)


def across(point: Any) -> float:
    """Level of a point in a flat section: its x, m."""
    return float(point.x)


def meshed(
    shapes: Sequence[Any],
    gap: tuple[float, float],
    air_gap: float,
    width: float,
    level: Level,
    fixed: Sequence[float],
    place: Callable[[Any], float] = around,
    ends: tuple[Callable[[Any], bool], Any] | None = None,
) -> Any:
    """Mesh faces called "rotor iron", "stator iron", "rotor air", "gap", "stator air" and as one likes.

    gap: levels of the band. air_gap: width of the whole gap, m. width: of a pole, m. fixed: levels at which A = 0.
    place: a point's level. ends: of a section that repeats: whether a point lies on the first, and the movement to the
    other; both are then one in the mesh.
    """
    whole = Glue(list(shapes))
    for edge in whole.edges:
        on_fixed = any(all(abs(place(v.p) - at) < TOUCH for v in edge.vertices) for at in fixed)
        edge.name = "fixed" if on_fixed else "inside"
        edge.maxh = width * level.iron
    for first, second, name in (("rotor iron", "rotor air", "rotor"), ("gap", "stator air", "fence")):
        for edge in _edges(whole, first) & _edges(whole, second):
            edge.name = name
    for face in whole.faces:
        face.maxh = air_gap * level.gap if face.name == "gap" else width * level.iron
        # The field is singular at corners: outside the iron where it sticks out, inside it at the roots of the poles.
        if face.name in ("rotor iron", "stator iron"):
            for vertex in face.vertices:
                depth = max(2 * abs(place(vertex.p) - sum(gap) / 2), air_gap)
                vertex.maxh = min(level.corner * depth, level.root * width)
    if ends is not None:
        _close(whole, *ends)
    return ng.Mesh(OCCGeometry(whole, dim=2).GenerateMesh(grading=level.grading, optsteps2d=5)).Curve(3)


def _edges(shape: Any, name: str) -> set[Any]:
    return {edge for face in shape.faces if face.name == name for edge in face.edges}


def _close(shape: Any, first: Callable[[Any], bool], movement: Any) -> None:
    """Make the straight edges of the first end one with those that the movement takes them to."""
    for edge in shape.edges:
        if first(edge.center) and all(first(vertex.p) for vertex in edge.vertices):
            there = movement(edge).center
            other = min(shape.edges, key=partial(_apart, there))
            edge.Identify(other, "ends", trafo=movement)


def _apart(point: Any, edge: Any) -> float:
    return math.hypot(edge.center.x - point.x, edge.center.y - point.y)
