"""Switching angles: the scan against single runs, the optimum against closed bounds and its neighbours."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from polefem.drive import angle_table, best_setting, most_torque, steady_state
from polefem.drive.scan import Scan
from polefem.errors import InvalidValue
from polefem.maps import linear_map, summed
from polefem.params.drive_spec import Bridge, DriveSpec, Tracking
from polefem.units import deg
from tests.drive.straight import RISE, STRAIGHT
from tests.maps.saturating import sampled

BRIDGE, OHMS = Bridge(48.0, 0.7, 0.8), 0.5
SATURATING = summed(sampled(31, 15, 60.0))
WIDE = summed(linear_map(60e-3, 6e-3, full=2 * deg, apart=40 * deg, current=60.0))


@pytest.mark.parametrize("m", [STRAIGHT, SATURATING], ids=["straight", "saturating"])
@pytest.mark.parametrize("speed", [20.0, -90.0])
def test_the_scan_agrees_with_single_runs(m, speed: float) -> None:
    rng = np.random.default_rng(3)
    on = rng.uniform(-45, -20, 12) * deg
    off, level = on + rng.uniform(6, 20, 12) * deg, rng.uniform(3, 20, 12)
    scan = Scan(m.single, np.sign(speed)).run(BRIDGE, OHMS, abs(speed), on, off, level)
    runs = [
        steady_state(m, DriveSpec(BRIDGE, OHMS, a, b, Tracking.level(c)), speed)
        for a, b, c in zip(on, off, level, strict=True)
    ]
    torque, rms = (np.array([getattr(run, name) for run in runs]) for name in ("mean_torque", "rms_current"))
    np.testing.assert_allclose(scan.mean_torque, torque, atol=0.01 * torque.max())
    np.testing.assert_allclose(np.sqrt(scan.mean_square), rms, rtol=0.01)
    wrong = Scan(m.single, np.sign(speed)).run(BRIDGE, OHMS, 1.2 * abs(speed), on, off, level)
    assert np.abs(wrong.mean_torque - torque).max() > 0.01 * torque.max()


def test_least_loss_comes_near_the_closed_bound() -> None:
    """On a straight flank torque and loss both go as i^2 times the dwell: the loss is 2 R T / (dL/dangle) at
    least."""
    setting = best_setting(STRAIGHT, Bridge(400.0), OHMS, 5.0, 2.0)
    bound = 2 * OHMS * 2.0 / RISE
    assert setting.mean_torque == pytest.approx(2.0, rel=2e-4)
    assert 0.997 * bound < setting.copper_loss < 1.02 * bound
    assert setting.copper_loss > 1.1 * (OHMS * 2.0 / RISE)  # torque i^2 dL/dangle would ask for half


def test_a_torque_below_all_that_the_scan_looks_at_is_given_too() -> None:
    """The lowest level looked at is 2 % of the last current; to a 1000th of it goes a millionth of its torque."""
    torque = 2e-6 * most_torque(STRAIGHT, Bridge(400.0), OHMS, 5.0).mean_torque
    setting = best_setting(STRAIGHT, Bridge(400.0), OHMS, 5.0, torque)
    assert setting.mean_torque == pytest.approx(torque, rel=1e-3)
    assert setting.copper_loss == pytest.approx(2 * OHMS * torque / RISE, rel=0.05)


def test_the_optimum_beats_its_neighbours() -> None:
    setting = best_setting(SATURATING, BRIDGE, OHMS, 40.0, 3.0)

    def loss_at_torque(turn_on: float, turn_off: float) -> float:
        """The same torque with other angles, its level found by halving."""
        low, high = 1.0, 59.0
        for _ in range(24):
            level = (low + high) / 2
            drive = DriveSpec(BRIDGE, OHMS, turn_on, turn_off, Tracking.level(level))
            run = steady_state(SATURATING, drive, 40.0)
            low, high = (level, high) if run.mean_torque < 3.0 else (low, level)
        return run.copper_loss if run.mean_torque == pytest.approx(3.0, rel=1e-3) else np.inf

    assert loss_at_torque(setting.turn_on, setting.turn_off) == pytest.approx(setting.copper_loss, rel=1e-3)
    moves = [(a, b) for a in (-1.5, 0.0, 1.5) for b in (-1.5, 0.0, 1.5) if a or b]
    others = [loss_at_torque(setting.turn_on + a * deg, setting.turn_off + b * deg) for a, b in moves]
    assert min(others) > 0.998 * setting.copper_loss
    assert max(o for o in others if np.isfinite(o)) > 1.01 * setting.copper_loss  # they do differ


def test_the_smooth_setting_is_smoother_and_the_cool_one_cooler() -> None:
    smooth = best_setting(WIDE, BRIDGE, OHMS, 2.0, 1.0, objective="ripple")
    cool = best_setting(WIDE, BRIDGE, OHMS, 2.0, 1.0)
    assert smooth.ripple < 0.5 * cool.ripple
    assert cool.copper_loss <= 1.001 * smooth.copper_loss
    between = best_setting(WIDE, BRIDGE, OHMS, 2.0, 1.0, ripple_limit=1.0)
    assert between.ripple <= 1.005
    assert cool.copper_loss * 0.999 <= between.copper_loss


def test_generator_mirrors_the_motor_without_resistance() -> None:
    """A lossless bridge runs a motor cycle backwards as a generator: the angles change places and sign."""
    motor = best_setting(STRAIGHT, Bridge(48.0), 1e-6, 30.0, 2.0)
    generator = best_setting(STRAIGHT, Bridge(48.0), 1e-6, 30.0, -2.0)
    assert generator.mean_torque == pytest.approx(-2.0, rel=2e-4)
    assert generator.copper_loss == pytest.approx(motor.copper_loss, rel=0.05)


def test_most_torque_is_the_limit_that_best_setting_names() -> None:
    most = most_torque(SATURATING, BRIDGE, OHMS, 150.0, current_limit=20.0)
    held = best_setting(SATURATING, BRIDGE, OHMS, 150.0, 0.97 * most.mean_torque, current_limit=20.0)
    assert held.level <= 20.0 and held.peak_current <= 20.0 * (1 + 1e-9)
    with pytest.raises(
        InvalidValue,
        match=r"reach the torque at 1432 rpm: torque is .* N m, allowed is between 0 and about",
    ):
        best_setting(SATURATING, BRIDGE, OHMS, 150.0, 1.1 * most.mean_torque, current_limit=20.0)


def test_a_sagging_source_is_allowed_for() -> None:
    weak = dataclasses.replace(BRIDGE, source_resistance=0.3)
    setting = best_setting(SATURATING, weak, OHMS, 40.0, 3.0)
    run = steady_state(SATURATING, setting.drive(weak, OHMS), 40.0)
    assert run.mean_torque == pytest.approx(3.0, rel=3e-4)


def test_refusals() -> None:
    with pytest.raises(InvalidValue, match="no current makes no torque: torque is 0 N m"):
        best_setting(STRAIGHT, BRIDGE, OHMS, 10.0, 0.0)
    with pytest.raises(InvalidValue, match="a drive turns: speed is 0 rpm"):
        best_setting(STRAIGHT, BRIDGE, OHMS, 0.0, 1.0)
    with pytest.raises(
        InvalidValue, match=r"a ripple limit must be within reach .*: ripple_limit is 0.1, allowed is about"
    ):
        best_setting(STRAIGHT, BRIDGE, OHMS, 10.0, 1.0, ripple_limit=0.1)
    with pytest.raises(InvalidValue, match=r"the torques of a table must increase: torques\[1\] is 1 N m"):
        angle_table(STRAIGHT, BRIDGE, OHMS, [10.0], [2.0, 1.0])
