"""The outline of one unit drawn in gmsh's kernel, which cuts it into surfaces. Arcs stay arcs; millimetres here."""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from polefem.mesher.library import gmsh
from polefem.outline import Region, Ring, Side
from polefem.outline.parts import joined_rings
from polefem.shapes import Arc, Line, Segment, area, turned_back

Complexes = NDArray[np.complex128]
Floats = NDArray[np.float64]

__all__ = ["MM", "draw_point", "draw_unit", "ends_of", "moved", "place", "unrolled", "whole_turn"]

#: gmsh's kernel works to absolute tolerances made for millimetres.
MM = 1e3
#: Corners nearer to the gap's circle than this are faced by it, in air gaps.
CLOSE = 2.0
#: The gap's circle is not cut into pieces shorter than this, in air gaps.
NARROW = 0.05


def ends_of(side: Side) -> tuple[float, float]:
    """Where the meshed unit begins and ends, rad (flat: m)."""
    if side.row.mirror:
        return 0.0, side.pitch / 2
    return -side.pitch / 2, side.pitch * (side.unit_poles - 0.5)


def whole_turn(side: Side) -> bool:
    """Whether the meshed unit closes round the shaft, so that it ends where it begins."""
    start, end = ends_of(side)
    return not side.flat and math.isclose(end - start, 2 * math.pi)


def place(side: Side, level: float, along: float) -> complex:
    """The point at `level` (radius; flat: x) and `along` (angle; flat: y), m."""
    return complex(level, along) if side.flat else level * complex(math.cos(along), math.sin(along))


def unrolled(side: Side, z: Complexes, start: float, end: float) -> tuple[Floats, Floats]:
    """Level and `along` of points, angles as near as can be to the middle between two."""
    if side.flat:
        return z.real, z.imag
    middle = (start + end) / 2
    return np.abs(z), middle + np.angle(z * np.exp(-1j * middle))


def moved(side: Side, z: Complexes, along: float) -> Complexes:
    """Points moved on by an angle (flat: a distance)."""
    return z + 1j * along if side.flat else z * cmath.exp(1j * along)


def draw_point(z: complex) -> int:
    """A point of the kernel at z (m); its tag."""
    return int(gmsh.model.occ.addPoint(z.real * MM, z.imag * MM, 0.0))


def draw_unit(side: Side) -> list[list[int]]:
    """Surfaces of each region within the unit, air last."""
    start, end = ends_of(side)
    # Round the whole turn a wedge would have both its sides in one place: two halves meet there instead.
    stops = [start, (start + end) / 2, end] if whole_turn(side) else [start, end]
    wedges = [(2, _surface(_wedge(side, *ends))) for ends in pairwise(stops)]
    bodies = [(2, _body(region, side)) for region in side.regions]
    whole, parts = gmsh.model.occ.fragment(wedges, bodies)
    inside = {tag for part in parts[: len(wedges)] for _, tag in part}
    outside = [(dim, tag) for dim, tag in whole if dim == 2 and tag not in inside]
    gmsh.model.occ.remove(outside, recursive=True)
    gmsh.model.occ.synchronize()
    pieces = []
    for part in parts[len(wedges) :]:
        pieces.append(sorted(inside & {tag for dim, tag in part if dim == 2}))
        inside -= set(pieces[-1])
    return [*pieces, sorted(inside)]


def _wedge(side: Side, start: float, end: float) -> Ring:
    """All between the gap and the far end, from one angle to another (flat: from one y to another)."""
    near = _along(side, side.gap, [start, *_faced(side, start, end), end])
    back = _along(side, side.row.far, [end, start]) if side.row.far or side.flat else ()
    corner, other = place(side, side.row.far, end), place(side, side.row.far, start)
    ring = (*near, Line(near[-1].end, corner), *back, Line(other, near[0].start))
    return ring if side.gap > side.row.far else turned_back(ring)


def _faced(side: Side, start: float, end: float) -> list[float]:
    """Where the gap's circle faces corners, between two angles: cut there, it is sure to be fine there.

    gmsh looks at the size wanted along a curve in some hundred places, and a corner is smaller than that.
    """
    level, along = unrolled(side, side.corners, start, end)
    close = along[np.abs(level - side.gap) < CLOSE * side.air_gap]
    apart = NARROW * side.air_gap / (1.0 if side.flat else side.gap)
    stops = [start]
    for stop in np.sort(close):
        if stops[-1] + apart < stop < end - apart:
            stops.append(float(stop))
    return stops[1:]


def _along(side: Side, level: float, stops: Sequence[float]) -> Ring:
    """The path on a level through the given angles (flat: y)."""
    spots = [place(side, level, stop) for stop in stops]
    if side.flat:
        return tuple(Line(a, b) for a, b in pairwise(spots))
    return tuple(Arc(a, b, 0j, stops[-1] > stops[0]) for a, b in pairwise(spots))


def _body(region: Region, side: Side) -> int:
    if not whole_turn(side):
        return _surface(region.ring, *region.holes)
    # Its two cuts fall on one another: without them its edge is a closed ring round another, which is walked backwards.
    rings = joined_rings([region.ring])
    (edge,) = (ring for ring in rings if area(ring) > 0)
    return _surface(edge, *(turned_back(ring) for ring in rings if ring is not edge), *region.holes)


def _surface(ring: Ring, *holes: Ring) -> int:
    return int(gmsh.model.occ.addPlaneSurface([_loop(edge) for edge in (ring, *holes)]))


def _loop(ring: Sequence[Segment]) -> int:
    corners = [draw_point(segment.start) for segment in ring]
    curves = []
    for index, segment in enumerate(ring):
        first, last = corners[index], corners[(index + 1) % len(corners)]
        if isinstance(segment, Arc):
            curves.append(_arc(segment, first, last))
        else:
            curves.append(gmsh.model.occ.addLine(first, last))
    return int(gmsh.model.occ.addCurveLoop(curves))


def _arc(segment: Arc, first: int, last: int) -> int:
    """An arc through its middle point: unlike a centre, that also says which way round it goes."""
    middle = segment.centre + (segment.start - segment.centre) * np.exp(0.5j * segment.sweep)
    return int(gmsh.model.occ.addCircleArc(first, draw_point(complex(middle)), last, center=False))
