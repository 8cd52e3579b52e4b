"""How large the elements of a unit are.

Everywhere the smallest of three:
- in the iron and all else, a part of the pole's width (`MeshSpec.iron`);
- along the gap, a part of the geometric mean of gap and pole width (`face`), or of ten gaps where those are less,
  growing with the distance from the gap's circle;
- at each of a number of spots a size of its own, growing with the distance from it: near the gap, corners of the
  iron (`corner`), where the field is singular; on every curve of the outline, what the room beside it and its
  bend allow (`tight_spots`), so that no triangle comes out flat in a liner, a bridge or a notch, or at a short
  edge, and none is turned over by its curved side.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.mesher.drawing import MM, draw_point, ends_of, moved, place, unrolled, whole_turn
from polefem.mesher.library import gmsh
from polefem.mesher.room import BEND, SAME, distances, tight_spots
from polefem.outline import Side
from polefem.params import MeshSpec
from polefem.shapes import Line

Complexes = NDArray[np.complex128]
Floats = NDArray[np.float64]

__all__ = ["Sizes", "set_sizes", "sizes_of"]

#: Poles wider than the square of this many gaps allow no longer elements along the gap: the field of a corner that
#: passes is as wide as the gap, and elements of four gaps let the torque swing by 4 % as it passes them.
WIDEST = 10.0
#: Sizes grow no faster than this from where they are less than half of a corner's, such as a rounding of some microns:
#: past it gmsh spans the distance from there to its surroundings with single triangles.
STEEPEST = 0.7
#: Sizes whose logarithms differ by less than this may be taken for the smallest of them.
STEP = 0.25
#: A spot this far outside the unit still counts, rad (flat: m): rounding.
ROUNDING = 1e-9


@dataclass(frozen=True, eq=False)
class Sizes:
    """Lengths of a unit's elements, m. iron: away from the gap. face: along it. spots: sizes and the points where they
    are wanted, shape (n,) each, of half the unit where it is its own mirror image. whole: whether these are all."""

    iron: float
    face: float
    spots: tuple[tuple[float, Complexes], ...]
    whole: bool


def sizes_of(side: Side, spec: MeshSpec, enough: float = math.inf) -> Sizes:
    """How large the elements of a unit are to be. enough: of narrow places, after which no more are looked for."""
    iron, face = _general(side, spec)
    curves = [curve for region in side.regions for ring in (region.ring, *region.holes) for curve in ring]
    walls = [Line(place(side, side.row.far, along), place(side, side.gap, along)) for along in ends_of(side)]
    at, size, whole = tight_spots(curves, walls, iron, max(enough, 2 * len(curves)))
    corners = _bare(side)
    at = np.concatenate([corners, at])
    size = np.concatenate([np.full(len(corners), spec.corner * side.air_gap), size])
    return Sizes(iron, face, tuple(_grouped(side, spec, iron, face, at, size)), whole)


def set_sizes(side: Side, spec: MeshSpec, sizes: Sizes) -> None:
    """Tell gmsh how large the elements of the unit it holds are to be."""
    level = "x" if side.flat else "Sqrt(x*x+y*y)"
    away = f"Fabs({level}-({side.gap * MM:.12g}))"
    wanted = [f"{sizes.iron * MM:.9g}", f"{sizes.face * MM:.9g}+{spec.growth:.9g}*{away}"]
    for size, spots in sizes.spots:
        small = size < spec.corner * side.air_gap / 2
        growth = min(spec.growth, STEEPEST) if small else spec.growth
        distance = gmsh.model.mesh.field.add("Distance")
        gmsh.model.mesh.field.setNumbers(distance, "PointsList", [draw_point(z) for z in spots])
        wanted.append(f"{size * MM:.9g}+{growth:.9g}*F{distance}")
    gmsh.model.occ.synchronize()
    fields = []
    for formula in wanted:
        fields.append(gmsh.model.mesh.field.add("MathEval"))
        gmsh.model.mesh.field.setString(fields[-1], "F", formula)
    smallest = gmsh.model.mesh.field.add("Min")
    gmsh.model.mesh.field.setNumbers(smallest, "FieldsList", fields)
    gmsh.model.mesh.field.setAsBackgroundMesh(smallest)


def _general(side: Side, spec: MeshSpec) -> tuple[float, float]:
    """Sizes away from the gap and along it, m."""
    iron = spec.iron * side.feature
    face = spec.face * min(math.sqrt(side.air_gap * side.feature), WIDEST * side.air_gap)
    if side.flat:
        return iron, face
    return min(iron, BEND * (side.row.far or math.inf)), min(face, BEND * side.gap)


def _grouped(
    side: Side, spec: MeshSpec, iron: float, face: float, at: Complexes, size: Floats
) -> Iterator[tuple[float, Complexes]]:
    """Sizes and the points where they are wanted, m, as far as they are below what holds there anyway."""
    if not side.row.mirror and not whole_turn(side):
        at, size = _repeated(side, at, size, (iron - size) / spec.growth)
    start, end = ends_of(side)
    level, along = unrolled(side, at, start, end)
    wanted = size < np.minimum(iron, face + spec.growth * np.abs(level - side.gap))
    if side.row.mirror:
        wanted &= (start - ROUNDING <= along) & (along <= end + ROUNDING)
    at, size = at[wanted], size[wanted]
    steps = np.floor(np.log(size) / STEP)
    for step in np.unique(steps):
        yield float(size[steps == step].min()), at[steps == step]


def _repeated(side: Side, at: Complexes, size: Floats, reach: Floats) -> tuple[Complexes, Floats]:
    """With the spots of the units before and after, as far as they reach into this one: the nodes on both its ends are
    the same, so that a spot near one end is near the other."""
    start, end = ends_of(side)
    level, along = unrolled(side, at, start, end)
    every, sizes = [at], [size]
    for span, wall in ((end - start, end), (start - end, start)):
        away = np.abs(along + span - wall) * (1.0 if side.flat else level)
        every.append(moved(side, at[away < reach], span))
        sizes.append(size[away < reach])
    return np.concatenate(every), np.concatenate(sizes)


def _bare(side: Side) -> Complexes:
    """Corners that no coil touches. Where one lies against the rounding of a tip, the air between ends in a cusp, which
    small triangles fill the worse the smaller they are."""
    edges = [edge for region in side.regions if region.material == "coil" for edge in region.ring]
    away = distances(side.corners, edges).min(axis=1, initial=np.inf)
    corners: Complexes = side.corners[away > SAME]
    return corners
