"""Levels that a loss or a torque asks for, on the straight inductance, against closed answers."""

from __future__ import annotations

import math

import pytest

from polefem.drive import (
    at_level,
    best_setting,
    best_setting_at_loss,
    levels,
    run_at_copper_loss,
    run_at_level,
    run_at_mean_torque,
)
from polefem.errors import InvalidValue
from polefem.params.drive_spec import AverageVoltage, Bridge, Chopping, DriveSpec, SinglePulse, Tracking
from polefem.units import deg
from tests.drive.straight import RISE, STRAIGHT

OHMS, ON, OFF = 0.5, -28 * deg, -6 * deg
STIFF = DriveSpec(Bridge(20_000.0), OHMS, ON, OFF, Tracking.level(1.0))  # so stiff that the current is square
WEAK = DriveSpec(Bridge(24.0), OHMS, ON, OFF, Tracking.level(1.0))
SLOW, FAST = 2.0, 60.0


def rectangular_current_of_loss(loss: float, phases: int = 3) -> float:
    """I of `phases` * R I^2 * dwell / pitch = loss: a rectangular current conducts for that share of the time."""
    return math.sqrt(loss / (phases * OHMS * (OFF - ON) / (90 * deg)))


def test_the_level_of_a_loss_is_that_of_a_square_current_where_the_supply_is_stiff() -> None:
    run = run_at_copper_loss(STRAIGHT, STIFF, SLOW, 40.0)
    assert run.copper_loss == pytest.approx(40.0, rel=1e-4)
    assert run.peak_current == pytest.approx(rectangular_current_of_loss(40.0), rel=2e-3)
    assert run.peak_current != pytest.approx(rectangular_current_of_loss(40.0, phases=1), rel=0.1)


def test_a_weak_supply_gives_less_torque_for_the_same_loss() -> None:
    """A rectangular current on the flank buys loss * (dL/dangle) / (2 R); one that still flows past aligned brakes."""
    run, stiff = (run_at_copper_loss(STRAIGHT, drive, FAST, 2.0) for drive in (WEAK, STIFF))
    assert run.copper_loss == pytest.approx(2.0, rel=1e-4)
    assert stiff.mean_torque == pytest.approx(2.0 * RISE / (2 * OHMS), rel=5e-3)
    assert run.extinction > 0.0
    assert run.mean_torque < 0.9 * stiff.mean_torque


def test_the_level_of_a_torque_follows_from_the_flank() -> None:
    # T = i^2 / 2 dL/dangle on the flank, for a dwell out of every stroke (Miller 1993, from memory).
    level = math.sqrt(2 * 3.0 / RISE * (30 * deg) / (OFF - ON))
    run = run_at_mean_torque(STRAIGHT, STIFF, SLOW, 3.0)
    assert run.mean_torque == pytest.approx(3.0, rel=1e-4)
    assert run.peak_current == pytest.approx(level, rel=3e-3)
    assert run.peak_current != pytest.approx(level / math.sqrt(2), rel=0.1)  # without the half


def test_a_generator_is_asked_for_torque_below_nought() -> None:
    drive = DriveSpec(Bridge(400.0), OHMS, 3 * deg, 20 * deg, Tracking.level(1.0))
    assert run_at_mean_torque(STRAIGHT, drive, SLOW, -1.0).mean_torque == pytest.approx(-1.0, rel=1e-4)
    with pytest.raises(InvalidValue, match=r"must reach the mean torque at 19\.1 rpm"):
        run_at_mean_torque(STRAIGHT, drive, SLOW, 1.0)


def test_what_the_supply_cannot_reach_is_said() -> None:
    with pytest.raises(InvalidValue, match=r"must reach the copper loss at 573 rpm: .*, allowed is up to"):
        run_at_copper_loss(STRAIGHT, WEAK, FAST, 500.0)


def test_a_level_scales_what_a_control_keeps() -> None:
    assert at_level(Chopping(10.0, 1.0, hard=True), 5.0) == Chopping(5.0, 0.5, hard=True)
    assert at_level(Tracking([-0.5, -0.2], [1.0, 4.0]), 8.0) == Tracking([-0.5, -0.2], [2.0, 8.0])
    assert run_at_level(STRAIGHT, STIFF, SLOW, 7.0).peak_current == pytest.approx(7.0, rel=1e-3)
    for control in (SinglePulse(), AverageVoltage(0.5)):
        with pytest.raises(InvalidValue, match="a level can be set where a control keeps one"):
            at_level(control, 1.0)


def test_the_torque_a_loss_can_buy_is_that_of_the_flank() -> None:
    """On a straight flank the loss is 2 R T / (dL/dangle) at least: a loss buys so much torque and no more."""
    bridge, loss = Bridge(400.0), 20.0
    setting = best_setting_at_loss(STRAIGHT, bridge, OHMS, 5.0, loss)
    bound = loss * RISE / (2 * OHMS)
    assert setting.copper_loss == pytest.approx(loss, rel=1e-3)
    assert 0.98 * bound < setting.mean_torque < 1.003 * bound
    assert setting.mean_torque < 0.9 * (loss * RISE / OHMS)  # torque i^2 dL/dangle would promise double
    same = best_setting(STRAIGHT, bridge, OHMS, 5.0, setting.mean_torque)
    assert same.copper_loss == pytest.approx(loss, rel=5e-3)


def test_a_chopped_current_goes_no_higher_than_the_map() -> None:
    """Its upper edge, half a band above the level, is what reaches the last current."""
    control = Chopping(10.0, 2.0)
    highest = levels._last_level(control, 60.0)
    assert at_level(control, highest).upper == pytest.approx(60.0, rel=1e-12)
    assert levels._last_level(Tracking.level(1.0), 60.0) == 60.0
