"""The ideal rectangular current on the straight inductance, whose torque and harmonics are known by hand."""

from __future__ import annotations

import numpy as np
import pytest

from polefem.drive import (
    copper_loss,
    current_for_copper_loss,
    current_for_mean_torque,
    mean_torque,
    rectangular_torque,
)
from polefem.errors import InvalidValue
from polefem.maps import linear_map
from polefem.params.drive_spec import RectangularCurrent
from polefem.units import deg
from tests.maps.saturating import sampled

SHARP = 1e-7
STRAIGHT = linear_map(60e-3, 6e-3, full=0.0, apart=40 * deg, current=20.0, corner=SHARP)
RISE = 54e-3 / (40 * deg)


def torque_is_constant(run, expected: float) -> bool:
    """i^2 / 2 dL/dangle (Miller 1993, from memory), and nothing but it, all over the stroke."""
    return (
        run.ripple < 1e-6
        and abs(run.mean / expected - 1) < 1e-6
        and run.harmonics.max() < 1e-6 * abs(run.mean)
    )


def test_one_stroke_on_the_rising_flank_is_flat() -> None:
    motor = rectangular_torque(STRAIGHT, RectangularCurrent(-36 * deg, -6 * deg), 8.0)
    brake = rectangular_torque(STRAIGHT, RectangularCurrent(6 * deg, 36 * deg), 8.0)
    assert torque_is_constant(motor, 8.0**2 / 2 * RISE)
    assert torque_is_constant(brake, -(8.0**2) / 2 * RISE)


def test_a_wrong_torque_law_and_a_gap_between_phases_are_told_apart() -> None:
    motor = rectangular_torque(STRAIGHT, RectangularCurrent(-36 * deg, -6 * deg), 8.0)
    assert not torque_is_constant(motor, 8.0**2 * RISE)
    assert not torque_is_constant(
        rectangular_torque(STRAIGHT, RectangularCurrent(-36 * deg, -7 * deg), 8.0), 8.0**2 / 2 * RISE
    )


def test_harmonics_of_a_dwell_that_leaves_a_gap() -> None:
    dwell = 20 * deg
    run = rectangular_torque(STRAIGHT, RectangularCurrent(-36 * deg, -36 * deg + dwell), 8.0, samples=7200)
    height, order = 8.0**2 / 2 * RISE, np.arange(1, 25)
    closed = (
        2 * height / (np.pi * order) * np.abs(np.sin(np.pi * order * dwell / STRAIGHT.stroke))
    )  # of a pulse train
    np.testing.assert_allclose(run.harmonics, closed, atol=1e-4 * height)
    np.testing.assert_allclose([run.mean, run.lowest, run.highest], [height * 2 / 3, 0.0, height], rtol=1e-6)
    assert run.ripple == pytest.approx(1.5)


def test_mean_is_the_mean_of_the_torque() -> None:
    m = sampled()
    for on, off in ((-40, -5), (-30, 0), (-20, 35), (5, 40), (-50, 20)):
        run = rectangular_torque(m, RectangularCurrent(on * deg, off * deg), 12.0, samples=5000)
        mean = ((run.torque[1:] + run.torque[:-1]) / 2 * np.diff(run.angles)).sum() / m.stroke
        assert run.mean == pytest.approx(mean, rel=1e-6)
        assert run.angles[0] == 0.0 and run.angles[-1] == pytest.approx(m.stroke)
        if on % 30:  # no phase switches where the stroke begins, so that it ends as it began
            assert run.torque[0] == pytest.approx(run.torque[-1])


def test_stated_bases() -> None:
    m, drive = sampled(), RectangularCurrent(-32 * deg, -2 * deg)
    by_loss = current_for_copper_loss(m, drive, resistance=0.8, loss=30.0)
    run = rectangular_torque(m, drive, by_loss)
    assert 3 * 0.8 * run.rms_current**2 == pytest.approx(30.0)
    assert copper_loss(m, drive, by_loss, 0.8) == pytest.approx(30.0)
    by_torque = current_for_mean_torque(m, drive, run.mean)
    assert by_torque == pytest.approx(by_loss)
    back = RectangularCurrent(2 * deg, 32 * deg)
    assert mean_torque(m, back, current_for_mean_torque(m, back, -0.5)) == pytest.approx(-0.5)


def test_refusals() -> None:
    m, drive = sampled(), RectangularCurrent(-30 * deg, 0.0)
    with pytest.raises(
        InvalidValue, match="turn-off must follow turn-on: turn_off is -35 deg, allowed is above -30 deg"
    ):
        RectangularCurrent(-30 * deg, -35 * deg)
    with pytest.raises(
        InvalidValue, match="no more than a rotor pitch: dwell is 100 deg, allowed is up to 90 deg"
    ):
        rectangular_torque(m, RectangularCurrent(-50 * deg, 50 * deg), 5.0)
    with pytest.raises(InvalidValue, match="beyond its last current: current is 25 A, allowed is up to 20 A"):
        rectangular_torque(m, drive, 25.0)
    with pytest.raises(
        InvalidValue, match=r"torque is 500 N m, allowed is between 0 and .* N m, that of 20 A"
    ):
        current_for_mean_torque(m, drive, 500.0)
    with pytest.raises(InvalidValue, match=r"torque is -1 N m, allowed is between 0 and"):
        current_for_mean_torque(m, drive, -1.0)
    with pytest.raises(InvalidValue, match="a copper loss must be positive: loss is 0 W"):
        current_for_copper_loss(m, drive, resistance=0.8, loss=0.0)
