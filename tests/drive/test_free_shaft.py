"""A shaft that is free to turn: run-up against a general integrator, stall, reversal, rest positions."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from polefem.drive import run_free_shaft, steady_state
from polefem.errors import InvalidValue
from polefem.maps import summed
from polefem.params.drive_spec import AverageVoltage, Bridge, Chopping, DriveSpec, Load, Tracking
from polefem.units import deg
from tests.drive.straight import APART, STRAIGHT, inductance, slope
from tests.maps.saturating import sampled

INERTIA, LOAD = 4e-3, Load(constant=0.2, drag=5e-3, fan=1e-4)
DRIVE = DriveSpec(Bridge(48.0, 0.7, 0.8), 0.8, -33 * deg, -12 * deg, AverageVoltage(0.4))
SATURATING = summed(sampled(31, 11, 60.0))


def independent(m, current_of, torque_of, start: float, duration: float) -> np.ndarray:
    """Angle and speed at the end of a 6/4 run-up, by scipy's integrator on the equations as written down."""
    drive, pitch, stroke = DRIVE, 90 * deg, 30 * deg
    up = 0.4 * (48.0 - 1.4) - 0.6 * 1.5
    down = -48.0 - 1.6

    def slopes(_, state):
        angle, speed, *flux = state
        own = drive.turn_on + np.mod(angle - stroke * np.arange(3) - drive.turn_on, pitch)
        flux = np.maximum(flux, 0.0)
        current = current_of(own, flux)
        volts = np.where(own < drive.turn_off, up, np.where(flux > 1e-9, down, 0.0))
        torque = torque_of(own, current).sum() - LOAD.opposing(speed)
        return [speed, torque / INERTIA, *(volts - drive.resistance * current)]

    done = solve_ivp(slopes, (0, duration), [start, 0.0, 0, 0, 0], rtol=1e-7, atol=1e-8, max_step=2e-5)
    return done.y[:2, -1]


def straight_torque(angle, current):
    return current**2 / 2 * slope(angle)


@pytest.fixture(scope="module")
def straight_reference() -> np.ndarray:
    return independent(STRAIGHT, lambda a, f: f / inductance(a), straight_torque, 5 * deg, 0.12)


def agrees(run, reference: np.ndarray) -> bool:
    """Whether angle and speed at the end are within 0.3 % of an independent run-up."""
    return bool(np.abs(np.array([run.angle[-1], run.speed[-1]]) / reference - 1).max() < 3e-3)


def test_run_up_against_a_general_integrator(straight_reference: np.ndarray) -> None:
    run = run_free_shaft(STRAIGHT, DRIVE, LOAD, INERTIA, 0.12, angle=5 * deg)
    assert straight_reference[1] > 15.0
    assert agrees(run, straight_reference)
    for change in ({"inertia": 1.02 * INERTIA}, {"load": dataclasses.replace(LOAD, constant=0.25)}):
        wrong = {"inertia": INERTIA, "load": LOAD} | change
        assert not agrees(
            run_free_shaft(STRAIGHT, DRIVE, duration=0.12, angle=5 * deg, **wrong), straight_reference
        )


def test_second_order_in_the_step() -> None:
    """On a smooth map, no switching on the way: the error falls with the square of the step."""
    drive = DriveSpec(Bridge(48.0), 0.8, -40 * deg, -1 * deg, AverageVoltage(0.5))

    def end(step: float) -> np.ndarray:
        run = run_free_shaft(
            SATURATING, drive, Load(), INERTIA, 0.012, angle=-25 * deg, speed=10.0, step=step
        )
        return np.array([run.angle[-1], run.speed[-1], run.flux_linkage[-1, 0]])

    finest = end(2.5e-6)
    errors = np.abs([end(step) - finest for step in (1e-4, 5e-5, 2.5e-5)])
    rates = np.log2(errors[:-1] / errors[1:])
    assert (rates > 1.7).all() and (rates < 2.3).all(), rates
    assert (errors[-1] < 5e-5).all()


@pytest.mark.parametrize("source_resistance", [0.0, 0.2])
@pytest.mark.parametrize("direction", [1, -1])
def test_energy_adds_up_over_a_run(direction: int, source_resistance: float) -> None:
    bridge = Bridge(48.0, 0.7, 0.8, source_resistance)
    drive = DriveSpec(bridge, 0.5, -34 * deg, -8 * deg, Chopping(8.0, 0.8))
    run = run_free_shaft(STRAIGHT, drive, LOAD, INERTIA, 0.2, direction=direction, angle=0.3)
    assert run.energy.error < 1e-3
    assert dataclasses.replace(run.energy, mechanical=1.01 * run.energy.mechanical).error > 1e-3
    work = run.energy.mechanical
    spent = np.trapezoid([LOAD.opposing(w) for w in run.speed], run.angle) + INERTIA * run.speed[-1] ** 2 / 2
    assert work == pytest.approx(spent, rel=2e-3)
    assert run.direction * run.speed[-1] > 10.0


def test_a_great_inertia_meets_the_steady_state() -> None:
    drive = DriveSpec(Bridge(48.0, 0.7, 0.8, 0.1), 0.5, -34 * deg, -14 * deg)
    run = run_free_shaft(SATURATING, drive, Load(), 1e6, 0.15, speed=40.0)
    steady = steady_state(SATURATING, drive, 40.0)
    last = run.time > run.time[-1] - steady.cycle_time
    mean = np.trapezoid(run.torque[last], run.time[last]) / np.ptp(run.time[last])
    assert mean == pytest.approx(steady.mean_torque, rel=5e-3)
    assert run.current[last].max() == pytest.approx(steady.peak_current, rel=5e-3)


def test_starts_from_where_a_phase_pulls_and_nowhere_else() -> None:
    """The straight flank from -30 to -3 deg leaves 3 of each 30 degrees without torque: there it cannot
    start."""
    drive = DriveSpec(Bridge(48.0), 0.5, -36 * deg, -3 * deg, Tracking.level(8.0))
    for angle in (1.0, 6.0, 14.0, 20.0, 26.0, 28.5):
        pulls = angle % 30 < 27
        run = run_free_shaft(STRAIGHT, drive, Load(friction=0.2), INERTIA, 0.08, angle=angle * deg)
        assert (run.speed[-1] > 5.0) == pulls and run.stalled != pulls, angle
        back = run_free_shaft(
            STRAIGHT, drive, Load(friction=0.2), INERTIA, 0.08, angle=-angle * deg, direction=-1
        )
        assert back.speed[-1] == pytest.approx(-run.speed[-1], rel=1e-3), angle


def test_too_heavy_a_friction_stalls_it() -> None:
    drive = DriveSpec(Bridge(48.0), 0.5, -36 * deg, -5 * deg, Tracking.level(8.0))
    run = run_free_shaft(STRAIGHT, drive, Load(friction=6.0), INERTIA, 0.05, angle=10 * deg)
    assert run.stalled and (run.angle == 10 * deg).all()
    assert "stalled" in repr(run)
    weight = run_free_shaft(STRAIGHT, drive, Load(constant=6.0), INERTIA, 0.05, angle=10 * deg)
    assert weight.backwards and not weight.stalled


def test_friction_brings_a_shaft_without_supply_to_rest() -> None:
    """No phase can conduct beyond `APART`: J d(speed)/dt = -friction, closed."""
    drive = DriveSpec(Bridge(1e-6), 0.5, -44 * deg, -43.9 * deg)
    run = run_free_shaft(STRAIGHT, drive, Load(friction=0.5), INERTIA, 0.2, speed=15.0)
    stop = 15.0 * INERTIA / 0.5
    moving = run.speed > 0
    np.testing.assert_allclose(run.speed[moving], 15.0 * (1 - run.time[moving] / stop), atol=0.02)
    assert run.stalled and run.angle[-1] == pytest.approx(15.0 * stop / 2, rel=2e-3)


def test_a_direction_against_the_speed_reverses_the_shaft() -> None:
    drive = DriveSpec(Bridge(48.0), 0.5, -36 * deg, -5 * deg, Tracking.level(8.0))
    run = run_free_shaft(STRAIGHT, drive, Load(friction=0.1), INERTIA, 0.15, speed=-20.0)
    assert run.speed[0] == -20.0 and run.speed[-1] > 10.0
    assert run.energy.error < 1e-3


def test_refusals() -> None:
    for change, sentence in (
        ({"inertia": 0.0}, "all that turns has an inertia: inertia is 0 kg m"),
        ({"duration": -1.0}, "a run lasts: duration is -1 s"),
        ({"direction": 2}, "one way or the other: direction is 2, allowed is 1 or -1"),
        (
            {"drive": DriveSpec(Bridge(48.0), 0.5, -APART, 61 * deg)},
            "dwell is 91 deg, allowed is up to 90 deg",
        ),
        ({"drive": DriveSpec(Bridge(480.0), 0.5, -36 * deg, -5 * deg)}, "beyond its last current"),
    ):
        given = {"drive": DRIVE, "load": LOAD, "inertia": INERTIA, "duration": 0.2} | change
        with pytest.raises(InvalidValue, match=sentence):
            run_free_shaft(STRAIGHT, **given)
    with pytest.raises(InvalidValue, match=r"a loss cannot drive the shaft: load.drag is -1"):
        Load(drag=-1.0)


def test_a_run_ends_at_the_speed_that_was_asked_for() -> None:
    given = (STRAIGHT, DRIVE, Load(friction=0.2), INERTIA, 0.08)
    whole = run_free_shaft(*given, angle=5 * deg)
    until = float(whole.speed.max()) / 2
    short = run_free_shaft(*given, angle=5 * deg, until=until)
    assert short.speed[-2] < until <= short.speed[-1] and short.time[-1] < whole.time[-1]
    assert np.array_equal(short.speed, whole.speed[: short.speed.size])
    with pytest.raises(InvalidValue, match=r"a run ends at a speed: until is 0\.0 rad/s"):
        run_free_shaft(*given, until=0.0)


@pytest.mark.parametrize(("direction", "angle"), [(1, -20.0), (-1, 20.0), (-1, 25.0)])
def test_a_current_beyond_the_map_is_told_with_the_angle_of_the_shaft(direction: int, angle: float) -> None:
    """A shaft that friction holds stays where it is, counter-clockwise from aligned whichever way it is driven."""
    drive = DriveSpec(Bridge(400.0), 0.5, -33 * deg, -12 * deg, AverageVoltage(1.0))
    where = rf"current is above 60 A at {angle:g} deg, allowed is up to 60 A"
    with pytest.raises(InvalidValue, match=where):
        run_free_shaft(STRAIGHT, drive, Load(friction=1e6), 1.0, 1.0, angle=angle * deg, direction=direction)


def test_a_run_tells_its_turns() -> None:
    """A flywheel that nothing moves: two turns in two fifths of a second at five a second."""
    drive = DriveSpec(Bridge(1.0), 0.5, -33 * deg, -12 * deg, AverageVoltage(1.0))
    done = run_free_shaft(STRAIGHT, drive, Load(), 1e6, 0.4, speed=10 * np.pi)
    assert ", 2 turns, " in repr(done) and "300 rpm to 300 rpm" in repr(done)
