"""A sparse factor, and conjugate gradients that lean on one made for a nearby state."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import qdldl
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.linalg.blas import daxpy
from scipy.sparse.linalg import splu

from polefem.solve.system import Coupled

__all__ = ["Correction", "Factor", "Layout", "correction", "factored"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Entries of the gap below this part of their diagonals' geometric mean are left out of lean factors.
MINOR = 1e-6


class Layout:
    """Where the entries of a tangent matrix and of the gap's coupling go in the matrix that is factored, and in what
    order its unknowns are eliminated.

    Laid out once for an angle, from any tangent matrix of that angle. lean: with the gap's `MINOR` entries left out.
    """

    def __init__(self, coupled: Coupled, bare: sp.csr_matrix, lean: bool) -> None:
        self.coupled, self.lean = coupled, lean
        tangent, coupling = bare.tocoo(), coupled.coupling.tocoo()
        rows, columns = (
            np.concatenate([tangent.row, coupling.row]),
            np.concatenate([tangent.col, coupling.col]),
        )
        kept = columns <= rows
        if lean:
            values = np.concatenate([tangent.data, coupling.data])
            kept &= ~_minor(coupled, bare.diagonal(), rows, columns, values)
        places = np.flatnonzero(kept)
        # Each entry on and below the diagonal holds where its value will come from.
        self._sources = sp.csr_matrix((places, (rows[places], columns[places])), shape=bare.shape)
        self._solver: qdldl.Solver | None = None

    def matrix(self, bare: sp.csr_matrix) -> sp.csc_matrix:
        """The upper triangle of the matrix to be factored, for a tangent matrix of the angle."""
        values = np.concatenate([bare.data, self.coupled.coupling.data])
        laid = self._sources  # of a symmetric matrix: rows of the lower triangle are columns of the upper
        return sp.csc_matrix((values[laid.data], laid.indices, laid.indptr), shape=laid.shape)

    def solver(self, bare: sp.csr_matrix) -> qdldl.Solver:
        """The layout's one solver, with the factors of a tangent matrix of the angle."""
        if self._solver is None:
            self._solver = qdldl.Solver(self.matrix(bare), upper=True)
        else:
            self._solver.update(self.matrix(bare), upper=True)
        return self._solver


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
    """The factors of a tangent matrix with its coupling: of a triangle, a diagonal and the triangle transposed.

    They serve until the next are made from the same layout.
    """

    def __init__(self, layout: Layout, bare: sp.csr_matrix) -> None:
        self._solver = layout.solver(bare)

    def solve(self, right: Floats) -> Floats:
        """Solution of the factored system for a right-hand side of shape (size,)."""
        found: Floats = self._solver.solve(right)
        return found


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
