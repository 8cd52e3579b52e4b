"""How a move of the led nodes carries on into the mesh: a harmonic extension on its triangles.

The move is a complex number at each corner, tied between the sector's two ends as they are turned into one another;
small triangles are stiff (their weight is one over their area), so that fine ones near a corner keep their shape. The
middle of an edge that is not led moves as the middle between its ends does.

Nodes on the gap's circle slide along it, as a harmonic extension of how far all led ones turn leaves them free to: so a
pole's edge takes the thin layer below it along, and does not shear it until its triangles turn over.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from polefem.mesh import EDGES, Mesh
from polefem.solve import factored

__all__ = ["Along", "Inside"]

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
Ints = NDArray[np.int64]


class Inside:
    """The extension from the led nodes of a mesh to all of them, factored once."""

    def __init__(self, mesh: Mesh, led: Ints) -> None:
        self._mesh, self._led = mesh, led
        corners = int(mesh.triangles[:, :3].max()) + 1
        expand = _tied(mesh, corners, _turns(mesh, corners))
        fixed = np.zeros(corners, dtype=bool)
        fixed[led[led < corners]] = True
        unknown = np.zeros(expand.shape[1], dtype=bool)
        unknown[expand[~fixed].indices] = True
        self._free = expand[:, unknown]
        self._stiff = _stiffness(mesh, corners)
        inner = self._free.conj().T @ self._stiff @ self._free
        self._solve = factored(inner)
        self._corners, self._fixed = corners, fixed

    def spread(self, moves: Complexes, stretch: float = 1.0) -> Complexes:
        """Moves of all nodes, m, complex, shape (n_nodes,), from those of the led ones, shape (n_led,).

        stretch: what all lengths along a flat section grow by.
        """
        mesh = self._mesh
        even = 1j * (stretch - 1.0) * mesh.points[:, 1]
        found = np.zeros(len(mesh.points), dtype=complex)
        found[self._led] = moves - even[self._led]
        known = np.where(self._fixed, found[: self._corners], 0.0)
        inner = self._solve(-(self._free.conj().T @ (self._stiff @ known)))
        found[: self._corners] = np.where(self._fixed, known, self._free @ inner)
        middles = np.ones(len(found), dtype=bool)
        middles[: self._corners] = middles[self._led] = False
        for k, (i, j) in enumerate(EDGES):
            a, b, middle = mesh.triangles[:, i], mesh.triangles[:, j], mesh.triangles[:, 3 + k]
            own = middles[middle]
            found[middle[own]] = (found[a[own]] + found[b[own]]) / 2
        return np.asarray(found + even)


class Along:
    """How far nodes on the gap's circle slide, given how far the led nodes turn; factored once.

    led: numbers of those nodes, none on the circle.
    """

    def __init__(self, mesh: Mesh, led: Ints) -> None:
        corners = int(mesh.triangles[:, :3].max()) + 1
        # The centre turns by no angle, or by any.
        self._kept = np.flatnonzero((led < corners) & np.any(mesh.points[led] != 0.0, axis=1))
        fixed = led[self._kept]
        expand = _tied(mesh, corners, np.ones(corners))
        unknown = np.ones(expand.shape[1], dtype=bool)
        unknown[expand[fixed].indices] = False
        unknown &= np.diff(sp.csc_matrix(expand).indptr) > 0
        free, stiff = expand[:, unknown], _stiffness(mesh, corners)
        self._solve = factored(free.T @ stiff @ free)
        self._known = free.T @ stiff[:, fixed]
        self._free = free[mesh.gap[::2]]

    def spread(self, turns: Floats) -> Floats:
        """Slides of the corner nodes on the circle, shape (n_corners,), from turns of the led ones, shape (n_led,)."""
        found: Floats = self._free @ self._solve(-(self._known @ turns[self._kept]))
        return found


def _turns(mesh: Mesh, corners: int) -> Complexes:
    """By what the sector's high end is turned from its low end, at each corner; nought at what turns into itself."""
    turn = np.ones(corners, dtype=complex)
    low, high = mesh.low[mesh.low < corners], mesh.high[mesh.high < corners]
    if not mesh.flat:
        turn[high] = np.exp(1j * mesh.span)
        turn[np.intersect1d(low, high)] = 0.0
    return turn


def _tied(mesh: Mesh, corners: int, turn: Complexes | Floats) -> sp.csr_matrix:
    """From free moves to those of all corners: the sector's high end moves as its low end does, turned."""
    index = np.arange(corners)
    index[mesh.high[mesh.high < corners]] = mesh.low[mesh.low < corners]
    matrix = sp.csr_matrix((turn, (np.arange(corners), index)), shape=(corners, corners))
    matrix.eliminate_zeros()
    return matrix


def _stiffness(mesh: Mesh, corners: int) -> sp.csr_matrix:
    at = mesh.triangles[:, :3]
    z = mesh.points[at, 0] + 1j * mesh.points[at, 1]
    edges = np.roll(z, -1, axis=1) - np.roll(z, 1, axis=1)  # opposite each corner
    area = (edges[:, 0].conj() * edges[:, 1]).imag / 2
    local = (edges[:, :, None] * edges[:, None, :].conj()).real / (4 * area**2)[:, None, None]
    rows, columns = np.repeat(at, 3, axis=1), np.tile(at, (1, 3))
    return sp.csr_matrix((local.ravel(), (rows.ravel(), columns.ravel())), shape=(corners, corners))
