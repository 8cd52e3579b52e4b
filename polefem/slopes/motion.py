"""One section whose meshes follow its outline: where all nodes move, and the system on the moved meshes.

The circles where both meshes meet the gap keep the ratio of their radii (flat: their distance over the radius of the
cut). So nothing in the annulus between them depends on any dimension, its coupling at every angle serves all moved
systems, and what a gap gains or loses lies in the meshes on both sides of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from polefem.errors import MeshFailed
from polefem.materials import Steel
from polefem.mesh import Mesh, least_jacobian, quality
from polefem.model import Model, build_model
from polefem.outline import Outline
from polefem.slopes.following import Lead, lead
from polefem.slopes.inside import Inside
from polefem.solve import System

__all__ = ["Faces", "Motion", "moved_system"]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

#: Nodes nearer to each other than this are mirror images, m.
TWIN = 1e-9
#: A moved triangle may not be worse shaped than this, nor lose more than this part of its quality.
WORST, LOST = 0.05, 0.7

Faces = tuple[float, float]


@dataclass(frozen=True, eq=False)
class _Side:
    lead: Lead
    inside: Inside


class Motion:
    """The meshes of a section and the outline that they follow.

    outline: what they were made of. faces: levels of the pole faces of rotor and stator, m.
    """

    def __init__(self, model: Model, outline: Outline, faces: Faces) -> None:
        self.model, self.outline, self.faces = model, outline, faces
        self._sides = []
        for mesh, side in ((model.rotor_mesh, outline.rotor), (model.stator_mesh, outline.stator)):
            led = lead(mesh, side)
            self._sides.append(_Side(led, Inside(mesh, led.nodes)))

    def moves(self, outline: Outline, faces: Faces) -> Complexes:
        """How far every node moves to an outline of other dimensions, m, complex, shape (n_nodes,): the rotor's first.

        Raises GeometryRefused where the outline does not keep its pieces.
        """
        circles = self._circles(outline, faces)
        stretch = outline.radius / self.outline.radius
        found = [
            own.inside.spread(own.lead.moves(side, circle), stretch)
            for own, side, circle in zip(self._sides, (outline.rotor, outline.stator), circles, strict=True)
        ]
        return np.concatenate(found)

    def mirrored(self, moves: Complexes) -> Complexes:
        """The same move (complex, shape (n_nodes,)) in the mirror of both sides' poles, each its own mirror image."""
        model, first = self.model, 0
        found = np.empty_like(moves)
        for mesh, side in ((model.rotor_mesh, self.outline.rotor), (model.stator_mesh, self.outline.stator)):
            z = mesh.points[:, 0] + 1j * mesh.points[:, 1]
            on = mesh.span - side.pitch  # from the mirror image of the sector to the sector
            turn = 1.0 if side.flat else np.exp(1j * on)
            image = z.conj() * turn + (1j * on if side.flat else 0.0)
            away, partner = KDTree(mesh.points).query(np.column_stack([image.real, image.imag]))
            if (np.asarray(away) > TWIN).any():
                raise MeshFailed(f"the mesh of the {side.row.name} is not its own mirror image")
            own = moves[first : first + len(z)]
            found[first : first + len(z)] = own[partner].conj() * turn
            first += len(z)
        return found

    def _circles(self, outline: Outline, faces: Faces) -> tuple[float, float]:
        """Where the meshes meet the gap: as far across it as they were, in a ring that keeps its shape."""
        rotor, stator = self.outline.rotor.gap, self.outline.stator.gap
        if not self.outline.rotor.flat:
            grown = math.sqrt(math.prod(faces) / math.prod(self.faces))
            return rotor * grown, stator * grown
        middle = (rotor + stator + sum(faces) - sum(self.faces)) / 2
        half = (stator - rotor) / 2 * outline.radius / self.outline.radius
        return middle - half, middle + half


def moved_system(
    system: System, moves: Complexes, outline: Outline, steels: tuple[Steel, Steel], shaft: Steel | None
) -> System:
    """The system on meshes whose nodes are moved (m, complex, shape (n_nodes,)) to an outline of other dimensions.

    Its unknowns are the same, node by node, and the gap is shared. Raises MeshFailed where a triangle gets poor.
    """
    model = system.model
    count = len(model.rotor_mesh.points)
    meshes = moved_mesh(model.rotor_mesh, moves[:count]), moved_mesh(model.stator_mesh, moves[count:])
    found = build_model(
        meshes,
        steels,
        model.sources,
        len(model.loads),
        outline.length,
        model.log_ratio,
        outline.radius,
        model.antiperiodic,
        shaft,
    )
    return System(found, system.gap)


def moved_mesh(mesh: Mesh, moves: Complexes) -> Mesh:
    """The mesh with every node moved (m, complex, shape (n_nodes,)); raises MeshFailed where a triangle gets poor."""
    points = mesh.points + np.column_stack([moves.real, moves.imag])
    span = mesh.span
    if mesh.flat and len(mesh.low):
        span = float(np.mean(points[mesh.high, 1] - points[mesh.low, 1]))
    moved = replace(mesh, points=points, span=span)
    now, before = quality(moved), quality(mesh)
    if (now < np.minimum(WORST, before * (1 - LOST))).any() or least_jacobian(
        points, mesh.triangles
    ).min() <= 0.0:
        raise MeshFailed(
            "a moved triangle came out too thin: the shape is too far from the one it was meshed for"
        )
    return moved
