"""From meshed units to the sector that is solved: mirrored, turned and glued, so that every pole's mesh is the same."""

from __future__ import annotations

import cmath
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from polefem.errors import MeshFailed
from polefem.mesh import Mesh, least_jacobian, quality
from polefem.mesher.drawing import moved
from polefem.mesher.reckoning import sizes_within
from polefem.mesher.unit import UnitMesh, mesh_unit
from polefem.outline import Label, Outline, Side
from polefem.params import MeshSpec

__all__ = ["mesh_side", "mesh_sides"]

Ints = NDArray[np.int64]
#: Columns of a triangle whose mirror image is to be counter-clockwise again.
MIRRORED = [0, 2, 1, 5, 4, 3]
#: No triangle may be worse shaped than this (`mesh.quality`; 1 is equilateral).
WORST = 0.01


def mesh_sides(outline: Outline, spec: MeshSpec, sectors: int) -> tuple[Mesh, Mesh]:
    """Rotor mesh and stator mesh of one of `sectors` equal parts of the section; raises MeshFailed."""
    return mesh_side(outline.rotor, spec, sectors), mesh_side(outline.stator, spec, sectors)


def mesh_side(side: Side, spec: MeshSpec, sectors: int) -> Mesh:
    """Mesh one side over one of `sectors` equal parts.

    Raises MeshFailed where its sizes ask for more elements than `spec.most`, before any meshing, or where a triangle
    comes out flat or folded.
    """
    copies = side.row.poles // side.unit_poles // sectors
    unit = _ordered(mesh_unit(side, spec, sizes_within(side, spec, copies)), side)
    labels = [*(region.label for region in side.regions), Label("air")]
    if side.row.mirror:
        unit.points[unit.low, 1] = 0.0  # gmsh leaves rounding on the axis
        mirrored = [labels.index(label.mirrored) for label in labels]
        unit = _glued([_mirrored(unit, mirrored), unit])
    span = side.pitch * side.unit_poles
    parts = [
        replace(_moved(unit, side, copy * span), region=unit.region + copy * len(labels))
        for copy in range(copies)
    ]
    mesh = _as_mesh(_glued(parts), side, sectors, *_sector_labels(labels, copies, side.unit_poles))
    _refuse_thin(mesh, side)
    return mesh


def _refuse_thin(mesh: Mesh, side: Side) -> None:
    worst = float(quality(mesh).min())
    if worst < WORST:
        raise MeshFailed(
            f"a triangle of the {side.row.name} came out too thin: its quality is {worst:.3f}, not {WORST}"
        )
    least = float(least_jacobian(mesh.points, mesh.triangles).min())
    if least <= 0.0:
        raise MeshFailed(
            f"a triangle of the {side.row.name} came out folded: its least Jacobian is {least:.3f} of a straight "
            "one's, not above 0"
        )


@dataclass(frozen=True, eq=False)
class _OrderedUnit(UnitMesh):
    """A `UnitMesh` whose low and high nodes are ordered from the far end to the gap."""


def _ordered(unit: UnitMesh, side: Side) -> _OrderedUnit:
    """Corner nodes first, ends ordered, triangles counter-clockwise."""
    triangles = unit.triangles
    a, b, c = (unit.points[triangles[:, i]] for i in range(3))
    clockwise = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) < (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    triangles = np.where(clockwise[:, None], triangles[:, MIRRORED], triangles)
    level = unit.points[:, 0] if side.flat else np.hypot(*unit.points.T)
    outward = np.abs(level - side.row.far)

    def order(nodes: Ints) -> Ints:
        return nodes[np.argsort(outward[nodes], kind="stable")]

    return _OrderedUnit(
        unit.points, triangles, unit.region, order(unit.low), order(unit.high), unit.gap, unit.far
    )


def _mirrored(part: UnitMesh, regions: list[int]) -> _OrderedUnit:
    """The part reflected in the x axis, its ends swapped."""
    return _OrderedUnit(
        part.points * [1.0, -1.0],
        part.triangles[:, MIRRORED],
        np.array(regions)[part.region],
        part.high,
        part.low,
        part.gap,
        part.far,
    )


def _moved(part: _OrderedUnit, side: Side, along: float) -> _OrderedUnit:
    z = moved(side, _complex(part.points), along)
    return replace(part, points=np.column_stack([z.real, z.imag]))


def _complex(points: NDArray[np.float64]) -> NDArray[np.complex128]:
    return points[:, 0] + 1j * points[:, 1]


def _glued(parts: list[_OrderedUnit]) -> _OrderedUnit:
    """Parts in a row as one: the high nodes of each become the low nodes of the next."""
    numbers: list[Ints] = []
    points: list[NDArray[np.float64]] = []
    count = 0
    for index, part in enumerate(parts):
        number = np.full(len(part.points), -1, dtype=np.int64)
        if index > 0:
            number[part.low] = numbers[-1][parts[index - 1].high]
        fresh = number < 0
        number[fresh] = count + np.arange(fresh.sum())
        count += int(fresh.sum())
        points.append(part.points[fresh])
        numbers.append(number)

    def joined(sets: list[Ints]) -> Ints:
        return np.unique(np.concatenate([number[nodes] for number, nodes in zip(numbers, sets, strict=True)]))

    return _OrderedUnit(
        np.concatenate(points),
        np.concatenate([number[part.triangles] for number, part in zip(numbers, parts, strict=True)]),
        np.concatenate([part.region for part in parts]),
        numbers[0][parts[0].low],
        numbers[-1][parts[-1].high],
        joined([part.gap for part in parts]),
        joined([part.far for part in parts]),
    )


def _sector_labels(labels: Sequence[Label], copies: int, unit_poles: int) -> tuple[list[Label], list[int]]:
    """What the sector's regions are, and which of them each region of each copy of the unit is."""
    every = [label.further(copy * unit_poles) for copy in range(copies) for label in labels]
    found = list(dict.fromkeys(every))
    return found, [found.index(label) for label in every]


def _as_mesh(part: _OrderedUnit, side: Side, sectors: int, labels: list[Label], regions: list[int]) -> Mesh:
    """The finished value: corner nodes numbered first, the gap's nodes in order of angle."""
    corners = np.unique(part.triangles[:, :3])
    middles = np.setdiff1d(np.unique(part.triangles[:, 3:]), corners)
    old = np.concatenate([corners, middles])
    new = np.empty(len(old), dtype=np.int64)
    new[old] = np.arange(len(old))
    span = side.pitch * side.row.poles / sectors
    z = _complex(part.points)
    start = -side.pitch / 2
    # Angles are measured from the middle of the sector, so that none wraps round within it.
    along = z.imag if side.flat else np.angle(z * cmath.exp(-1j * (start + span / 2)))
    if not side.flat and sectors == 1:
        along[part.low] = -span / 2
        along[part.high] = span / 2
    gap = part.gap[np.argsort(along[part.gap], kind="stable")]
    return Mesh(
        points=part.points[old],
        triangles=new[part.triangles],
        region=np.array(regions)[part.region],
        labels=tuple(labels),
        gap=new[gap],
        low=new[part.low],
        high=new[part.high],
        far=new[part.far if side.row.far_fixed else part.far[:0]],
        sectors=sectors,
        span=span,
        flat=side.flat,
    )
