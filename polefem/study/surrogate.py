"""A smooth guess of a figure between the designs that were computed, with its uncertainty: Gaussian process regression.

Method: C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine Learning, MIT Press 2006, chapters 2, 4
(Matern 5/2 kernel, a length for each field) and 5 (marginal likelihood, leave-one-out errors in closed form).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

__all__ = ["Surrogate", "fit"]

Array = NDArray[np.float64]
_NOISE = 1e-6  # variance of the figures' numerical noise, as a share of their own: at least this
_STARTS = 3


@dataclass(frozen=True, eq=False)
class Surrogate:
    """A fitted process over the unit cube.

    x: ndarray, shape (n, d): where the figure is known. middle, size: mean and deviation of the figure there.
    lengths: ndarray, shape (d,): over which the figure changes, in the unit cube. noise: variance, as a share of the
    figure's. factor: lower Cholesky factor of the covariance. weights: covariance^-1 of the scaled figures.
    """

    x: Array
    middle: float
    size: float
    lengths: Array
    noise: float
    factor: Array
    weights: Array

    def at(self, x: Array) -> tuple[Array, Array]:
        """Expected figure and its standard deviation at points of the unit cube, shape (m, d)."""
        cross = _kernel(x, self.x, self.lengths)
        mean: Array = self.middle + self.size * (cross @ self.weights)
        reduced = scipy.linalg.solve_triangular(self.factor, cross.T, lower=True)
        variance = np.maximum(1.0 - (reduced**2).sum(axis=0), 1e-12)
        return mean, self.size * np.sqrt(variance)

    @property
    def q_squared(self) -> float:
        """The share of the figures' variance that the process predicts at a point when that point is left out
        (Q squared): 1 is all, 0 or below no more than their mean."""
        n = self.x.shape[0]
        inverse = np.diag(scipy.linalg.cho_solve((self.factor, True), np.eye(n)))
        errors = self.weights / inverse
        return float(1.0 - (errors**2).mean())


def fit(x: Array, y: Array) -> Surrogate:
    """The process of highest marginal likelihood through points x of the unit cube, shape (n, d), and figures y,
    shape (n,)."""
    middle, size = float(y.mean()), float(y.std()) or 1.0
    z = (y - middle) / size
    dimensions = x.shape[1]
    bounds = [(np.log(0.05), np.log(20.0))] * dimensions + [(np.log(_NOISE), np.log(0.5))]
    starts = [np.full(dimensions, np.log(length)) for length in (0.3, 1.0, 3.0)[:_STARTS]]
    found = [
        scipy.optimize.minimize(
            _unlikelihood, np.append(start, np.log(1e-3)), args=(x, z), jac=True, bounds=bounds
        )
        for start in starts
    ]
    best = min(found, key=lambda one: float(one.fun)).x
    lengths, noise = np.exp(best[:-1]), float(np.exp(best[-1]))
    factor = scipy.linalg.cholesky(_kernel(x, x, lengths) + noise * np.eye(len(z)), lower=True)
    return Surrogate(x, middle, size, lengths, noise, factor, scipy.linalg.cho_solve((factor, True), z))


def _scaled_squares(a: Array, b: Array, lengths: Array) -> Array:
    """Squared differences over squared lengths, shape (n_a, n_b, d)."""
    squares: Array = ((a[:, None, :] - b[None, :, :]) / lengths) ** 2
    return squares


def _kernel(a: Array, b: Array, lengths: Array) -> Array:
    r = np.sqrt(5.0 * _scaled_squares(a, b, lengths).sum(axis=-1))
    covariance: Array = (1.0 + r + r**2 / 3.0) * np.exp(-r)
    return covariance


def _unlikelihood(logs: Array, x: Array, z: Array) -> tuple[float, Array]:
    """Minus the logarithm of the marginal likelihood, and its gradient in the logarithms of lengths and noise."""
    lengths, noise = np.exp(logs[:-1]), float(np.exp(logs[-1]))
    squares = _scaled_squares(x, x, lengths)
    r = np.sqrt(5.0 * squares.sum(axis=-1))
    decay = np.exp(-r)
    kernel = (1.0 + r + r**2 / 3.0) * decay
    factor = scipy.linalg.cholesky(kernel + noise * np.eye(len(z)), lower=True)
    weights = scipy.linalg.cho_solve((factor, True), z)
    value = 0.5 * float(z @ weights) + float(np.log(np.diag(factor)).sum())
    inner = scipy.linalg.cho_solve((factor, True), np.eye(len(z))) - np.outer(weights, weights)
    # d kernel / d log length_k = 5/3 (1 + r) exp(-r) times the k-th scaled square
    slope = 5.0 / 3.0 * (1.0 + r) * decay
    gradient = [0.5 * float((inner * slope * squares[:, :, k]).sum()) for k in range(x.shape[1])]
    return value, np.array([*gradient, 0.5 * noise * float(np.trace(inner))])
