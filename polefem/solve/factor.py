"""A sparse factor, and conjugate gradients that lean on one made for a nearby state."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.linalg.blas import daxpy
from scipy.sparse.linalg import SuperLU, splu

from polefem.solve.system import Coupled

__all__ = ["Correction", "Factor", "correction"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Factor:
    """LU factors of a symmetric positive definite matrix, in its symmetric ordering and without pivoting.

    order: ndarray, shape (size,): which unknown is eliminated first, second ...; to be handed to the next factor of a
    matrix of the same pattern, since finding it takes a quarter of the time.
    """

    def __init__(self, matrix: sp.csr_matrix, order: Ints | None = None) -> None:
        self._given = order
        if order is not None:
            matrix = matrix[order][:, order]
        # Symmetric, so its rows can be handed over as columns.
        columns = sp.csc_matrix((matrix.data, matrix.indices, matrix.indptr), shape=matrix.shape)
        self._lu: SuperLU = splu(
            columns,
            permc_spec="MMD_AT_PLUS_A" if order is None else "NATURAL",
            diag_pivot_thresh=0.0,
            # Supernodes of so sparse a factor are narrow: wider panels and relaxed ones cost twice the time.
            relax=1,
            panel_size=1,
            options={"SymmetricMode": True},
        )
        self.order: Ints = np.argsort(self._lu.perm_c) if order is None else order

    def solve(self, right: Floats) -> Floats:
        """Solution of the factored system for a right-hand side of shape (size,) or (size, k)."""
        if self._given is None:
            solution: Floats = self._lu.solve(right)
            return solution
        solution = np.empty_like(right)
        solution[self._given] = self._lu.solve(right[self._given])
        return solution


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
) -> Correction:
    """Solve (bare + coupling) step = residual by conjugate gradients preconditioned with `factor`.

    ready: the factor's solution for `residual`, which the caller has. Stops once the preconditioned residual has
    fallen by `reduction`, or after `most` products. Method: M. R. Hestenes, E. Stiefel, J. Res. Natl. Bur. Stand. 49
    (1952) 409-436.
    """
    gradient, residual = residual, residual.copy()
    step = np.zeros_like(residual)
    direction = ready
    rho = first = float(residual @ ready)
    products = 0
    while rho > reduction**2 * first:
        image = bare @ direction + coupled.apply(direction)
        products += 1
        length = rho / float(direction @ image)
        daxpy(direction, step, a=length)  # in place: step += length * direction
        daxpy(image, residual, a=-length)
        if products == most:
            break
        ready = factor.solve(residual)
        last, rho = rho, float(residual @ ready)
        direction = daxpy(direction, ready, a=rho / last)
    return Correction(step, float(gradient @ step), products, rho <= reduction**2 * first)
