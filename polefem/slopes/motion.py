"""One section whose meshes follow its outline: where all nodes move, and the system on the moved meshes.

The circles where both meshes meet the gap keep the ratio of their radii (flat: their distance over the radius of the
cut). So nothing in the annulus between them depends on any dimension but the places of the nodes along both circles,
and what a gap gains or loses lies in the meshes on both sides of it.
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
from polefem.outline import Outline, Side
from polefem.slopes.following import Lead, lead
from polefem.slopes.inside import Along, Inside
from polefem.solve import System

__all__ = ["Faces", "Motion", "Way", "moved_system"]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]

#: Nodes nearer to each other than this are mirror images, m.
TWIN = 1e-9
#: A moved triangle may not be worse shaped than this, nor lose more than this part of its quality.
WORST, LOST = 0.05, 0.7

Faces = tuple[float, float]


@dataclass(frozen=True, eq=False)
class Way:
    """How far nodes go, or how fast.

    nodes: complex, shape (n_nodes,), m. slides: ndarray, shape (n_corners,), rad: of the corner nodes on both gap
    circles along them. Of both the rotor's come first.
    """

    nodes: Complexes
    slides: Floats


@dataclass(frozen=True, eq=False)
class _Follower:
    lead: Lead
    inside: Inside
    along: Along

    @classmethod
    def of(cls, mesh: Mesh, side: Side) -> _Follower:
        led = lead(mesh, side)
        return cls(led, Inside(mesh, led.nodes), Along(mesh, led.off_gap))

    def way(self, side: Side, circle: float, radius: float, stretch: float) -> Way:
        moves = self.lead.moves(side, circle)
        slides = self.along.spread(self.lead.turns(moves, radius, stretch))
        return Way(self.inside.spread(self.lead.slid(moves, slides, radius), stretch), slides)


class Motion:
    """The meshes of a section and the outline that they follow.

    outline: what they were made of. faces: levels of the pole faces of rotor and stator, m.
    """

    def __init__(self, model: Model, outline: Outline, faces: Faces) -> None:
        self.model, self.outline, self.faces = model, outline, faces
        self._sides = (
            _Follower.of(model.rotor_mesh, outline.rotor),
            _Follower.of(model.stator_mesh, outline.stator),
        )

    def way(self, outline: Outline, faces: Faces) -> Way:
        """How far every node goes to an outline of other dimensions.

        Raises GeometryRefused where the outline does not keep its pieces.
        """
        circles, radius = self._circles(outline, faces), outline.radius
        sides = zip(self._sides, (outline.rotor, outline.stator), circles, strict=True)
        ways = [own.way(side, circle, radius, radius / self.outline.radius) for own, side, circle in sides]
        return Way(np.concatenate([w.nodes for w in ways]), np.concatenate([w.slides for w in ways]))

    def mirrored(self, way: Way) -> Way:
        """The same way in the mirror of both sides' poles, each its own mirror image."""
        model, first, moves = self.model, 0, way.nodes
        found = np.empty_like(moves)
        corners = len(model.rotor_mesh.gap) // 2 + 1
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
        slides = [-part[::-1] for part in (way.slides[:corners], way.slides[corners:])]
        return Way(found, np.concatenate(slides))

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

    Its unknowns are the same, node by node. Raises MeshFailed where a triangle gets poor.
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
    return System(found, system.gap.slid(found.rotor_trace, found.stator_trace))


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
