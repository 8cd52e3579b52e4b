"""A mesh that follows its outline: nodes on its curves, on the gap's circle and at the far end are led.

A node on a line or an arc keeps its place along it, as a part of its way; a node where curves end moves as that end
does. On the gap's circle no node moves along it. Which nodes lie where is found from the mesh alone: those on the
edges between triangles of different regions lie on the outline.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.errors import GeometryRefused, MeshFailed, refusal
from polefem.mesh import EDGES, Mesh
from polefem.outline import Label, Side
from polefem.shapes import CurveArrays

__all__ = ["Lead", "lead"]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Ints = NDArray[np.int64]

#: A node nearer to a curve than this lies on it, m: far above the mesher's rounding, far below the length of any edge.
ON = 1e-8
#: A node on two curves must stay on both, within this part of the farthest move.
PARTING = 1e-3
#: Rounding of a place, m.
ROUNDING = 1e-14


class _Curves(CurveArrays):
    """The curves of one unit, and where points lie along them."""

    @classmethod
    def of_side(cls, side: Side) -> _Curves:
        """All curves of a side's regions, holes too."""
        rings = [ring for region in side.regions for ring in (region.ring, *region.holes)]
        return cls.of(segment for ring in rings for segment in ring)

    def part(self, curve: Ints, z: Complexes) -> Floats:
        """How far along each named curve (a line: without ends; an arc: its circle) each point lies."""
        start, sweep, centre = self.start[curve], self.sweep[curve], self.centre[curve]
        line = sweep == 0.0
        straight = ((z - start) / np.where(line, self.end[curve] - start, 1.0)).real
        # Reckoned from the middle of the arc, so that neither end lies where the angle jumps.
        middle = np.where(line, 1.0, (start - centre) * np.exp(0.5j * sweep))
        turned = np.angle((z - centre) / middle)
        return np.where(line, straight, 0.5 + turned / np.where(line, 1.0, sweep))

    def away(self, curve: Ints, z: Complexes) -> Floats:
        """Distance of each point from each named curve, m."""
        return np.abs(z - self.point(curve, np.clip(self.part(curve, z), 0.0, 1.0)))


def _pieces(side: Side) -> list[tuple[Label, list[int]]]:
    """What an outline is made of: two of equal pieces differ in dimensions alone."""
    return [(region.label, [len(ring) for ring in (region.ring, *region.holes)]) for region in side.regions]


@dataclass(frozen=True, eq=False)
class _On:
    """Nodes on curves, arrays of shape (n,): which node, of which copy of the unit, on which curve, and at what part of
    its way; 0 and 1 are its ends."""

    node: Ints
    copy: Ints
    curve: Ints
    part: Floats

    @property
    def ends(self) -> NDArray[np.bool_]:
        at_end: NDArray[np.bool_] = (self.part == 0.0) | (self.part == 1.0)
        return at_end

    def some(self, which: Ints | NDArray[np.bool_]) -> _On:
        return _On(self.node[which], self.copy[which], self.curve[which], self.part[which])


@dataclass(frozen=True, eq=False)
class Lead:
    """Which nodes of a side's mesh are led, and by what.

    nodes: ndarray, shape (n_led,): those on curves, then on the gap's circle, then at the far end and on no curve.
    """

    mesh: Mesh
    side: Side
    nodes: Ints
    _on: _On
    _also: _On
    _leader: Ints
    _gap: Ints
    _far: Ints

    def moves(self, side: Side, gap: float) -> Complexes:
        """How far each of `nodes` moves to an outline of other dimensions, m, complex, shape (n_led,).

        Those on the gap's circle go straight from or to the middle. gap: radius (flat: x) of the circle there. Raises
        GeometryRefused where the outline has other pieces, or where curves part that touch.
        """
        if _pieces(side) != _pieces(self.side):
            raise self._refused("other pieces")
        before, after = _Curves.of_side(self.side), _Curves.of_side(side)
        stretch = side.pitch / self.side.pitch
        unit, on, also = self.side.pitch * self.side.unit_poles, self._on, self._also
        copy = 1j * unit * (stretch - 1.0) * on.copy if side.flat else 0.0
        own = after.point(on.curve, on.part) - before.point(on.curve, on.part) + copy
        if len(also.node):
            start = before.point(on.curve, on.part)[self._leader]
            shift = after.point(on.curve, on.part)[self._leader] - start
            self._refuse_parted(also, start, shift, before, after, float(np.abs(own).max()))
        turned = own if side.flat else own * np.exp(1j * unit * on.copy)
        z = self.mesh.points[:, 0] + 1j * self.mesh.points[:, 1]
        gap_move = self._level(z[self._gap], gap, self.side.gap, stretch)
        far_move = self._level(z[self._far], side.row.far, self.side.row.far, stretch)
        return np.concatenate([turned, gap_move, far_move])

    @property
    def off_gap(self) -> Ints:
        """The led nodes that do not lie on the gap's circle, shape (n_led - n_gap,)."""
        count = len(self._on.node)
        return np.concatenate([self.nodes[:count], self._far])

    def turns(self, moves: Complexes, radius: float, stretch: float) -> Floats:
        """By how much `off_gap` turn (flat: slide, over the radius of the cut there) by moves of all `nodes`, rad."""
        count = len(self._on.node)
        own, at = np.concatenate([moves[:count], moves[count + len(self._gap) :]]), self.off_gap
        z = self.mesh.points[at, 0] + 1j * self.mesh.points[at, 1]
        if self.side.flat:
            return np.asarray((own.imag - (stretch - 1.0) * z.imag) / radius)
        turned: Floats = np.angle((z + own) * z.conj())
        return turned

    def slid(self, moves: Complexes, slides: Floats, radius: float) -> Complexes:
        """The moves with corner nodes on the gap's circle slid along it by angles, rad; middles stay midway."""
        first, found = len(self._on.node), moves.copy()
        angles = np.empty(len(self._gap))
        angles[::2], angles[1::2] = slides, (slides[:-1] + slides[1:]) / 2
        at = slice(first, first + len(angles))
        z = self.mesh.points[self._gap, 0] + 1j * self.mesh.points[self._gap, 1]
        if self.side.flat:
            found[at] += 1j * radius * angles
        else:
            found[at] = (z + moves[at]) * np.exp(1j * angles) - z
        return found

    def _level(self, z: Complexes, after: float, before: float, stretch: float) -> Complexes:
        """The move of points of one level to another."""
        if self.side.flat:
            return np.asarray(after - before + 1j * (stretch - 1.0) * z.imag)
        return z * (after / before - 1.0) if len(z) else z

    def _refuse_parted(
        self, also: _On, start: Complexes, shift: Complexes, before: _Curves, after: _Curves, most: float
    ) -> None:
        ends = also.ends
        own = after.point(also.curve, also.part) - before.point(also.curve, also.part)
        beside = after.away(also.curve, start + shift) - before.away(also.curve, start)
        apart = np.where(ends, np.abs(own - shift), np.abs(beside))
        if (apart > PARTING * most + ROUNDING).any():
            raise self._refused("curves that part where they touched")

    def _refused(self, found: str) -> GeometryRefused:
        rule = "a mesh follows an outline that keeps its pieces"
        return GeometryRefused(
            refusal(rule, f"the {self.side.row.name}'s outline", found, "the same ones, moved")
        )


def lead(mesh: Mesh, side: Side) -> Lead:
    """Find the nodes of a side's mesh that its outline leads; raises MeshFailed where it is of another outline."""
    curves = _Curves.of_side(side)
    z = mesh.points[:, 0] + 1j * mesh.points[:, 1]
    outer = _outer_nodes(mesh)
    on = _found(mesh, side, curves, z, np.setdiff1d(outer, mesh.gap))
    # Ends first: a node where one curve ends upon another moves as that end does.
    on = on.some(np.lexsort((on.curve, ~on.ends, on.node)))
    nodes, first, number = np.unique(on.node, return_index=True, return_inverse=True)
    rest = np.setdiff1d(np.arange(len(on.node)), first)
    left = np.setdiff1d(outer, np.concatenate([nodes, mesh.gap]))
    level = z.real if side.flat else np.abs(z)
    far = left[np.abs(level[left] - side.row.far) < ON]
    corners = int(mesh.triangles[:, :3].max()) + 1
    if len(astray := np.setdiff1d(left, far)) and astray.min() < corners:
        raise MeshFailed(f"a node of the {side.row.name} lies on no curve of its outline")
    led = np.concatenate([nodes, mesh.gap, far])
    # Seen in the leader's copy of the unit: where two copies meet, a curve of each leads alike.
    same = rest[on.copy[rest] == on.copy[first][number[rest]]]
    return Lead(mesh, side, led, on.some(first), on.some(same), number[same], mesh.gap, far)


def _outer_nodes(mesh: Mesh) -> Ints:
    """Nodes on edges between triangles of different regions or at the mesh's end, the sector's two walls apart."""
    edges = np.concatenate([mesh.triangles[:, [i, j, 3 + k]] for k, (i, j) in enumerate(EDGES)])
    region = np.tile(mesh.region, 3)
    order = np.argsort(edges[:, 2], kind="stable")
    middle, region = edges[order, 2], region[order]
    _, first, count = np.unique(middle, return_index=True, return_counts=True)
    second = np.minimum(first + 1, len(region) - 1)
    outer = (count == 1) | (region[first] != region[second])
    found = edges[order][first[outer]]
    return np.unique(found[~np.isin(found[:, 2], [*mesh.low, *mesh.high])])


def _found(mesh: Mesh, side: Side, curves: _Curves, z: Complexes, nodes: Ints) -> _On:
    """Every node on every curve that it lies on, ends at parts of exactly 0 and 1."""
    unit = side.pitch * side.unit_poles
    every = np.arange(len(curves.start))
    found = []
    for copy in range(side.row.poles // side.unit_poles // mesh.sectors):
        seen = z[nodes] - 1j * unit * copy if side.flat else z[nodes] * np.exp(-1j * unit * copy)
        away = curves.away(every[None, :], seen[:, None])
        row, curve = np.nonzero(away < ON)
        at = seen[row]
        part = curves.part(curve, at)
        part[np.abs(at - curves.start[curve]) < ON] = 0.0
        part[np.abs(at - curves.end[curve]) < ON] = 1.0
        found.append(_On(nodes[row], np.full(len(row), copy), curve, part))
    return _On(
        *(np.concatenate([getattr(on, name) for on in found]) for name in ("node", "copy", "curve", "part"))
    )
