"""How the discrete energy changes as the nodes of its meshes move, the unknowns held.

An element's quadrature points, shape gradients and weights move with its nodes. With g = grad A at a point, h the slope
of the energy density w over g, and V the velocity of the nodes spread by the shape functions,

    change of the energy = sum over the points of weight * (w I - g h^T) : grad V,

since g changes by -(grad V)^T g and the weight by div V. So the energy has a force on each node, and one pass over the
points serves every way in which the nodes may move. The source of a coil is its current over the area of its side:
the energy less source changes by -j (A - mean of A) div V more. (The derivative of an integral in its domain,
checked against differences.)
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.constants import mu_0

from polefem.materials import Steel
from polefem.model import AIR_ORDER, IRON_ORDER, Model, ShapeRows, Source, shape_rows

__all__ = ["Forces", "LoadedField"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Below this flux density (T) H / B is taken as the slope at zero.
STILL = 1e-12


@dataclass(frozen=True, eq=False)
class _Group:
    """Points of one kind. offset: of their mesh's nodes among all. iron: which of the model's irons; None in air.
    coil: the coil side that they fill."""

    rows: ShapeRows
    offset: int
    iron: int | None = None
    coil: Source | None = None

    def spread(self, values: Floats, nodes: int) -> sp.csr_matrix:
        """Rows over all nodes, shape (n_points, nodes), of values of shape (n_points, 6)."""
        starts = np.arange(0, values.size + 1, 6)
        at = values.ravel(), self.rows.nodes.ravel() + self.offset, starts
        return sp.csr_matrix(at, shape=(len(values), nodes))


@dataclass(frozen=True, eq=False)
class _CoilSide:
    """A coil side. at: its points among all. density: A per ampere of its phase and m2. values, mean: A at its points
    and on their average, of the unknowns."""

    at: slice
    phase: int
    density: float
    values: sp.csr_matrix
    mean: Floats

    def excess(self, unknowns: Floats) -> Floats:
        """A at the points over its mean."""
        return np.asarray(self.values @ unknowns - self.mean @ unknowns)


class Forces:
    """The points of a model's meshes, ready to turn unknowns into forces on nodes.

    nodes: how many; those of the rotor's mesh are numbered first.
    """

    def __init__(self, model: Model) -> None:
        self.model = model
        self.nodes = len(model.rotor_mesh.points) + len(model.stator_mesh.points)
        expand = _expansion(model)
        groups = list(_groups(model))
        along = [
            [g.spread(rows, self.nodes) for g in groups for rows in [getattr(g.rows, name)]] for name in AXES
        ]
        both = sp.vstack([*along[0], *along[1]], format="csr")
        self.gradient = sp.csr_matrix(both @ expand)
        self.gather = sp.csr_matrix(both.T)
        self.weights = np.concatenate([group.rows.weights for group in groups])
        ends = np.cumsum([0] + [len(group.rows.weights) for group in groups])
        self.irons: list[tuple[int, slice]] = []
        self.sources: list[_CoilSide] = []
        for group, start, end in zip(groups, ends[:-1].tolist(), ends[1:].tolist(), strict=True):
            if group.iron is not None:
                self.irons.append((group.iron, slice(start, end)))
            if group.coil is not None:
                values = sp.csr_matrix(group.spread(group.rows.values, self.nodes) @ expand)
                weights, area = group.rows.weights, float(group.rows.weights.sum())
                density, mean = group.coil.current / area, values.T @ weights / area
                self.sources.append(_CoilSide(slice(start, end), group.coil.phase, density, values, mean))

    def at(self, unknowns: Floats, phase_currents: Floats) -> LoadedField:
        """The field of unknowns, shape (size,), under currents (A), shape (n_phases,)."""
        return LoadedField(self, unknowns, phase_currents)

    def of_stress(self, even: Floats, xx: Floats, xy: Floats, yy: Floats) -> Floats:
        """Forces on the nodes, shape (nodes, 2), of a tensor at the points: even I + (xx, xy; xy, yy)."""
        w = self.weights
        first, mixed, last = w * (even + xx), w * xy, w * (even + yy)
        columns = np.stack([np.concatenate([first, mixed]), np.concatenate([mixed, last])], axis=1)
        forces: Floats = self.gather @ columns
        return forces


AXES = ("along_x", "along_y")


class LoadedField:
    """A field under currents: the forces of its energy less source on the nodes, per length of the sector.

    All forces are ndarrays of shape (nodes, 2): the derivative of that energy in each node's place, J/m2.
    """

    def __init__(self, forces: Forces, unknowns: Floats, phase_currents: Floats) -> None:
        self._forces, self._currents = forces, phase_currents
        self._g = (forces.gradient @ unknowns).reshape(2, -1)
        squared = (self._g**2).sum(axis=0)
        self._size = np.sqrt(squared)
        self._nu = np.full(len(squared), 1 / mu_0)
        self._bend = np.zeros(len(squared))
        self._energy = squared / (2 * mu_0)
        self._unknowns = unknowns
        for iron, at in forces.irons:
            size = self._size[at]
            h, slope, self._energy[at] = forces.model.irons[iron].steel.evaluate(size)
            moving = size > STILL
            self._nu[at] = np.where(moving, h / np.where(moving, size, 1.0), slope)
            bend = (slope - self._nu[at]) / np.where(moving, squared[at], 1.0)
            self._bend[at] = np.where(moving, bend, 0.0)

    def own(self) -> Floats:
        """The forces themselves."""
        x, y = self._g
        even = self._energy + self._source(self._unknowns)
        return self._forces.of_stress(even, -self._nu * x * x, -self._nu * x * y, -self._nu * y * y)

    def along(self, change: Floats) -> Floats:
        """The change of the forces with the unknowns along a direction, shape (size,)."""
        (x, y), (dx, dy) = self._g, (self._forces.gradient @ change).reshape(2, -1)
        nu, inner = self._nu, x * dx + y * dy
        bend = self._bend * inner
        return self._forces.of_stress(
            nu * inner + self._source(change),
            -(2 * nu * dx + bend * x) * x,
            -(nu * (dx * y + x * dy) + bend * x * y),
            -(2 * nu * dy + bend * y) * y,
        )

    def of_current(self, phase: int) -> Floats:
        """The change of the forces with the current of a phase, the unknowns held, per ampere."""
        even, none = np.zeros(len(self._nu)), np.zeros(len(self._nu))
        for source in self._forces.sources:
            if source.phase == phase:
                even[source.at] -= source.density * source.excess(self._unknowns)
        return self._forces.of_stress(even, none, none, none)

    def iron_energy(self, steels: Sequence[Steel]) -> float:
        """Energy of the same flux densities in other steels (in the order of the model's irons), J/m."""
        weights = self._forces.weights
        return sum(
            float(weights[at] @ steels[iron].evaluate(self._size[at])[2]) for iron, at in self._forces.irons
        )

    def iron_energy_along(self, change: Floats, steels: Sequence[Steel]) -> float:
        """Its change with the unknowns along a direction, shape (size,)."""
        (x, y), (dx, dy) = self._g, (self._forces.gradient @ change).reshape(2, -1)
        total, weights = 0.0, self._forces.weights
        for iron, at in self._forces.irons:
            size = np.maximum(self._size[at], STILL)
            h = steels[iron].evaluate(size)[0]
            total += float((weights[at] * h / size) @ (x[at] * dx[at] + y[at] * dy[at]))
        return total

    def _source(self, unknowns: Floats) -> Floats:
        even = np.zeros(len(self._nu))
        for source in self._forces.sources:
            if current := self._currents[source.phase]:
                even[source.at] -= source.density * current * source.excess(unknowns)
        return even


def _groups(model: Model) -> Iterator[_Group]:
    """All triangles of both sides, in groups of one law and one quadrature: those of `build_model`."""
    shafts = iter(range(2, len(model.irons)))
    meshes = model.rotor_mesh, model.stator_mesh
    for number, (mesh, offset) in enumerate(zip(meshes, (0, len(meshes[0].points)), strict=True)):
        iron, core = mesh.of_material("iron"), mesh.of_material("shaft")
        yield _Group(shape_rows(mesh, iron, IRON_ORDER), offset, number)
        taken = [iron, core]
        if len(model.irons) > 2 and len(core):
            yield _Group(shape_rows(mesh, core, IRON_ORDER), offset, next(shafts))
        for coil in model.sources if number else ():
            taken.append(mesh.of_region(coil.region))
            yield _Group(shape_rows(mesh, taken[-1], AIR_ORDER), offset, coil=coil)
        others = np.setdiff1d(np.arange(len(mesh.triangles)), np.concatenate(taken))
        yield _Group(shape_rows(mesh, others, AIR_ORDER), offset)


def _expansion(model: Model) -> sp.csr_matrix:
    """Matrix from the unknowns to the values at all nodes."""
    ties = model.rotor_tie, model.stator_tie
    index = np.concatenate([ties[0].index, ties[1].index + ties[0].size])
    signs = np.concatenate([tie.signs for tie in ties])
    return sp.csr_matrix((signs, (np.arange(len(index)), index)), shape=(len(index), model.size))
