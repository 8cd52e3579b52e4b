"""One side of the gap moved off the axis: its nodes shift as one, and the air of its strip gives way.

The circle where its mesh ends stays where it is, so the gap's closed form holds as it is and its coupling turns the
rotor as ever. What moves is all that is not air of the strip; in the strip the shift fades to nothing at the circle, in
proportion to the way left to it. The strip is made wide for it beforehand, at the other side's cost.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from polefem.errors import MeshFailed
from polefem.mesh import Mesh, least_jacobian, quality
from polefem.outline import Label, Member, Outline

__all__ = ["moved_mesh", "with_wide_strip"]

Complexes = NDArray[np.complex128]

#: By these parts of the unmeshed gap the moving side's circle goes towards the other side, and the other side's towards
#: its own faces: of a gap of 1 they leave a strip of 0.62, a ring of 0.17 and a strip of 0.21.
AHEAD, BACK = 0.74, 0.08
#: No moved triangle may be worse shaped than this (`mesh.quality`): at 0.4 of the gap those of rough meshes, long in a
#: narrow gap already, come down to 0.01, and none is near to folding.
WORST = 0.005


def with_wide_strip(outline: Outline, moving: Member) -> Outline:
    """The outline with room for a side to move in: both circles of the gap set towards the other side's faces."""
    way = outline.stator.gap - outline.rotor.gap
    rotor, stator = (AHEAD, BACK) if moving == "rotor" else (-BACK, -AHEAD)
    return replace(
        outline,
        rotor=replace(outline.rotor, gap=outline.rotor.gap + rotor * way),
        stator=replace(outline.stator, gap=outline.stator.gap + stator * way),
    )


def moved_mesh(mesh: Mesh, shift: Complexes) -> Mesh:
    """The mesh of a whole turn with each node shifted (m, complex, shape (n_nodes,)) by as much as its place allows.

    Raises MeshFailed where a triangle comes out too thin or folded.
    """
    level = mesh.points[:, 0] if mesh.flat else np.hypot(*mesh.points.T)
    air = mesh.labels.index(Label("air"))
    solid = np.unique(mesh.triangles[mesh.region != air])
    circle = float(level[mesh.gap].mean())
    out = 1.0 if circle > level[solid].mean() else -1.0
    strip = float(np.abs(circle - level[solid]).min())
    part = np.clip(out * (circle - level) / strip, 0.0, 1.0)
    part[mesh.gap] = 0.0
    moves = part * shift
    points = mesh.points + np.column_stack([moves.real, moves.imag])
    found = replace(mesh, points=points)
    if quality(found).min() < WORST or least_jacobian(points, mesh.triangles).min() <= 0.0:
        raise MeshFailed("a triangle of the gap came out too thin: the rotor is too far off its axis")
    return found
