"""Newton's method on the discrete energy: it always descends, and it says how it ended.

The energy is strictly convex, since every B-H law is monotone; with the exact tangent and a line search on the
energy the iteration converges from any start. The linear systems are solved no better than the step deserves
(inexact Newton: R. S. Dembo, S. C. Eisenstat, T. Steihaug, SIAM J. Numer. Anal. 19 (1982) 400-408), by conjugate
gradients on a factor kept from an earlier state; a factor that no longer helps is made anew.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Protocol, TypeVar

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray

from polefem.solve.factor import Correction, Factor, Layout, correction
from polefem.solve.system import Coupled, Expansion

__all__ = ["FactorCache", "Solution", "minimise", "searched", "tangent_solutions"]

Floats = NDArray[np.float64]

#: Products that a factor made for the very state may take, unless too much was left out of it.
FEW = 5
#: How far the residual of a step taken on trust is reduced, a third of which costs a twentieth more while maps come no
#: nearer to fields; and those of small loads asked for beside, three times which doubles what pieces are off by.
LAST, ANSWER = 0.1, 3e-2


class Energetic(Protocol):
    """What has an energy."""

    @property
    def energy(self) -> float: ...


State = TypeVar("State", bound=Energetic)


@dataclass(frozen=True, eq=False)
class Solution:
    """Where Newton's method ended, per length of the sector.

    unknowns: ndarray, shape (size,), Wb/m. energy: of the field, J/m. work: flux linkage times current, J/m.
    converged, message: how it ended. history: relative energy norm of the error before each step.
    steps, products, factors: Newton steps, products of conjugate gradients, factors made. answers: how the unknowns
    answer small loads, each of shape (size,), where they were asked for.
    """

    unknowns: Floats
    energy: float
    work: float
    converged: bool
    message: str
    history: tuple[float, ...]
    steps: int
    products: int
    factors: int
    answers: tuple[Floats, ...] = ()


@dataclass
class FactorCache:
    """The factor kept between solutions, and what is asked of them.

    tolerance: energy norm of the error over that of the solution. most_steps: Newton steps before giving up.
    patience: products of conjugate gradients after which a kept factor is replaced at once. worn: products in one
    solution after which the next one begins with a factor of its own. A factor costs as much as some twenty products.
    near: error below which a solution makes one factor of its own, so that what is left takes few products. trusted:
    error from which on the next step is the last, and taken on trust: near the end, where the law's slope bends from
    piece to piece, each step leaves a fifth or less. glance: products after which a kept factor is replaced if it has
    hardly served so far; 0 for never. far: error above which a kept factor is replaced at once.
    together: angles near each other that come one after the other: factors at them are laid out together.
    factor: None where the next solution is to begin with a new one. lean: whether the gap's small entries are left out
    of factors; until one made for the very state does not lead at once. products, factors: how many so far.
    """

    tolerance: float = 1e-5
    most_steps: int = 150
    patience: int = 20
    worn: int = 10
    near: float = 0.0
    trusted: float = 0.0
    glance: int = 0
    far: float = math.inf
    together: Sequence[Coupled] = field(default=(), repr=False)
    factor: Factor | None = field(default=None, repr=False)
    lean: bool = True
    products: int = 0
    factors: int = 0
    _layout: Layout | None = field(default=None, repr=False)

    def renew(self, coupled: Coupled, bare: sp.csr_matrix) -> Factor:
        """Make the factor anew from a tangent matrix; the pattern, and so the ordering, is that of the angle and of
        those near by."""
        layout = self._layout
        if layout is None or not layout.serves(coupled) or layout.lean != self.lean:
            layout = Layout(self.together if coupled in self.together else [coupled], bare, self.lean)
        self.factor, self._layout = Factor(layout, coupled, bare), layout
        self.factors += 1
        return self.factor

    def correct(
        self,
        coupled: Coupled,
        bare: sp.csr_matrix,
        residual: Floats,
        ready: Floats,
        factor: Factor,
        reduction: float,
        fresh: bool,
    ) -> Correction:
        """The step that takes away the residual: by a factor (fresh: made for this very state) or else by a new one.

        ready: the factor's solution for the residual.
        """
        while True:
            most = FEW if fresh and self.lean else self.patience
            found = correction(coupled, bare, residual, ready, factor, reduction, most, self.glance)
            self.products += found.products
            if found.reached or (fresh and not self.lean):
                return found
            self.lean = self.lean and not fresh
            factor, fresh = self.renew(coupled, bare), True
            ready = factor.solve(residual)


def minimise(
    coupled: Coupled, load: Floats, start: Floats, cache: FactorCache, rights: Sequence[Floats] = ()
) -> Solution:
    """The unknowns of least energy less load, from `start`; never raises for want of convergence.

    rights: small loads, each of shape (size,), whose answers are asked for: solutions with the last tangent matrix.
    """
    unknowns, state = start, coupled.state(start)
    history: list[float] = []
    products, factors = cache.products, cache.factors
    message = f"no convergence in {cache.most_steps} steps"
    converged, gained, own, last = False, 0.0, False, False
    while len(history) <= cache.most_steps:
        bare: sp.csr_matrix | None = None
        factor = cache.factor
        if factor is None:
            bare = coupled.system.tangent_matrix(state)
            factor = cache.renew(coupled, bare)
        residual = load - state.gradient
        ready = factor.solve(residual)
        history.append(_relative(float(residual @ ready), load, unknowns, state))
        if history[-1] <= cache.tolerance:
            message, converged = f"converged in {len(history) - 1} steps", True
            # What the factor finds still missing is at hand: with it, torque is a digit better.
            unknowns, gained = unknowns + ready, float((state.gradient + 0.5 * residual) @ ready)
            break
        fresh = bare is not None
        if bare is None:
            bare = coupled.system.tangent_matrix(state)
        near, made = history[-1] < cache.near, cache.factors
        if not fresh and ((near and not own) or history[-1] > cache.far):
            factor, fresh = cache.renew(coupled, bare), True
            ready = factor.solve(residual)
        last = history[-1] <= cache.trusted
        reduction = LAST if last else _reduction(history[-1], cache.tolerance)
        found = cache.correct(coupled, bare, residual, ready, factor, reduction, fresh)
        own = own or (near and (fresh or cache.factors > made))
        if last:
            message, converged = f"converged in {len(history)} steps, the last on trust", True
            unknowns = unknowns + found.step
            gained = float((state.gradient + 0.5 * residual) @ found.step)
            break
        unknowns, state, moved = searched(coupled.state, load, unknowns, state, found.step, found.decrement)
        if not moved:
            message = "the line search found no lower energy: rounding"
            converged = history[-1] <= 10 * cache.tolerance
            break
    if rights and bare is None:
        bare = coupled.system.tangent_matrix(state)
    answers = () if bare is None else tuple(_answers(coupled, bare, rights, cache, ANSWER))
    products, factors = cache.products - products, cache.factors - factors
    if products > cache.worn:
        cache.factor = None
    energy, work = state.energy + gained, float(load @ unknowns)
    steps = len(history) - (not last)
    return Solution(
        unknowns, energy, work, converged, message, tuple(history), steps, products, factors, answers
    )


def tangent_solutions(
    coupled: Coupled, unknowns: Floats, rights: Sequence[Floats], cache: FactorCache, reduction: float = 1e-6
) -> list[Floats]:
    """How the unknowns of least energy answer small loads, each of shape (size,): solutions with the tangent matrix.

    The kept factor leads, as far as it serves; `reduction`: of the residual, weighed by the diagonal.
    """
    bare = coupled.system.tangent_matrix(coupled.state(unknowns))
    return _answers(coupled, bare, rights, cache, reduction)


def _answers(
    coupled: Coupled, bare: sp.csr_matrix, rights: Sequence[Floats], cache: FactorCache, reduction: float
) -> list[Floats]:
    """Solutions with a tangent matrix."""
    fresh = cache.factor is None
    found = []
    for right in rights:
        factor = cache.factor
        if factor is None:
            factor = cache.renew(coupled, bare)
        step = cache.correct(coupled, bare, right, factor.solve(right), factor, reduction, fresh).step
        fresh = fresh or cache.factor is not factor
        found.append(step)
    return found


def _relative(squared: float, load: Floats, unknowns: Floats, state: Expansion) -> float:
    """Energy norm of the error over that of the solution, as far as the factor fits; 1 where there is no field yet."""
    size = max(float(load @ unknowns), 2.0 * state.energy)
    return math.sqrt(abs(squared) / size) if size > 0.0 else float(squared > 0.0)


def _reduction(error: float, tolerance: float) -> float:
    """How far to reduce the linear residual: no further than the step after it will need."""
    return min(max(0.75 * tolerance / error, 0.025), 0.1)


def searched(
    state: Callable[[Floats], State], load: Floats, at: Floats, here: State, step: Floats, decrement: float
) -> tuple[Floats, State, bool]:
    """Where as much of a step leads as lowers the energy less load enough (Armijo's rule), the state there, and whether
    there was such a part. here: the state where the step begins, `at`."""
    value = here.energy - float(load @ at)
    rounding = 1e-12 * abs(value)
    share = 1.0
    for _ in range(30):
        trial = at + share * step
        found = state(trial)
        if found.energy - float(load @ trial) <= value - 1e-4 * share * decrement + rounding:
            return trial, found, True
        share *= 0.5
    return at, here, False
