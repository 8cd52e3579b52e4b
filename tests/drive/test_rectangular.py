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
from polefem.maps import CoupledMap, linear_map, summed
from polefem.params.rectangular import RectangularCurrent
from polefem.units import deg
from tests.maps.coupled_phases import coupled
from tests.maps.saturating import sampled

SHARP = 1e-7
STRAIGHT = summed(linear_map(60e-3, 6e-3, full=0.0, apart=40 * deg, current=20.0, corner=SHARP))
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
    run = rectangular_torque(STRAIGHT, RectangularCurrent(-36 * deg, -36 * deg + dwell), 8.0)
    height, order = 8.0**2 / 2 * RISE, np.arange(1, 25)
    closed = (
        2 * height / (np.pi * order) * np.abs(np.sin(np.pi * order * dwell / STRAIGHT.stroke))
    )  # of a pulse train
    np.testing.assert_allclose(run.harmonics[2::3], closed, atol=1e-6 * height)
    between = np.delete(run.harmonics, np.arange(2, 72, 3))
    assert between.max() < 1e-6 * height, "strokes are alike: nothing comes between the stroke's harmonics"
    np.testing.assert_allclose([run.mean, run.lowest, run.highest], [height * 2 / 3, 0.0, height], rtol=1e-6)
    assert run.ripple == pytest.approx(1.5)


def test_mean_is_the_mean_of_the_torque() -> None:
    m = summed(sampled())
    for on, off in ((-40, -5), (-30, 0), (-20, 35), (5, 40), (-50, 20)):
        run = rectangular_torque(m, RectangularCurrent(on * deg, off * deg), 12.0)
        start, middle, end = run.torque.reshape(-1, 3).T  # Simpson's rule, exact for a parabola
        width = np.diff(run.angles.reshape(-1, 3)[:, ::2], axis=1)[:, 0]
        assert run.mean == pytest.approx(((start + 4 * middle + end) / 6 * width).sum() / m.pitch, rel=1e-9)
        assert mean_torque(m, run.drive, 12.0) == pytest.approx(run.mean, rel=1e-12)
        assert run.angles[0] == 0.0 and run.angles[-1] == pytest.approx(m.pitch)
        if on % 30:  # no phase switches where the stroke begins, so that it ends as it began
            assert run.torque[0] == pytest.approx(run.torque[-1])


def torque_by_hand(
    m: CoupledMap, drive: RectangularCurrent, current: float, angles: np.ndarray
) -> np.ndarray:
    """Torque at angles, each phase conducting while its own angle is within the dwell."""
    own = np.mod(angles[:, None] - np.arange(m.phases) * m.stroke - drive.turn_on, m.pitch)
    return m.at(angles, np.where(own < drive.dwell, current, 0.0)).torque


def found_by_hand(m: CoupledMap, drive: RectangularCurrent, current: float) -> tuple[float, float, float]:
    """Mean, highest and lowest torque from 40,000 angles of a rotor pitch."""
    torque = torque_by_hand(m, drive, current, (np.arange(40_000) + 0.5) * m.pitch / 40_000)
    return float(torque.mean()), float(torque.max()), float(torque.min())


DRIVES = [
    RectangularCurrent(on * deg, off * deg) for on, off in ((-38, 2), (-35, -3), (-30, 0), (-44, 9), (3, 41))
]


@pytest.mark.parametrize("drive", DRIVES, ids=str)
def test_extremes_of_a_whole_pitch_are_those_of_a_dense_scan(drive) -> None:
    m = coupled()
    run = rectangular_torque(m, drive, 12.0)
    mean, highest, lowest = found_by_hand(m, drive, 12.0)
    size = highest - lowest
    assert run.coupling == "joint"
    assert run.mean == pytest.approx(mean, rel=1e-4)
    assert highest <= run.highest + 1e-12 and run.highest - highest < 1e-3 * size
    assert lowest >= run.lowest - 1e-12 and lowest - run.lowest < 1e-3 * size
    assert run.stroke_ripples.max() <= run.ripple + 1e-12


def strokes_are_told_apart(run) -> bool:
    """A pair that meets with the other sign makes one stroke unlike the others, and beats at the electrical period."""
    own = np.sort(run.stroke_ripples)
    beats = np.delete(run.harmonics, np.arange(2, 72, 3)).max()
    return own[-1] - own[0] > 0.02 and beats > 0.005 * abs(run.mean)


def test_unlike_strokes_are_seen() -> None:
    assert strokes_are_told_apart(rectangular_torque(coupled(), DRIVES[0], 12.0))


def test_a_sum_of_phases_does_not_pass_for_unlike_strokes() -> None:
    assert not strokes_are_told_apart(rectangular_torque(summed(coupled().single), DRIVES[0], 12.0))


def test_harmonics_are_those_of_the_sampled_torque() -> None:
    m, drive = coupled(), RectangularCurrent(-38 * deg, 2 * deg)
    count = 90_000  # a multiple of the switching angles' grid, so that no sample's step holds a jump
    angles = (np.arange(count) + 0.5) * m.pitch / count
    sampled_torque = torque_by_hand(m, drive, 12.0, angles)
    plain = 2 * np.abs(np.fft.rfft(sampled_torque))[1:73] / count
    run = rectangular_torque(m, drive, 12.0)
    np.testing.assert_allclose(run.harmonics, plain, atol=2e-6 * abs(run.mean))


def test_stated_bases() -> None:
    m, drive = summed(sampled()), RectangularCurrent(-32 * deg, -2 * deg)
    by_loss = current_for_copper_loss(m, drive, resistance=0.8, loss=30.0)
    run = rectangular_torque(m, drive, by_loss)
    assert 3 * 0.8 * run.rms_current**2 == pytest.approx(30.0)
    assert copper_loss(m, drive, by_loss, 0.8) == pytest.approx(30.0)
    by_torque = current_for_mean_torque(m, drive, run.mean)
    assert by_torque == pytest.approx(by_loss)
    back = RectangularCurrent(2 * deg, 32 * deg)
    assert mean_torque(m, back, current_for_mean_torque(m, back, -0.5)) == pytest.approx(-0.5)


def test_refusals() -> None:
    m, drive = summed(sampled()), RectangularCurrent(-30 * deg, 0.0)
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


# Ramps -----------------------------------------------------------------------------------------------


def crossing_is_as_by_hand(drive: RectangularCurrent, current: float = 8.0) -> bool:
    """Where the inductance rises straight and currents cross in straight lines over a ramp, torque is
    (x^2 + (1 - x)^2) i^2 / 2 dL/dangle with x from 0 to 1: half in the middle, two thirds on average."""
    height = current**2 / 2 * RISE
    run = rectangular_torque(STRAIGHT, drive, current)
    mean = height * (1 - 4 * deg / 3 / (30 * deg))
    found = [run.mean, run.lowest, run.highest, run.rms_current, mean_torque(STRAIGHT, drive, current)]
    rms = current * np.sqrt((30 * deg - 4 * deg / 3) / STRAIGHT.pitch)
    return bool(np.allclose(found, [mean, height / 2, height, rms, mean], rtol=1e-5))


def test_straight_currents_that_cross_give_half_the_torque_in_the_middle() -> None:
    assert crossing_is_as_by_hand(RectangularCurrent(-38 * deg, -8 * deg, ramp=4 * deg))


def test_steps_and_longer_ramps_and_another_dwell_are_no_such_crossing() -> None:
    assert not crossing_is_as_by_hand(RectangularCurrent(-38 * deg, -8 * deg))
    assert not crossing_is_as_by_hand(RectangularCurrent(-38 * deg, -8 * deg, ramp=4.1 * deg))
    assert not crossing_is_as_by_hand(RectangularCurrent(-38 * deg, -7.9 * deg, ramp=4 * deg))


@pytest.mark.parametrize(("on", "off", "ramp"), [(-38, 2, 3), (-35, -3, 6), (3, 41, 5)])
def test_torque_on_ramps_is_that_of_a_dense_scan(on: float, off: float, ramp: float) -> None:
    """With phases that share a field: currents at each angle from their definition."""
    m, drive = coupled(), RectangularCurrent(on * deg, off * deg, ramp * deg)
    angles = (np.arange(20_000) + 0.5) * m.pitch / 20_000

    def agrees(ramp: float) -> bool:
        own = np.mod(angles[:, None] - np.arange(m.phases) * m.stroke - drive.turn_on, m.pitch)
        rise, fall = own / ramp, (drive.dwell + ramp - own) / ramp
        torque = m.torque(angles, 12.0 * np.clip(np.minimum(rise, fall), 0.0, 1.0))
        run, size = rectangular_torque(m, drive, 12.0), np.ptp(torque)
        ends = np.abs([run.highest - torque.max(), run.lowest - torque.min()]).max()
        plain = 2 * np.abs(np.fft.rfft(torque))[1:73] / len(torque)
        harmonics = np.abs(run.harmonics - plain).max()
        return bool(
            abs(run.mean / torque.mean() - 1) < 1e-4 and ends < 2e-3 * size and harmonics < 1e-3 * size
        )

    assert agrees(ramp * deg)
    assert not agrees(1.2 * ramp * deg)


def test_heat_of_ramps() -> None:
    m, drive = summed(sampled()), RectangularCurrent(-34 * deg, -2 * deg, ramp=6 * deg)
    current = current_for_copper_loss(m, drive, resistance=0.8, loss=30.0)
    since = (np.arange(90_000) + 0.5) * m.pitch / 90_000
    assert 3 * 0.8 * np.mean((current * drive.share(since)) ** 2) == pytest.approx(30.0, rel=1e-6)
    assert 3 * 0.8 * np.mean((current * RectangularCurrent(-0.6, -0.04).share(since)) ** 2) > 31.0


def test_a_ramp_fits_its_dwell_and_its_pitch() -> None:
    with pytest.raises(
        InvalidValue, match="a current rises within its dwell: ramp is 9 deg, allowed is 0 to 8 deg"
    ):
        RectangularCurrent(-8 * deg, 0.0, ramp=9 * deg)
    m = summed(sampled())
    with pytest.raises(InvalidValue, match="no more than a rotor pitch: dwell and ramp is 95 deg"):
        rectangular_torque(m, RectangularCurrent(-60 * deg, 20 * deg, ramp=15 * deg), 5.0)
