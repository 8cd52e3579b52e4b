"""The smooth guess against closed formulas, and against scipy's own derivative-free check of its gradient."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import check_grad
from scipy.stats import qmc

from polefem.study import surrogate
from polefem.study.proposals import promising


def points(count: int, dimensions: int) -> np.ndarray:
    return qmc.Sobol(dimensions, rng=np.random.default_rng(1)).random(count)


def smooth(x: np.ndarray) -> np.ndarray:
    return np.sin(3 * x[:, 0]) + x[:, 1] ** 2


def test_it_goes_through_what_is_known_and_foretells_the_rest() -> None:
    x = points(32, 2)
    model = surrogate.fit(x, smooth(x))
    known, sure = model.at(x)
    assert known == pytest.approx(smooth(x), abs=0.01)
    assert sure.max() < 0.05
    unseen = points(256, 2)[128:]
    mean, deviation = model.at(unseen)
    assert np.abs(mean - smooth(unseen)).max() < 0.05
    assert (np.abs(mean - smooth(unseen)) < 4 * deviation + 0.01).all()
    assert model.q_squared > 0.98


def test_far_from_everything_it_falls_back_on_the_mean_and_doubts() -> None:
    x = points(16, 2) * 0.1
    y = smooth(x)
    model = surrogate.fit(x, y)
    mean, deviation = model.at(np.array([[1e3, 1e3]]))
    assert mean[0] == pytest.approx(y.mean()) and deviation[0] == pytest.approx(y.std())


def test_noise_foretells_nothing() -> None:
    x = points(64, 2)
    model = surrogate.fit(x, np.random.default_rng(5).standard_normal(64))
    assert model.q_squared < 0.3


def test_left_out_errors_are_those_of_leaving_out() -> None:
    # The closed form (Rasmussen and Williams, section 5.4.2) against fits that really leave a point out, the lengths
    # and the scale kept.
    x, y = points(16, 2), smooth(points(16, 2))
    whole = surrogate.fit(x, y)
    errors = []
    for k in range(16):
        rest = np.delete(np.arange(16), k)
        kernel = surrogate._kernel(x[rest], x[rest], whole.lengths) + whole.noise * np.eye(15)
        z = (y - whole.middle) / whole.size
        prediction = surrogate._kernel(x[k : k + 1], x[rest], whole.lengths) @ np.linalg.solve(
            kernel, z[rest]
        )
        errors.append(z[k] - float(prediction[0]))
    assert whole.q_squared == pytest.approx(1 - np.mean(np.square(errors)), abs=1e-6)


def test_the_gradient_is_that_of_the_likelihood() -> None:
    x = points(16, 3)
    z = smooth(x) - smooth(x).mean()
    at = np.array([-1.0, 0.0, 0.5, -4.0])
    value, slope = (
        (lambda p: surrogate._unlikelihood(p, x, z)[0]),
        (lambda p: surrogate._unlikelihood(p, x, z)[1]),
    )
    size = float(np.linalg.norm(slope(at)))
    assert check_grad(value, slope, at) < 1e-5 * size
    assert check_grad(value, lambda p: 1.01 * slope(p), at) > 1e-3 * size  # a wrong one is noticed


def test_a_constant_figure_is_no_trouble() -> None:
    x = points(8, 2)
    assert surrogate.fit(x, np.full(8, 3.0)).at(x)[0] == pytest.approx(3.0)


def test_a_limit_that_is_just_kept_everywhere_changes_no_proposal() -> None:
    """As where a figure is not known: it is overstepped by nothing at all."""
    x = points(16, 2)
    objective = ((x - 0.6) ** 2).sum(axis=1)

    def proposed(*limits: np.ndarray) -> np.ndarray:
        costs = np.stack([objective, *limits], axis=1)
        return promising(x, costs, 2, lambda point: True, np.random.default_rng(3))

    free = proposed()
    np.testing.assert_array_equal(proposed(np.zeros(16)), free)
    assert not np.array_equal(proposed(np.ones(16)), free)  # broken everywhere, it leaves the objective aside
