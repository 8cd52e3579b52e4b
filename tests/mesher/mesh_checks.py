"""What a mesh must be, as questions that answer yes or no; shared by the checks of single and of random machines."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np
from numpy.typing import NDArray

from polefem.mesh import EDGES, Mesh, quality
from polefem.outline import Side
from polefem.shapes import Arc, Segment, area, moved
from tests.gallery import quadrature, shapes_at

__all__ = ["areas_match", "closed", "curves_met", "ends_match", "mirrored", "shaped", "upright"]

Floats = NDArray[np.float64]

#: Corners, middles and centre of the reference triangle.
EVERYWHERE = np.array([[0, 0], [1, 0], [0, 1], [0.5, 0], [0.5, 0.5], [0, 0.5], [1 / 3, 1 / 3]])


def upright(mesh: Mesh) -> bool:
    """Whether no curved triangle is inverted anywhere: its Jacobian is positive at all nodes and at the centre."""
    _, gradients = shapes_at(EVERYWHERE)
    corners = mesh.points[mesh.triangles]
    jacobian = np.linalg.det(np.einsum("qid,tix->tqxd", gradients, corners))
    return bool((jacobian > 0).all())


def shaped(mesh: Mesh, least: float = 0.01) -> bool:
    """Whether no triangle is worse shaped than what is stated of every mesh (`polefem.mesh.quality`)."""
    return bool(quality(mesh).min() >= least)


def areas_match(mesh: Mesh, side: Side, within: float = 1e-6) -> bool:
    """Whether each material, each coil side and the whole have the areas of the outline, which are exact for arcs.

    within: of the area of the whole.
    """
    copies = side.row.poles // mesh.sectors // side.unit_poles
    expected: Counter[str] = Counter()
    for region in side.regions:
        own = copies * (area(region.ring) - sum(area(hole) for hole in region.holes))
        expected[region.material] += own
        expected["all"] += own if region.material != "air" else 0.0
        if region.material == "coil":
            for copy in range(copies):
                expected[str(region.label.further(copy * side.unit_poles))] = own / copies
    whole = mesh.span * abs(side.gap - side.row.far)
    if not side.flat:
        whole *= (side.gap + side.row.far) / 2
    expected["air"] = whole - expected.pop("all")
    found: Counter[str] = Counter()
    _, weights = quadrature(mesh, np.arange(len(mesh.triangles)))
    sizes = np.bincount(mesh.region, weights.sum(axis=1), minlength=len(mesh.labels))
    for label, size in zip(mesh.labels, sizes, strict=True):
        found[label.material] += float(size)
        if label.material == "coil":
            found[str(label)] = float(size)
    return found.keys() == expected.keys() and all(
        abs(found[name] - expected[name]) <= within * whole for name in expected
    )


def curves_met(mesh: Mesh, side: Side, middles: bool = True) -> bool:
    """Whether every node between two regions, on the gap and on the far end lies on the outline's own curve, to a
    millionth of a millimetre. middles: of edges, too (the mesher leaves one straight where curving would fold it)."""
    near = 1e-9
    level = mesh.points[:, 0] if side.flat else np.hypot(*mesh.points.T)
    for nodes, target in ((mesh.gap, side.gap), (mesh.far, side.row.far)):
        if not side.row.far_fixed and target == side.row.far:
            continue
        if np.abs(level[nodes] - target).max() > near:
            return False
    between = _between_regions(mesh)
    between = between if middles else np.intersect1d(between, mesh.triangles[:, :3])
    away = np.full(len(between), np.inf)
    z = mesh.points[between] @ [1, 1j]
    for segment in _curves(mesh, side):
        away = np.minimum(away, _distance(z, segment))
    return bool((away <= near).all())


def _between_regions(mesh: Mesh) -> NDArray[np.int64]:
    """Nodes of edges whose two triangles are of different materials or coils."""
    edges = np.concatenate([mesh.triangles[:, [*pair, 3 + k]] for k, pair in enumerate(EDGES)])
    owner = np.tile(mesh.region, 3)
    edges[:, :2].sort(axis=1)
    order = np.lexsort(edges[:, :2].T)
    edges, owner = edges[order], owner[order]
    same = (edges[1:, :2] == edges[:-1, :2]).all(axis=1) & (owner[1:] != owner[:-1])
    return np.unique(edges[1:][same])


def _curves(mesh: Mesh, side: Side) -> list[Segment]:
    """Every line and arc of the sector's regions."""
    copies = side.row.poles // mesh.sectors // side.unit_poles
    curves: list[Segment] = []
    for copy in range(copies):
        along = copy * side.unit_poles * side.pitch
        for region in side.regions:
            for ring in (region.ring, *region.holes):
                if side.flat:
                    curves += moved(ring, shift=1j * along)
                else:
                    curves += moved(ring, turn=complex(math.cos(along), math.sin(along)))
    return curves


def _distance(z: NDArray[np.complex128], segment: Segment) -> Floats:
    if isinstance(segment, Arc):
        start, sweep = segment.start - segment.centre, segment.sweep
        turn = np.angle((z - segment.centre) / start)
        turn = np.where(sweep > 0, turn % (2 * math.pi), -((-turn) % (2 * math.pi)))
        past = np.abs(turn) > abs(sweep)
        ends = np.minimum(np.abs(z - segment.start), np.abs(z - segment.end))
        round_: Floats = np.abs(np.abs(z - segment.centre) - segment.radius)
        return np.where(past, ends, round_)
    along = segment.end - segment.start
    share = np.clip(((z - segment.start) / along).real, 0.0, 1.0)
    straight: Floats = np.abs(z - segment.start - share * along)
    return straight


def ends_match(mesh: Mesh) -> bool:
    """Whether the nodes of the high end are those of the low end, turned (flat: shifted) by the span."""
    low, high = mesh.points[mesh.low] @ [1, 1j], mesh.points[mesh.high] @ [1, 1j]
    if len(low) != len(high):
        return False
    turn = complex(math.cos(mesh.span), math.sin(mesh.span))
    image = low + 1j * mesh.span if mesh.flat else low * turn
    return bool(np.abs(image - high).max() <= 1e-10 * np.abs(mesh.points).max())


def closed(mesh: Mesh, side: Side) -> bool:
    """Whether every edge has two triangles, but those on the gap, the far end and the two ends of the sector."""
    edges = np.concatenate([mesh.triangles[:, pair] for pair in EDGES])
    edges.sort(axis=1)
    unique, count = np.unique(edges, axis=0, return_counts=True)
    outside = unique[count == 1]
    level = mesh.points[:, 0] if side.flat else np.hypot(*mesh.points.T)
    far = np.flatnonzero(np.abs(level - side.row.far) < 1e-9)  # `mesh.far` is empty where A is free there
    sets = [np.isin(outside, nodes).all(axis=1) for nodes in (mesh.gap, far, mesh.low, mesh.high)]
    return bool((count <= 2).all() and np.any(sets, axis=0).all())


def mirrored(mesh: Mesh) -> bool:
    """Whether the mesh of one pole is its own mirror image in the x axis, to the last bit."""
    points = {(x, y) for x, y in mesh.points.tolist()}
    return points == {(x, -y) for x, y in points}
