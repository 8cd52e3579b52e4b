"""Where to look next: points of the unit cube that promise most, by a Gaussian process through what is known."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import scipy
from numpy.typing import NDArray

from polefem.study.surrogate import Surrogate, fit

__all__ = ["promising"]

Array = NDArray[np.float64]
_HALF = 2048
_TRIED = 500  # proposals whose outline is looked at before the first is taken as it is


def promising(
    x: Array, costs: Array, count: int, can_be_built: Callable[[Array], bool], random: np.random.Generator
) -> Array:
    """Points to compute next, shape (count, d), each as if those before it had come out as expected.

    x: shape (n, d), where the costs are known. costs: shape (n, 1 + n_limits): the objective, to be brought down, and
    how far each limit is overstepped (0 or below: kept). can_be_built: whether a point is worth computing at all.
    """
    taken: list[Array] = []
    for _ in range(count):
        kept = np.array((costs[:, 1:] <= 0.0).all(axis=1))
        oversteps = np.maximum(costs[:, 1:], 0.0).sum(axis=1)
        best = x[kept][costs[kept, 0].argmin()] if kept.any() else x[oversteps.argmin()]
        proposals = _about(best, random)
        models = [fit(x, column) for column in costs.T]
        order = np.argsort(-_worth(models, costs[kept, 0], proposals))
        at = next((int(k) for k in order[:_TRIED] if can_be_built(proposals[k])), int(order[0]))
        taken.append(proposals[at])
        expected = [float(model.at(proposals[at][None])[0][0]) for model in models]
        x, costs = np.vstack([x, proposals[at]]), np.vstack([costs, expected])
    return np.array(taken)


def _about(best: Array, random: np.random.Generator) -> Array:
    """Points all over the cube, and as many about the best, near and nearer."""
    spread = random.random((_HALF, best.size))
    reach = np.exp(random.uniform(np.log(0.005), np.log(0.3), (_HALF, 1)))
    near = np.clip(best + reach * random.standard_normal((_HALF, best.size)), 0.0, 1.0)
    return np.vstack([spread, near])


def _worth(models: Sequence[Surrogate], objectives: Array, proposals: Array) -> Array:
    """Expected improvement over the best of `objectives` (those that keep the limits) times the chance to keep the
    limits; where none keeps them yet, the chance alone."""
    objective, *limits = models
    chance = np.ones(len(proposals))
    for model in limits:
        mean, deviation = model.at(proposals)
        chance *= scipy.special.ndtr(-mean / deviation)
    if objectives.size == 0:
        return chance
    mean, deviation = objective.at(proposals)
    better = objectives.min() - mean
    z = better / deviation
    density = np.exp(-0.5 * z**2) / np.sqrt(2.0 * np.pi)
    worth: Array = (better * scipy.special.ndtr(z) + deviation * density) * chance
    return worth
