"""Sums of a few fields at one angle, and the one of least energy among them: Ritz's method.

Where fields at some currents are known, and how they answer small changes of these, the field at currents between is
close to a sum of them, and the sum's energy is off by the square of what it misses. It is found among a few dozen
unknowns; one solution with a factor at hand then tells most of what no sum can. (W. Ritz, J. reine angew. Math. 135
(1909) 1-61; of fields with their derivatives along a path of loads: A. K. Noor, J. M. Peters, AIAA J. 18 (1980)
455-462, from memory.)
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from polefem.materials import Steel
from polefem.solve.factor import Factor
from polefem.solve.newton import searched
from polefem.solve.system import Coupled, magnetised

__all__ = ["Span", "Sum"]

Floats = NDArray[np.float64]

#: Of the singular values of the fields, each of size one, over the largest: below it fields count as alike.
ALIKE = 1e-4
#: Energy norm of the error over that of the sum below which the next step is the last; and steps before giving up.
TRUSTED, MOST = 0.02, 20


@dataclass(frozen=True, eq=False)
class Sum:
    """A sum of fields, per length of the sector.

    shares: of each field of the span's orthonormal set, shape (k,). answers: how these answer small loads, shape
    (n_loads, k). coenergy: J/m. unknowns: shape (size,), Wb/m, with what the factor finds missing of the sum. missing:
    how much that is, by the factor's energy norm over the sum's: more than is missing where the factor is of iron that
    is less saturated.
    """

    shares: Floats
    answers: Floats
    coenergy: float
    unknowns: Floats
    missing: float


@dataclass(frozen=True, eq=False)
class _State:
    """At some shares: energy, J/m, its gradient, shape (k,), and its second derivative, (k, k)."""

    energy: float
    gradient: Floats
    bend: Floats


class _Iron:
    """The iron of one side, where unknowns are shares. curl: from these to all Bx and then all By, T, (2 n, k)."""

    def __init__(self, steel: Steel, weights: Floats, curl: Floats) -> None:
        self.steel, self.weights, self.curl = steel, weights, curl
        self._x, self._y = np.split(curl.astype(np.float32), 2)

    def state(self, shares: Floats) -> tuple[float, Floats, Floats]:
        """Energy, its gradient and its second derivative, shape (k, k), that in single precision: it only leads."""
        energy, h, tangent = magnetised(self.steel, self.weights, self.curl @ shares)
        xx, xy, yy = tangent.astype(np.float32).reshape(3, -1, 1)
        # Of each point's tangent the triangular root, so that one product of rows with themselves gives the sum.
        root = np.sqrt(xx)
        across = xy / root
        rest = np.sqrt(np.maximum(yy - across * across, 0.0))
        rows = np.concatenate([root * self._x + across * self._y, rest * self._y])
        return energy, h @ self.curl, (rows.T @ rows).astype(np.float64)


class Span:
    """All sums of some fields at one angle, each of shape (size,) and at least one of them not 0."""

    def __init__(self, coupled: Coupled, fields: Sequence[Floats]) -> None:
        self.coupled = coupled
        given = np.array([field / np.linalg.norm(field) for field in fields if field.any()])
        sizes, mixed = np.linalg.eigh(given @ given.T)
        kept = sizes > ALIKE**2 * sizes[-1]
        self.fields: Floats = (mixed[:, kept] / np.sqrt(sizes[kept])).T @ given
        system = coupled.system
        linear = system.constant @ self.fields.T + coupled.coupling @ self.fields.T
        self._linear: Floats = self.fields @ linear
        self._irons = [_Iron(iron.steel, iron.weights, iron.curl @ self.fields.T) for iron in system.irons]

    def shares(self, field: Floats) -> Floats:
        """Of the nearest sum to a field of shape (size,)."""
        found: Floats = self.fields @ field
        return found

    def closest(self, load: Floats, start: Floats, rights: Floats, factor: Factor) -> Sum:
        """The sum of least energy less load, by Newton's method from the shares `start`.

        load: of shape (size,). rights: small loads whose answers are asked for, shape (n_loads, size). factor: of the
        same angle, and of iron no less saturated anywhere: of softer iron it would find too much missing.
        """
        pull, shares = self.fields @ load, start
        state = self._state(shares)
        for _ in range(MOST):
            step: Floats = np.asarray(np.linalg.solve(state.bend, pull - state.gradient), np.float64)
            decrement = float((pull - state.gradient) @ step)
            size = max(float(pull @ shares), 2.0 * state.energy)
            if decrement <= TRUSTED**2 * size:
                break
            shares, state, moved = searched(self._state, pull, shares, state, step, decrement)
            if not moved:
                break
        answers: Floats = np.asarray(np.linalg.solve(state.bend, self.fields @ rights.T).T, np.float64)
        coenergy = float(pull @ shares) - state.energy + 0.5 * decrement
        shares = shares + step
        unknowns = shares @ self.fields
        residual = load - self.coupled.state(unknowns).gradient
        ready = factor.solve(residual)
        missing = math.sqrt(max(float(residual @ ready), 0.0) / size) if size > 0.0 else 0.0
        return Sum(shares, answers, coenergy, unknowns + ready, missing)

    def _state(self, shares: Floats) -> _State:
        gradient: Floats = self._linear @ shares
        energy, bend = 0.5 * float(shares @ gradient), self._linear.copy()
        for iron in self._irons:
            part, slope, bent = iron.state(shares)
            energy, gradient, bend = energy + part, gradient + slope, bend + bent
        return _State(energy, gradient, bend)
