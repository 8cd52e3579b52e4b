"""Which nodes share an unknown: the sector's two ends tied together, the outer boundary held at zero."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.mesh import Mesh

__all__ = ["Tie", "tie"]


@dataclass(frozen=True, eq=False)
class Tie:
    """From unknowns to nodal values: node i has the value signs[i] * unknown[index[i]].

    index: ndarray, shape (n_nodes,); 0 where signs is 0. signs: ndarray, shape (n_nodes,): 1, -1, or 0 where A is
    held at zero. size: number of unknowns.
    """

    index: NDArray[np.int64]
    signs: NDArray[np.float64]
    size: int

    def nodal(self, unknowns: NDArray[np.float64]) -> NDArray[np.float64]:
        """Nodal values, shape (n_nodes,), of unknowns of shape (size,)."""
        return self.signs * unknowns[self.index]


def tie(mesh: Mesh, antiperiodic: bool) -> Tie:
    """Tie the high end of the sector to the low end, and hold A = 0 on the far boundary.

    Where both ends meet (the centre of a rotor) an antiperiodic field is zero.
    """
    nodes = len(mesh.points)
    partner = np.arange(nodes)
    signs = np.ones(nodes)
    partner[mesh.high] = mesh.low
    signs[mesh.high] = -1.0 if antiperiodic else 1.0
    if antiperiodic:
        signs[np.intersect1d(mesh.low, mesh.high)] = 0.0
    signs[mesh.far] = 0.0
    free = (partner == np.arange(nodes)) & (signs != 0.0)
    number = np.cumsum(free) - 1
    index = np.where(signs != 0.0, number[partner], 0)
    return Tie(index, signs, int(free.sum()))
