"""Stacked and skewed maps, against closed answers for straight-line inductance and against the slices' own sums."""

import math

import numpy as np
import pytest

from polefem.errors import InvalidValue
from polefem.maps import FluxMap, Slice, skewed, stacked

PITCH = math.pi / 2
L0, L1 = 5e-3, 3e-3


def cosine(phases: int = 3, swing: float = L1) -> FluxMap:
    """Inductance L0 + swing cos(4 angle), linear in the current."""
    angles, currents = np.linspace(0.0, PITCH / 2, 61), np.linspace(1.0, 10.0, 4)
    inductance, slope = L0 + swing * np.cos(4 * angles), -4 * swing * np.sin(4 * angles)
    square = currents[:, None] ** 2 / 2
    return FluxMap(
        angles,
        currents,
        currents[:, None] * inductance,
        square * slope,
        square * inductance,
        phases=phases,
        rotor_poles=4,
        mirror=True,
        torque_error=0.01,
    )


def damping(skew: float) -> float:
    """Mean of cos(4 x) over a skew: sin(2 skew) / (2 skew), the skew factor of every textbook (common practice)."""
    return math.sin(2 * skew) / (2 * skew)


def is_damped(found: FluxMap, factor: float) -> bool:
    expected = L0 + factor * L1 * np.cos(4 * found.angles)
    torque = -2 * factor * L1 * np.sin(4 * found.angles) * found.currents[:, None] ** 2
    return bool(
        np.allclose(found.inductance, expected, rtol=1e-5) and np.allclose(found.torque, torque, atol=2e-5)
    )


def test_a_skewed_cosine_is_damped_by_the_skew_factor() -> None:
    skew = math.radians(12)
    found = skewed(cosine(), skew)
    assert found.mirror
    assert is_damped(found, damping(skew))
    assert not is_damped(found, damping(2 * skew))  # a skew to either side instead of half to each


def test_no_skew_changes_nothing() -> None:
    plain = cosine()
    found = skewed(plain, 0.0, points=1)
    np.testing.assert_allclose(found.torque, plain.torque, atol=1e-12)


def test_two_steps_are_the_mean_of_both() -> None:
    plain, step = cosine(), math.radians(5)
    found = stacked([Slice(plain, 0.5, -step / 2), Slice(plain, 0.5, step / 2)])
    assert is_damped(found, math.cos(2 * step))
    assert not is_damped(found, 1.0)


def test_a_lopsided_stack_covers_the_whole_pitch_and_turns_the_right_way() -> None:
    plain, step = cosine(), math.radians(5)
    found = stacked([Slice(plain, 1.0, step)])
    assert not found.mirror
    steps = 2 * (plain.angles.size - 1)  # each place of the pitch once, its two ends being one
    assert found.angles == pytest.approx((np.arange(steps) + 1 - steps / 2) * PITCH / steps)
    expected = L0 + L1 * np.cos(4 * (found.angles + step))
    np.testing.assert_allclose(found.inductance[0], expected, rtol=1e-5)
    wrong = L0 + L1 * np.cos(4 * (found.angles - step))
    assert not np.allclose(found.inductance[0], wrong, rtol=1e-3)
    # The stack is a map like any other: its potential covers the pitch.
    assert found.at(0.3, 5.0)[1] == pytest.approx(plain.at(0.3 + step, 5.0)[1], abs=1e-4)


def test_slices_of_different_shape_count_by_their_share() -> None:
    found = stacked([Slice(cosine(), 0.75), Slice(cosine(swing=0.2 * L1), 0.25)])
    assert is_damped(found, 0.75 + 0.25 * 0.2)
    assert not is_damped(found, 0.5 + 0.5 * 0.2)


def test_errors_and_refusals() -> None:
    plain = cosine()
    assert skewed(plain, 0.1).torque_error == pytest.approx(0.01)
    with pytest.raises(InvalidValue, match=r"whole stack: sum of shares is 0\.5, allowed is 1"):
        stacked([Slice(plain, 0.5)])
    with pytest.raises(InvalidValue, match="one kind of machine"):
        stacked([Slice(plain, 0.5), Slice(cosine(phases=4), 0.5)])
    with pytest.raises(InvalidValue, match="a slice must have a share of the stack"):
        Slice(plain, 0.0)
    with pytest.raises(InvalidValue, match="a stack is made of slices"):
        stacked([])
