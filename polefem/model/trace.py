"""The circle where a side's mesh meets the gap."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.mesh import Mesh
from polefem.model.constraints import Tie

__all__ = ["Trace", "trace_of"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Trace:
    """Where a side's mesh meets the gap.

    angles: ndarray, shape (2 n_edges + 1,), rad: corner, middle, corner, ... nodes, increasing; middles lie midway.
    unknowns: ndarray, shape (2 n_edges + 1,): number of each node's unknown among the trace's own unknowns.
    signs: ndarray, shape (2 n_edges + 1,): value at the node over value of the unknown: 1 or -1.
    radius: m along the motion per rad (flat); 1 for a round section.
    """

    angles: Floats
    unknowns: Ints
    signs: Floats
    radius: float = 1.0

    @property
    def size(self) -> int:
        """Number of unknowns on the trace."""
        return int(self.unknowns.max()) + 1


def trace_of(mesh: Mesh, tie: Tie, radius: float) -> tuple[Trace, Ints]:
    """The trace of a side, and which of the side's unknowns its own unknowns are, shape (trace.size,).

    radius: of the cylinder that a flat section was cut by, m (1 for a round one).
    """
    at = mesh.points[mesh.gap]
    angles = at[:, 1] / radius if mesh.flat else np.unwrap(np.arctan2(at[:, 1], at[:, 0]))
    chosen, own = np.unique(tie.index[mesh.gap], return_inverse=True)
    return Trace(angles, own.astype(np.int64), tie.signs[mesh.gap], radius), chosen
