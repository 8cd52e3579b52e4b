"""The discrete energy of a sector with its derivatives, on a sparsity pattern laid out once.

Every derivative is a fixed sparse matrix times values at the quadrature points: B is `curl` times the unknowns, the
gradient is `curl` transposed times the weighted H, and each entry of the iron's tangent is linear in the weighted
dH/dB. So a new state costs a few sparse products and one pass through the B-H law.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from polefem.gap import Gap
from polefem.materials import Steel
from polefem.model import Iron, Model

__all__ = ["Coupled", "Expansion", "System", "magnetised"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Below this flux density (T) H / B is taken as the slope at zero.
STILL = 1e-12


@dataclass(frozen=True, eq=False)
class Expansion:
    """The energy about one set of unknowns, to second order, per length of the sector.

    energy: J/m. gradient: ndarray, shape (size,), A. tangents: per iron, ndarray, shape (3 n_points,): weighted
    dHx/dBx, dHx/dBy and dHy/dBy.
    """

    energy: float
    gradient: Floats
    tangents: tuple[Floats, ...]


class _IronWork:
    """The iron of one side: products between unknowns and quadrature points."""

    def __init__(self, iron: Iron, size: int) -> None:
        rows = iron.rows
        points = len(rows.weights)
        self.steel: Steel = iron.steel
        self.weights = rows.weights
        at = (np.concatenate([rows.x.ravel(), rows.y.ravel()]), np.tile(rows.columns.ravel(), 2))
        starts = np.arange(0, 12 * points + 1, 6)
        self.curl = sp.csr_matrix((at[0], at[1], starts), shape=(2 * points, size))
        self.spread = sp.csr_matrix(self.curl.T)

    def state(self, unknowns: Floats) -> tuple[float, Floats, Floats]:
        """Energy, gradient and weighted tangent at some unknowns."""
        energy, h, tangent = magnetised(self.steel, self.weights, self.curl @ unknowns)
        return energy, self.spread @ h, tangent


def magnetised(steel: Steel, weights: Floats, b: Floats) -> tuple[float, Floats, Floats]:
    """Of iron at points with weights, shape (n,), at flux densities, all Bx and then all By, T, shape (2 n,): its
    energy, the weighted H in the same order, and the weighted dHx/dBx, dHx/dBy and dHy/dBy, shape (3 n,)."""
    bx, by = b.reshape(2, -1)
    squared = bx * bx + by * by
    size = np.sqrt(squared)
    h, slope, energy = steel.evaluate(size)
    moving = size > STILL
    nu = np.where(moving, h / np.where(moving, size, 1.0), slope)
    weighted = weights * nu
    bend = np.where(moving, weights * (slope - nu) / np.where(moving, squared, 1.0), 0.0)
    tangent = np.concatenate([weighted + bend * bx * bx, bend * bx * by, weighted + bend * by * by])
    return float(weights @ energy), b * np.concatenate([weighted, weighted]), tangent


class System:
    """All of the model but the turning: energy, gradient and tangent matrix with its fixed pattern."""

    def __init__(self, model: Model, gap: Gap) -> None:
        self.model = model
        self.gap = gap
        self.size = model.size
        self.constant = sp.csr_matrix(
            model.air
            + _placed(gap.rotor_self, model.rotor_at, model.rotor_at, model.size)
            + _placed(gap.stator_self, model.stator_at, model.stator_at, model.size)
        )
        self.irons = tuple(_IronWork(iron, model.size) for iron in model.irons)
        self._lay_pattern()

    def _lay_pattern(self) -> None:
        """Find where each entry of the constant part and of each iron element goes in the data of one matrix."""
        size = self.size
        constant = self.constant.tocoo()
        keys = [constant.row.astype(np.int64) * size + constant.col]
        pairs = [_upper_pairs(iron, size) for iron in self.model.irons]
        for upper, _ in pairs:
            keys += [upper, upper % size * size + upper // size]
        diagonal = np.arange(size, dtype=np.int64) * (size + 1)
        laid, pattern = laid_out(np.concatenate([*keys, diagonal]), size)
        base = np.zeros(len(pattern))
        base[np.searchsorted(pattern, keys[0])] = constant.data
        self._base, self._indices, self._starts = base, laid.indices, laid.indptr
        flipped = np.minimum(pattern, pattern % size * size + pattern // size)
        self._gathers = [values for _, values in pairs]
        self._places = []
        for upper, _ in pairs:
            taken = np.searchsorted(upper, flipped).clip(max=len(upper) - 1)
            places = np.flatnonzero(upper[taken] == flipped)
            self._places.append((places, taken[places]))

    def state(self, unknowns: Floats) -> Expansion:
        """Energy (coupling apart), gradient and tangents at unknowns of shape (size,)."""
        linear = self.constant @ unknowns
        energy, gradient = 0.5 * float(unknowns @ linear), linear
        tangents = []
        for iron in self.irons:
            part, slope, tangent = iron.state(unknowns)
            energy += part
            gradient = gradient + slope
            tangents.append(tangent)
        return Expansion(energy, gradient, tuple(tangents))

    def tangent_matrix(self, *states: Expansion) -> sp.csr_matrix:
        """Second derivative of the energy (coupling apart) at a state, or the mean of those at some, (size, size)."""
        data = self._base.copy()
        irons = zip(*(state.tangents for state in states), strict=True)
        for (places, taken), gather, tangents in zip(self._places, self._gathers, irons, strict=True):
            tangent = tangents[0] if len(states) == 1 else np.mean(tangents, axis=0)
            data[places] += (gather @ tangent)[taken]
        return sp.csr_matrix((data, self._indices, self._starts), shape=(self.size, self.size))

    def at(self, angle: float) -> Coupled:
        """The system with its rotor at an angle, rad."""
        coupling, slope = self.gap.coupling(angle)
        one = _placed(coupling, self.model.rotor_at, self.model.stator_at, self.size)
        return Coupled(self, angle, sp.csr_matrix(one + one.T), slope)


@dataclass(frozen=True, eq=False)
class Coupled:
    """A system at one rotor angle (rad). coupling: the gap's, both ways, among all unknowns, shape (size, size).
    slope: of the coupling, as `Gap.coupling` gives it."""

    system: System
    angle: float
    coupling: sp.csr_matrix
    slope: sp.csr_matrix

    def curved(self, bare: sp.csr_matrix, along: Floats) -> Floats:
        """Change of the gradient along a direction, shape (size,), by the system's tangent matrix at a state."""
        change: Floats = bare @ along + self.coupling @ along
        return change

    def state(self, unknowns: Floats) -> Expansion:
        """Energy, gradient and tangents at unknowns, the gap's coupling included."""
        bare = self.system.state(unknowns)
        across = self.coupling @ unknowns
        energy = bare.energy + 0.5 * float(unknowns @ across)
        return Expansion(energy, bare.gradient + across, bare.tangents)

    def turned(self, unknowns: Floats) -> Floats:
        """Change of the gradient with the rotor angle, the unknowns held, shape (size,), A/rad."""
        model, change = self.system.model, np.zeros(self.system.size)
        change[model.rotor_at] += self.slope @ unknowns[model.stator_at]
        change[model.stator_at] += self.slope.T @ unknowns[model.rotor_at]
        return change

    def torque(self, unknowns: Floats) -> float:
        """Torque on the rotor, N m, of the whole machine."""
        model = self.system.model
        return -model.scale * float(unknowns[model.rotor_at] @ self.slope @ unknowns[model.stator_at])


def _placed(block: sp.csr_matrix, rows: Ints, columns: Ints, size: int) -> sp.csr_matrix:
    """A block of the gap among all unknowns, shape (size, size)."""
    entries = block.tocoo()
    return sp.csr_matrix((entries.data, (rows[entries.row], columns[entries.col])), shape=(size, size))


def laid_out(keys: Ints, size: int) -> tuple[sp.csr_matrix, Ints]:
    """A matrix of shape (size, size) with an entry at each key (row times size plus column, in any order, once or more
    often), and the keys of its data."""
    laid = sp.csr_matrix((np.ones(len(keys)), (keys // size, keys % size)), shape=(size, size))
    rows = np.repeat(np.arange(size, dtype=np.int64), np.diff(laid.indptr))
    return laid, rows * size + laid.indices


def _upper_pairs(iron: Iron, size: int) -> tuple[Ints, sp.csr_matrix]:
    """Sorted keys (row * size + column) of the iron's entries on and above the diagonal, and the matrix that gives
    their values from the weighted tangents, shape (n_keys, 3 n_points)."""
    rows = iron.rows
    points = len(rows.weights)
    # Points of a triangle, one after the other.
    each = max(int(np.count_nonzero(rows.triangles == rows.triangles[:1])), 1)
    keys, values = [], []
    for i in range(6):
        for j in range(i, 6):
            first, second = rows.columns[:, i], rows.columns[:, j]
            keys.append((np.minimum(first, second) * size + np.maximum(first, second))[::each])
            cross = rows.x[:, i] * rows.y[:, j] + rows.y[:, i] * rows.x[:, j]
            both = np.stack([rows.x[:, i] * rows.x[:, j], cross, rows.y[:, i] * rows.y[:, j]])
            # Two different nodes of an element can share one unknown: their pair then counts for both orders.
            values.append(np.where((first == second) & (i != j), 2.0, 1.0) * both)
    key, value = np.concatenate(keys), np.stack(values)  # (21 n_triangles,), (21, 3, n_points)
    upper, place = np.unique(key, return_inverse=True)
    where = np.broadcast_to(np.repeat(place.reshape(21, 1, -1), each, axis=2), value.shape).ravel()
    column = np.broadcast_to(np.arange(3 * points).reshape(1, 3, points), value.shape).ravel()
    flat = value.ravel()
    kept = flat != 0.0
    shape = (len(upper), 3 * points)
    return upper, sp.csr_matrix((flat[kept], (where[kept], column[kept])), shape=shape)
