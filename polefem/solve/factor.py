"""A sparse factor, and conjugate gradients that lean on one made for a nearby state."""

from __future__ import annotations

from collections.abc import Callable
from copy import copy
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.linalg.blas import daxpy
from scipy.sparse.linalg import SuperLU, splu

from polefem.solve.system import Coupled

__all__ = ["Correction", "Factor", "Layout", "correction", "factored"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Entries of the gap below this part of their diagonals' geometric mean are left out of single factors.
MINOR = 1e-6


class Layout:
    """Where the entries of a tangent matrix and of the gap's coupling go in the matrix that is factored.

    Laid out once for an angle, from any tangent matrix of that angle.

    single: for factors in single precision, which take three quarters of the time; with the gap's `MINOR` entries left
    out, since they would not be told from rounding. order: ndarray, shape (size,): which unknown is eliminated first,
    second ...; None leaves the finding of one to SuperLU.
    """

    def __init__(self, coupled: Coupled, bare: sp.csr_matrix, single: bool) -> None:
        self.coupled, self.single = coupled, single
        self.order: Ints | None = None
        tangent, coupling = bare.tocoo(), coupled.coupling.tocoo()
        rows, columns = (
            np.concatenate([tangent.row, coupling.row]),
            np.concatenate([tangent.col, coupling.col]),
        )
        kept = np.arange(len(rows))
        if single:
            values = np.concatenate([tangent.data, coupling.data])
            kept = np.flatnonzero(~_minor(coupled, bare.diagonal(), rows, columns, values))
        # Each entry holds where its value will come from.
        self._sources = sp.csr_matrix((kept, (rows[kept], columns[kept])), shape=bare.shape)

    @property
    def kind(self) -> type[np.floating[Any]]:
        """The type of the factor's numbers."""
        return np.float32 if self.single else np.float64

    def ordered(self, order: Ints) -> Layout:
        """The same in an order of elimination."""
        changed = copy(self)
        changed.order = order
        changed._sources = self._sources[order][:, order]
        changed._sources.sort_indices()
        return changed

    def matrix(self, bare: sp.csr_matrix) -> sp.csc_matrix:
        """The matrix to be factored, for a tangent matrix of the angle."""
        values = np.concatenate([bare.data, self.coupled.coupling.data]).astype(self.kind)
        laid = self._sources  # symmetric: its rows serve as columns
        return sp.csc_matrix((values[laid.data], laid.indices, laid.indptr), shape=laid.shape)


def _minor(
    coupled: Coupled, diagonal: Floats, rows: Ints, columns: Ints, values: Floats
) -> NDArray[np.bool_]:
    """Which entries are of the gap and too small to matter to a factor that only leads the way."""
    model, scale = coupled.system.model, np.sqrt(diagonal)
    gap = np.zeros(len(scale), dtype=bool)
    gap[model.rotor_at] = gap[model.stator_at] = True
    small = np.abs(values) < MINOR * scale[rows] * scale[columns]
    found: NDArray[np.bool_] = gap[rows] & gap[columns] & small
    return found


class Factor:
    """LU factors of a tangent matrix with its coupling, in a symmetric ordering and without pivoting."""

    def __init__(self, layout: Layout, bare: sp.csr_matrix) -> None:
        self._layout = layout
        self._lu: SuperLU = splu(
            layout.matrix(bare),
            permc_spec="MMD_AT_PLUS_A" if layout.order is None else "NATURAL",
            diag_pivot_thresh=0.0,
            # Supernodes of so sparse a factor are narrow: wider panels and relaxed ones cost twice the time.
            relax=1,
            panel_size=1,
            options={"SymmetricMode": True},
        )

    @property
    def order(self) -> Ints:
        """The order of elimination, to be kept for the next factor: finding it takes a quarter of the time."""
        order = self._layout.order
        return np.argsort(self._lu.perm_c) if order is None else order

    def solve(self, right: Floats) -> Floats:
        """Solution of the factored system for a right-hand side of shape (size,)."""
        order = slice(None) if self._layout.order is None else self._layout.order
        solution = np.empty_like(right)
        solution[order] = self._lu.solve(right[order].astype(self._layout.kind))
        return solution


def factored(matrix: sp.spmatrix) -> Callable[[NDArray[Any]], NDArray[Any]]:
    """The solver of a symmetric or Hermitian positive definite matrix, real or complex, factored once."""
    lu = splu(sp.csc_matrix(matrix), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
    return lu.solve


@dataclass(frozen=True, eq=False)
class Correction:
    """A step from conjugate gradients: the step, its squared energy norm, and how many products it took."""

    step: Floats
    decrement: float
    products: int
    reached: bool


def correction(
    coupled: Coupled,
    bare: sp.csr_matrix,
    residual: Floats,
    ready: Floats,
    factor: Factor,
    reduction: float,
    most: int,
    glance: int = 0,
) -> Correction:
    """Solve (bare + coupling) step = residual by conjugate gradients preconditioned with `factor`.

    ready: the factor's solution for `residual`, which the caller has. Stops once the residual, weighed by the
    diagonal, has fallen by `reduction`, after `most` products, or after a `glance` of them (0: none) that went less
    than a quarter of the way, in logarithms. (By the factor it would be weighed better, at the price of one more
    solution.) Method: M. R. Hestenes, E. Stiefel, J. Res. Natl. Bur. Stand. 49 (1952) 409-436.
    """
    gradient, residual = residual, residual.copy()
    weights = 1.0 / bare.diagonal()
    step = np.zeros_like(residual)
    direction = ready
    rho = float(residual @ ready)
    begun = float(residual @ (weights * residual))
    goal = reduction**2 * begun
    products, reached = 0, False
    while rho > 0.0:
        image = coupled.curved(bare, direction)
        products += 1
        length = rho / float(direction @ image)
        daxpy(direction, step, a=length)  # in place: step += length * direction
        daxpy(image, residual, a=-length)
        left = float(residual @ (weights * residual))
        reached = left <= goal
        if reached or products == most or (products == glance and left > begun * reduction**0.5):
            break
        ready = factor.solve(residual)
        last, rho = rho, float(residual @ ready)
        direction = daxpy(direction, ready, a=rho / last)
    return Correction(step, float(gradient @ step), products, reached)
