"""A sparse factor, and conjugate gradients that lean on one made for a nearby state."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import qdldl
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.linalg.blas import daxpy
from scipy.sparse.linalg import splu

from polefem.model import Model
from polefem.solve.system import Coupled, laid_out

__all__ = ["Correction", "Factor", "Layout", "correction", "factored"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Entries of the gap below this part of their diagonals' geometric mean are left out of lean factors.
MINOR = 1e-6


class Layout:
    """Where the entries of a tangent matrix and of the gap's coupling go in the matrix that is factored, and in what
    order its unknowns are eliminated.

    Laid out once for an angle or for several near ones, from any tangent matrix. lean: with the gap's `MINOR` entries
    left out.
    """

    def __init__(self, near: Sequence[Coupled], bare: sp.csr_matrix, lean: bool) -> None:
        self.lean, size = lean, bare.shape[0]
        keys, sources = [], []
        for part in (bare, *(coupled.coupling for coupled in near)):
            entries = part.tocoo()
            kept = entries.col <= entries.row
            if lean:
                kept &= ~_minor(near[0].system.model, bare.diagonal(), entries)
            sources.append(np.flatnonzero(kept))
            keys.append(entries.row[kept].astype(np.int64) * size + entries.col[kept])
        # Of a symmetric matrix: rows of the lower triangle are columns of the upper.
        self._pattern, pattern = laid_out(np.concatenate(keys), size)
        places = [np.searchsorted(pattern, own) for own in keys]
        self._tangent, *couplings = zip(places, sources, strict=True)
        self._couplings = dict(zip(near, couplings, strict=True))
        self._solver: qdldl.Solver | None = None

    def serves(self, coupled: Coupled) -> bool:
        """Whether it was laid out for an angle."""
        return coupled in self._couplings

    def matrix(self, coupled: Coupled, bare: sp.csr_matrix) -> sp.csc_matrix:
        """The upper triangle of the matrix to be factored, at one of the angles."""
        laid = self._pattern
        values = np.zeros(laid.nnz)
        for data, (places, sources) in (
            (bare.data, self._tangent),
            (coupled.coupling.data, self._couplings[coupled]),
        ):
            values[places] += data[sources]
        return sp.csc_matrix((values, laid.indices, laid.indptr), shape=laid.shape)

    def solver(self, coupled: Coupled, bare: sp.csr_matrix) -> qdldl.Solver:
        """The layout's one solver, with the factors of a tangent matrix at one of the angles."""
        if self._solver is None:
            self._solver = qdldl.Solver(self.matrix(coupled, bare), upper=True)
        else:
            self._solver.update(self.matrix(coupled, bare), upper=True)
        return self._solver


def _minor(model: Model, diagonal: Floats, entries: sp.coo_matrix) -> NDArray[np.bool_]:
    """Which entries are of the gap and too small to matter to a factor that only leads the way."""
    scale, gap = np.sqrt(diagonal), np.zeros(model.size, dtype=bool)
    gap[model.rotor_at] = gap[model.stator_at] = True
    rows, columns = entries.row, entries.col
    small = np.abs(entries.data) < MINOR * scale[rows] * scale[columns]
    found: NDArray[np.bool_] = gap[rows] & gap[columns] & small
    return found


class Factor:
    """The factors of a tangent matrix with its coupling: of a triangle, a diagonal and the triangle transposed.

    They serve until the next are made from the same layout.
    """

    def __init__(self, layout: Layout, coupled: Coupled, bare: sp.csr_matrix) -> None:
        self._solver = layout.solver(coupled, bare)

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
