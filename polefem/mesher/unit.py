"""One repeating unit of one side, meshed by gmsh.

gmsh's kernel cuts the regions out of the wedge (flat: strip) that the unit fills; what no region claims is air. Where
the unit is its own mirror image only half of it is meshed: the sector built from it is then mirror-symmetric to the
last bit, and so is its torque. Arcs stay arcs in the kernel and the elements along them are curved.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import gmsh
import numpy as np
from numpy.typing import NDArray

from polefem.errors import MeshFailed
from polefem.outline import Ring, Side
from polefem.params import MeshSpec
from polefem.shapes import Arc

__all__ = ["UnitMesh", "mesh_unit"]

#: gmsh's kernel works to absolute tolerances made for millimetres.
MM = 1e3
#: Two lengths closer than this are the same, mm.
SAME = 1e-5

Tags = list[tuple[int, int]]


@dataclass(frozen=True, eq=False)
class UnitMesh:
    """Nodes, six-node triangles and named node sets of one meshed unit, as gmsh gave them.

    points: ndarray, shape (n, 2), m. triangles: ndarray, shape (m, 6), as in `Mesh`. region: ndarray, shape (m,),
    index into the side's regions, or their number for air. low, high, gap, far: node numbers, unordered.
    """

    points: NDArray[np.float64]
    triangles: NDArray[np.int64]
    region: NDArray[np.int64]
    low: NDArray[np.int64]
    high: NDArray[np.int64]
    gap: NDArray[np.int64]
    far: NDArray[np.int64]


def mesh_unit(side: Side, spec: MeshSpec) -> UnitMesh:
    """Mesh one unit of `side` (half of it where it is its own mirror image); raises MeshFailed."""
    with _session():
        try:
            pieces = _cut_regions(side)
            curves = _name_curves(side)
            if not side.mirror:
                _tie_ends(side, curves)
            _set_sizes(side, spec)
            gmsh.model.mesh.generate(2)
            return _collect(pieces, curves)
        except Exception as problem:  # gmsh raises bare Exceptions
            raise MeshFailed(
                f"the {side.name} could not be meshed: gmsh says {str(problem).strip()!r}"
            ) from problem


@contextmanager
def _session() -> Iterator[None]:
    gmsh.initialize(interruptible=False)
    try:
        for option, value in {
            "General.Terminal": 0,
            "General.NumThreads": 1,
            "Mesh.ElementOrder": 2,
            "Mesh.Algorithm": 6,
            "Mesh.MeshSizeFromPoints": 0,
            "Mesh.MeshSizeFromCurvature": 0,
            "Mesh.MeshSizeExtendFromBoundary": 0,
            "Mesh.RandomFactor": 1e-9,
        }.items():
            gmsh.option.setNumber(option, value)
        gmsh.model.add("unit")
        yield
    finally:
        gmsh.finalize()


def ends_of(side: Side) -> tuple[float, float]:
    """Where the meshed unit begins and ends, rad (flat: m)."""
    if side.mirror:
        return 0.0, side.pitch / 2
    return -side.pitch / 2, side.pitch * (side.unit_poles - 0.5)


def place(side: Side, level: float, along: float) -> complex:
    """The point at `level` (radius; flat: x) and `along` (angle; flat: y), m."""
    return complex(level, along) if side.flat else level * complex(math.cos(along), math.sin(along))


def _cut_regions(side: Side) -> list[list[int]]:
    """Surfaces of each region within the unit, air last."""
    wedge = _wedge(side)
    bodies = [(2, _surface(region.ring, region.holes)) for region in side.regions]
    whole, parts = gmsh.model.occ.fragment([(2, wedge)], bodies)
    inside = set(parts[0])
    gmsh.model.occ.remove([piece for piece in whole if piece[0] == 2 and piece not in inside], recursive=True)
    gmsh.model.occ.synchronize()
    pieces = [sorted(tag for dim, tag in part if dim == 2 and (dim, tag) in inside) for part in parts[1:]]
    claimed = {tag for part in pieces for tag in part}
    return [*pieces, sorted(tag for dim, tag in inside if dim == 2 and tag not in claimed)]


def _wedge(side: Side) -> int:
    start, end = ends_of(side)
    near, far = sorted((side.gap, side.far))
    corners = [
        place(side, far, start),
        place(side, far, end),
        place(side, near, end),
        place(side, near, start),
    ]
    if near == 0.0 and not side.flat:
        corners = [*corners[:2], 0j]
    tags = [_point(corner) for corner in corners]
    centre = None if side.flat else _point(0j)
    curves = []
    for index, tag in enumerate(tags):
        following = tags[(index + 1) % len(tags)]
        if centre is not None and index % 2 == 0 and not (near == 0.0 and index == 2):
            curves.append(gmsh.model.occ.addCircleArc(tag, centre, following))
        else:
            curves.append(gmsh.model.occ.addLine(tag, following))
    return int(gmsh.model.occ.addPlaneSurface([gmsh.model.occ.addCurveLoop(curves)]))


def _point(z: complex) -> int:
    return int(gmsh.model.occ.addPoint(z.real * MM, z.imag * MM, 0.0))


def _surface(ring: Ring, holes: Iterable[Ring]) -> int:
    return int(gmsh.model.occ.addPlaneSurface([_loop(ring), *(_loop(hole) for hole in holes)]))


def _loop(ring: Ring) -> int:
    corners = [_point(segment.start) for segment in ring]
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
    return int(gmsh.model.occ.addCircleArc(first, _point(complex(middle)), last, center=False))


def _name_curves(side: Side) -> dict[str, list[int]]:
    """Curves on each named boundary, found by where their middles lie."""
    start, end = ends_of(side)
    named: dict[str, list[int]] = {"low": [], "high": [], "gap": [], "far": []}
    for _, tag in gmsh.model.getBoundary(gmsh.model.getEntities(2), combined=True, oriented=False):
        (low,), (high,) = gmsh.model.getParametrizationBounds(1, tag)
        x, y, _ = gmsh.model.getValue(1, tag, [(low + high) / 2])
        middle = complex(x, y)
        level = middle.real if side.flat else abs(middle)
        for name, target in (("gap", side.gap), ("far", side.far)):
            if abs(level - target * MM) < SAME:
                named[name].append(tag)
        for name, along in (("low", start), ("high", end)):
            if abs(place(side, level / MM, along) * MM - middle) < SAME:
                named[name].append(tag)
    return named


def _tie_ends(side: Side, curves: dict[str, list[int]]) -> None:
    """Make the nodes on the unit's end the images of those on its start."""

    def level(tag: int) -> float:
        (low,), (high,) = gmsh.model.getParametrizationBounds(1, tag)
        x, y, _ = gmsh.model.getValue(1, tag, [(low + high) / 2])
        return float(x) if side.flat else math.hypot(x, y)

    start, end = ends_of(side)
    span = end - start
    if side.flat:
        affine = [1, 0, 0, 0, 0, 1, 0, span * MM, 0, 0, 1, 0, 0, 0, 0, 1]
    else:
        c, s = math.cos(span), math.sin(span)
        affine = [c, -s, 0, 0, s, c, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]
    gmsh.model.mesh.setPeriodic(
        1, sorted(curves["high"], key=level), sorted(curves["low"], key=level), affine
    )


def _set_sizes(side: Side, spec: MeshSpec) -> None:
    """The smallest of: fine at corners, even along the gap, coarse in the iron, each growing with distance."""
    growth, gap = spec.growth, side.gap * MM
    face = spec.face * math.sqrt(side.air_gap * side.feature) * MM
    level = "x" if side.flat else "Sqrt(x*x+y*y)"
    wanted = [
        f"{spec.iron * side.feature * MM:.9g}",
        f"{face:.9g}+{growth:.9g}*Fabs({level}-{gap:.9g})",
    ]
    corner = spec.corner * side.air_gap * MM
    for z in side.corners * MM:
        wanted.append(f"{corner:.9g}+{growth:.9g}*Sqrt((x-({z.real:.9g}))^2+(y-({z.imag:.9g}))^2)")
    fields = []
    for formula in wanted:
        field = gmsh.model.mesh.field.add("MathEval")
        gmsh.model.mesh.field.setString(field, "F", formula)
        fields.append(field)
    smallest = gmsh.model.mesh.field.add("Min")
    gmsh.model.mesh.field.setNumbers(smallest, "FieldsList", fields)
    gmsh.model.mesh.field.setAsBackgroundMesh(smallest)


def _collect(pieces: list[list[int]], curves: dict[str, list[int]]) -> UnitMesh:
    tags, flat, _ = gmsh.model.mesh.getNodes()
    number = np.full(int(tags.max()) + 1, -1, dtype=np.int64)
    number[tags.astype(np.int64)] = np.arange(len(tags))
    points = flat.reshape(-1, 3)[:, :2] / MM
    six_node_triangle = 9
    triangles, region = [], []
    for index, piece in enumerate(pieces):
        for surface in piece:
            _, nodes = gmsh.model.mesh.getElementsByType(six_node_triangle, surface)
            triangles.append(number[nodes.astype(np.int64)].reshape(-1, 6))
            region.append(np.full(len(triangles[-1]), index, dtype=np.int64))

    def on(name: str) -> NDArray[np.int64]:
        found = [gmsh.model.mesh.getNodes(1, tag, includeBoundary=True)[0] for tag in curves[name]]
        return (
            np.unique(number[np.concatenate(found).astype(np.int64)])
            if found
            else np.empty(0, dtype=np.int64)
        )

    six = np.concatenate(triangles)
    # gmsh closes the ring with the middle of corners 2-0, as `Mesh` does.
    used = np.unique(six)
    renumber = np.full(len(points), -1, dtype=np.int64)
    renumber[used] = np.arange(len(used))
    sets = {name: renumber[on(name)] for name in curves}
    return UnitMesh(points[used], renumber[six], np.concatenate(region), **sets)
