"""Ripple over what a workshop delivers: against draws by brute force, and where the search goes for it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from polefem.errors import InvalidValue
from polefem.study import FieldTolerance
from polefem.study.gradient import Computed, descend
from polefem.study.linear_model import Model
from polefem.study.spread import Spread, spread_of
from polefem.units import deg
from tests.study.test_gradient import search

ANGLES = np.linspace(0, 2 * np.pi, 40, endpoint=False)
SLOPES = [np.cos(ANGLES), np.cos(2 * ANGLES), np.sin(3 * ANGLES)]
SIZES = [0.02, 0.01, 0.03]
TORQUE = 1 + 0.05 * np.cos(ANGLES)


def by_brute_force(deviations: float) -> float:
    draws = np.random.default_rng(1).standard_normal((20000, 3)) * SIZES
    ripples = np.ptp(TORQUE + draws @ np.stack(SLOPES), axis=1)
    return float(ripples.mean() + deviations * ripples.std())


@pytest.mark.parametrize("deviations", [0.0, 2.0])
def test_few_draws_tell_what_many_do(deviations: float) -> None:
    spread = spread_of(SLOPES, SIZES, deviations)
    assert spread.value(TORQUE) == pytest.approx(by_brute_force(deviations), rel=0.1)
    # The twin: fields that are half as much off.
    halved = spread_of(SLOPES, [size / 2 for size in SIZES], deviations)
    assert halved.value(TORQUE) != pytest.approx(by_brute_force(deviations), rel=0.1)


def test_weights_are_the_slopes_of_the_value() -> None:
    spread = spread_of(SLOPES, SIZES, 0.2)
    ripples, weights = spread.ripples(TORQUE), spread.weights(TORQUE)
    assert (weights > 0.0).all()

    def value(at: int, change: float) -> float:
        moved = ripples.copy()
        moved[at] += change
        return float(moved.mean() + 0.2 * moved.std())

    slopes = [(value(at, 1e-6) - value(at, -1e-6)) / 2e-6 for at in range(len(ripples))]
    assert weights == pytest.approx(slopes, abs=1e-6)


def places(spread: Spread) -> list[float]:
    """Where a search goes on torques that shift and bend along one coordinate."""
    seen: list[float] = []
    steep = np.stack([0.05 * np.sin(ANGLES)], axis=1)

    def compute(x: Any) -> Computed | None:
        return None if len(seen) >= 30 else Computed(x, x)

    def model(x: Any, record: Any) -> Model:
        seen.append(float(x[0]))
        torque = TORQUE - 0.05 * np.cos(ANGLES) + steep @ (x - 0.7)
        none = np.zeros(0)
        return Model(spread.value(torque), np.zeros(1), torque, steep, none, np.zeros((0, 1)), spread)

    descend(np.array([0.1]), compute, model)
    return seen


def test_the_search_goes_where_the_spread_is_least() -> None:
    """Draws that all shift the torque alike ahead are met by a step the other way."""
    one_way = Spread(np.array([[0.02], [0.02]]) * np.sin(ANGLES) * np.array([[1.0], [0.5]]), 1.0)
    nominal, held = places(Spread(np.zeros((1, 1)), 0.0)), places(one_way)
    values = [one_way.value(1 + 0.05 * np.sin(ANGLES) * (x - 0.7)) for x in np.linspace(0, 1, 1001)]
    best = float(np.linspace(0, 1, 1001)[int(np.argmin(values))])
    assert nominal[-1] == pytest.approx(0.7, abs=0.01)
    assert min(held, key=lambda x: abs(x - best)) == pytest.approx(best, abs=0.01)
    assert abs(best - 0.7) > 0.1


def test_what_is_asked() -> None:
    tolerances = (FieldTolerance("rotor_pole.arc", 0.1 * deg),)
    assert search(tolerances=tolerances).deviations == 2.0
    with pytest.raises(InvalidValue, match="a search over what a workshop delivers goes along slopes"):
        search(tolerances=tolerances, objective="copper_mass")
    with pytest.raises(InvalidValue, match="a spread counts as nothing or more: deviations is -1"):
        replace(search(), deviations=-1.0)
