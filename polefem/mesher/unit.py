"""One repeating unit of one side, meshed by gmsh.

gmsh's kernel cuts the regions out of the wedge (flat: strip) that the unit fills; what no region claims is air. Where
the unit is its own mirror image only half of it is meshed: the sector built from it is then mirror-symmetric to the
last bit, and so is its torque. Elements along arcs are curved.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from polefem.errors import MeshFailed
from polefem.mesh import EDGES, least_jacobian
from polefem.mesher.drawing import MM, draw_unit, ends_of, place, whole_turn
from polefem.mesher.library import gmsh
from polefem.mesher.sizes import Sizes, set_sizes
from polefem.outline import Side
from polefem.params import MeshSpec

__all__ = ["UnitMesh", "mesh_unit"]

#: Two lengths closer than this are the same, mm.
SAME = 1e-5
#: A triangle that its curved sides squeeze below this part somewhere gets straight sides (`least_jacobian`).
SQUEEZED = 0.05
#: gmsh's number for a triangle of six nodes; the middle of corners 2-0 comes last, as in `Mesh`.
SIX_NODE_TRIANGLE = 9

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class UnitMesh:
    """Nodes, six-node triangles and named node sets of one meshed unit, as gmsh gave them.

    points: ndarray, shape (n, 2), m. triangles: ndarray, shape (m, 6), as in `Mesh`. region: ndarray, shape (m,),
    index into the side's regions, or their number for air. low, high, gap, far: node numbers, unordered.
    """

    points: NDArray[np.float64]
    triangles: Ints
    region: Ints
    low: Ints
    high: Ints
    gap: Ints
    far: Ints


def mesh_unit(side: Side, spec: MeshSpec, sizes: Sizes) -> UnitMesh:
    """Mesh one unit of `side` (half of it where it is its own mirror image) by its sizes; raises MeshFailed."""
    with _session():
        try:
            pieces = draw_unit(side)
            curves = _name_curves(side)
            if not side.row.mirror and not whole_turn(side):
                _tie_ends(side, curves)
            set_sizes(side, spec, sizes)
            gmsh.model.mesh.generate(2)
            unit = _collect(pieces, curves)
        except Exception as problem:  # gmsh raises bare Exceptions
            raise MeshFailed(
                f"the {side.row.name} could not be meshed: gmsh says {str(problem).strip()!r}"
            ) from problem
    unit = _straightened(unit)
    return _slit(unit, side) if whole_turn(side) else unit


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


def _middle(curve: int) -> complex:
    (low,), (high,) = gmsh.model.getParametrizationBounds(1, curve)
    x, y, _ = gmsh.model.getValue(1, curve, [(low + high) / 2])
    return complex(x, y)


def _level(side: Side, z: complex) -> float:
    return z.real if side.flat else abs(z)


def _name_curves(side: Side) -> dict[str, list[int]]:
    """Curves on each named boundary, found by where their middles lie."""
    start, end = ends_of(side)
    named: dict[str, list[int]] = {"low": [], "high": [], "gap": [], "far": []}
    for _, tag in gmsh.model.getEntities(1):
        middle = _middle(tag)
        level = _level(side, middle)
        for name, target in (("gap", side.gap), ("far", side.row.far)):
            if abs(level - target * MM) < SAME:
                named[name].append(tag)
        for name, along in (("low", start), ("high", end)):
            if abs(place(side, level / MM, along) * MM - middle) < SAME:
                named[name].append(tag)
    return named


def _tie_ends(side: Side, curves: dict[str, list[int]]) -> None:
    """Make the nodes on the unit's end the images of those on its start."""
    start, end = ends_of(side)
    span = end - start
    if side.flat:
        affine = [1, 0, 0, 0, 0, 1, 0, span * MM, 0, 0, 1, 0, 0, 0, 0, 1]
    else:
        c, s = math.cos(span), math.sin(span)
        affine = [c, -s, 0, 0, s, c, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]
    high, low = (sorted(curves[name], key=lambda tag: _level(side, _middle(tag))) for name in ("high", "low"))
    gmsh.model.mesh.setPeriodic(1, high, low, affine)


def _collect(pieces: list[list[int]], curves: dict[str, list[int]]) -> UnitMesh:
    """What gmsh made, its nodes numbered anew: only those of triangles count."""
    tags, flat, _ = gmsh.model.mesh.getNodes()
    nodes, region = [], []
    for index, piece in enumerate(pieces):
        for surface in piece:
            _, found = gmsh.model.mesh.getElementsByType(SIX_NODE_TRIANGLE, surface)
            nodes.append(found.astype(np.int64).reshape(-1, 6))
            region.append(np.full(len(nodes[-1]), index, dtype=np.int64))
    used, triangles = np.unique(np.concatenate(nodes), return_inverse=True)
    at = np.empty(int(tags.max()) + 1, dtype=np.int64)
    at[tags.astype(np.int64)] = np.arange(len(tags))

    def on(name: str) -> Ints:
        found = [gmsh.model.mesh.getNodes(1, tag, includeBoundary=True)[0] for tag in curves[name]]
        return np.searchsorted(used, np.unique(np.concatenate([[], *found]).astype(np.int64)))

    return UnitMesh(
        flat.reshape(-1, 3)[at[used], :2] / MM,
        triangles.reshape(-1, 6),
        np.concatenate(region),
        **{name: on(name) for name in curves},
    )


def _straightened(unit: UnitMesh) -> UnitMesh:
    """The unit with straight sides where a curved one would squeeze a triangle: in a cusp of an arc and its tangent.

    The gap's circle keeps its arcs: the harmonics there are those of a circle.
    """
    squeezed = unit.triangles[least_jacobian(unit.points, unit.triangles) < SQUEEZED]
    points = unit.points.copy()
    for at, (i, j) in enumerate(EDGES, start=3):
        a, b, middle = squeezed[:, i], squeezed[:, j], squeezed[:, at]
        free = ~(np.isin(a, unit.gap) & np.isin(b, unit.gap))
        points[middle[free]] = (points[a[free]] + points[b[free]]) / 2
    return replace(unit, points=points)


def _slit(unit: UnitMesh, side: Side) -> UnitMesh:
    """The closed ring of a whole turn cut open where it begins: its last triangles get nodes of their own there."""
    points, seam = unit.points, unit.low
    seam = seam[np.hypot(*points[seam].T) > 0.0]  # both ends keep the centre
    copy = np.arange(len(points))
    copy[seam] = len(points) + np.arange(len(seam))
    start, _ = ends_of(side)
    z = (points[:, 0] + 1j * points[:, 1]) * np.exp(-1j * start)
    last = z[unit.triangles[:, :3]].mean(axis=1).imag < 0.0

    def both(nodes: Ints) -> Ints:
        return np.concatenate([nodes, copy[np.intersect1d(nodes, seam)]])

    return UnitMesh(
        np.concatenate([points, points[seam]]),
        np.where(last[:, None], copy[unit.triangles], unit.triangles),
        unit.region,
        unit.low,
        copy[unit.low],
        both(unit.gap),
        both(unit.far),
    )
