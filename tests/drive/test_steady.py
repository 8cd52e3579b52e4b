"""The bridge at constant speed: closed answers on the straight inductance, a general integrator, its own
energy."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from polefem.drive import cycle, steady_state
from polefem.errors import InvalidValue
from polefem.maps import linear_map, summed
from polefem.params.drive_spec import AverageVoltage, Bridge, Chopping, DriveSpec, SinglePulse, Tracking
from polefem.units import deg
from tests.drive.sharing_iron import SHARING
from tests.drive.straight import ALIGNED, RISE, STRAIGHT, inductance, pulse_flux, slope
from tests.maps.saturating import sampled

VOLTS, SPEED = 48.0, 60.0
IDEAL = Bridge(VOLTS)
REAL = Bridge(VOLTS, switch_drop=0.7, diode_drop=0.8, source_resistance=0.1)
SATURATING = summed(sampled(31, 15, 60.0))


def single_pulse(turn_on: float, turn_off: float, speed: float = SPEED):
    return steady_state(STRAIGHT, DriveSpec(IDEAL, 0.0, turn_on * deg, turn_off * deg), speed)


def own_angles(run) -> np.ndarray:
    """From each phase's own aligned angle, within a pitch from turn-on, rad, shape (n, phases)."""
    on = run.drive.turn_on
    own = run.angles[:, None] - np.arange(3) * 30 * deg
    return on + np.mod(own - on + 1e-9, run.pitch) - 1e-9


def pulse_is_right(run, flux, current, torque) -> bool:
    """Whether a run is, point by point, the closed single pulse it should be; arguments have shape (n, phases)."""
    own = np.abs(own_angles(run))
    corner = (np.abs(own[..., None] - np.array([3.0, 30.0]) * deg).min(axis=2) < 1e-5).any(axis=1)
    pairs = ((run.flux_linkage, flux), (run.current, current), (run.torque, torque.sum(axis=1)))
    return max(np.abs(a - b)[~corner].max() / np.abs(b).max() for a, b in pairs) < 1e-9


@pytest.mark.parametrize(("on", "off"), [(-36, -16), (-28, -12), (-5, 14), (8, 25)])
def test_single_pulse_without_resistance(on: float, off: float) -> None:
    """Current V (angle - on) / (speed L), torque i^2/2 dL/dangle: a motor on the rise, a brake on the
    fall."""
    run = single_pulse(on, off)
    own = own_angles(run)
    flux = pulse_flux(own, on * deg, off * deg, VOLTS, SPEED)
    current = flux / inductance(own)
    torque = current**2 / 2 * slope(own)
    assert pulse_is_right(run, flux, current, torque)
    assert run.extinction == pytest.approx((2 * off - on) * deg)
    assert not pulse_is_right(run, flux, current, 2 * torque)
    late = pulse_flux(own, (on + 0.2) * deg, off * deg, VOLTS, SPEED)
    assert not pulse_is_right(run, late, late / inductance(own), torque)


def test_turning_the_other_way_is_the_same() -> None:
    there, back = single_pulse(-36, -16), single_pulse(-36, -16, -SPEED)
    for phase in range(3):
        one, other = there.of_phase(phase), back.of_phase(phase)
        at = np.interp(one.angles, other.angles, other.current)
        np.testing.assert_allclose(one.current, at, atol=1e-6 * there.peak_current)
    assert there.mean_torque == pytest.approx(back.mean_torque)


def test_one_pulse_motors_and_the_other_generates() -> None:
    """Without losses all electrical power is mechanical, of the sign of the flank."""
    motor, generator = single_pulse(-36, -18), single_pulse(6, 16)
    for run, sign in ((motor, 1), (generator, -1)):
        assert np.sign(run.input_power) == np.sign(run.mean_torque) == sign
        assert run.input_power == pytest.approx(run.shaft_power, rel=1e-3)
        assert run.efficiency == pytest.approx(1.0, rel=1e-3)


def test_constant_current_on_the_rise_induces_a_voltage() -> None:
    """v = R i + i speed dL/dangle, and torque i^2/2 dL/dangle: half of the induced power goes into the
    field."""
    drive = DriveSpec(Bridge(300.0), 0.5, -29 * deg, -4 * deg, Tracking.level(5.0))
    run = steady_state(STRAIGHT, drive, SPEED)
    held = (run.angles > -25 * deg) & (run.angles < -5 * deg)
    np.testing.assert_allclose(run.current[held, 0], 5.0, rtol=1e-12)
    np.testing.assert_allclose(run.voltage[held[:-1], 0], 0.5 * 5.0 + 5.0 * SPEED * RISE, rtol=1e-9)
    alone = held & (run.current[:, 1:] == 0.0).all(axis=1)
    assert alone.sum() > 50
    np.testing.assert_allclose(run.torque[alone], 5.0**2 / 2 * RISE, rtol=1e-9)


def test_energy_ratio_of_a_pulse_that_ends_before_aligned() -> None:
    """All between turn-on and extinction: the field gives back to the supply what the shaft did not take."""
    run = single_pulse(-36, -20)
    angle = np.linspace(-36, -4, 200001) * deg
    flux = pulse_flux(angle, -36 * deg, -20 * deg, VOLTS, SPEED)
    current = flux / inductance(angle)
    given = np.trapezoid(current[angle <= -20 * deg], flux[angle <= -20 * deg])
    back = -np.trapezoid(current[angle >= -20 * deg], flux[angle >= -20 * deg])
    assert run.energy_ratio == pytest.approx((given - back) / given, rel=2e-4)
    assert run.energy_per_stroke == pytest.approx(given - back, rel=2e-4)
    assert run.mean_torque == pytest.approx(12 * (given - back) / (2 * np.pi), rel=2e-4)


CONTROLS = {
    "pulse": (SinglePulse(), -34, -14),
    "soft": (Chopping(10.0, 1.0), -34, -10),
    "hard": (Chopping(10.0, 1.0, hard=True), -34, -10),
    "modulated": (AverageVoltage(0.6), -34, -12),
    "modulated hard": (AverageVoltage(0.8, hard=True), -34, -12),
    "level": (Tracking.level(10.0), -34, -10),
    "profile": (Tracking([-34 * deg, -25 * deg, -12 * deg], [0.0, 12.0, 6.0]), -34, -12),
    "generator": (Chopping(10.0, 1.0, hard=True), 2, 20),
}


@pytest.mark.parametrize("name", CONTROLS)
@pytest.mark.parametrize("bridge", [IDEAL, REAL], ids=["ideal", "real"])
@pytest.mark.parametrize("m", [STRAIGHT, SATURATING], ids=["straight", "saturating"])
def test_energy_adds_up(m, bridge: Bridge, name: str) -> None:
    control, on, off = CONTROLS[name]
    run = steady_state(m, DriveSpec(bridge, 0.4, on * deg, off * deg, control), 40.0)
    assert run.energy.error < 1e-3
    assert run.input_power > 0 or name == "generator"
    terminal = 1 / run.cycle_time * (run.energy.source - run.energy.source_loss - run.energy.device_loss)
    assert terminal == pytest.approx(
        run.copper_loss + run.air_gap_power, abs=1e-3 * run.energy.lent / run.cycle_time
    )


def test_energy_adds_up_wherever_a_run_is_not_refused() -> None:
    """Drives at random, far beyond what is sensible: each is refused in a sentence or accounts for its energy."""
    rng, errors = np.random.default_rng(11), []
    for _ in range(60):
        on, level = rng.uniform(-60, 40), 10 ** rng.uniform(-0.3, 1.3)
        off, hard = on + rng.uniform(2, 85), bool(rng.integers(2))
        control = (
            SinglePulse(),
            Chopping(level, level * rng.uniform(0.3, 1.0), hard),
            AverageVoltage(rng.uniform(0.1, 1), hard),
            Tracking(np.sort(rng.uniform(on, off, 4)) * deg, rng.uniform(0, level, 4)),
        )[rng.integers(4)]
        bridge = Bridge(10 ** rng.uniform(0.5, 2.0), 0.2, rng.uniform(0, 1), rng.choice([0.0, 0.2]))
        drive = DriveSpec(bridge, 10 ** rng.uniform(-1.5, 0.5), on * deg, off * deg, control)
        m = (STRAIGHT, SATURATING)[rng.integers(2)]
        try:
            errors.append(
                steady_state(m, drive, 10 ** rng.uniform(1.2, 2.5) * rng.choice([-1, 1])).energy.error
            )
        except InvalidValue as refused:
            assert "allowed is" in str(refused)
    assert len(errors) > 30
    assert max(errors) < 5e-3 and np.median(errors) < 1e-4 and np.quantile(errors, 0.9) < 1e-3


def test_energy_does_not_add_up_with_a_wrong_torque_or_a_lost_drop() -> None:
    run = steady_state(SATURATING, DriveSpec(REAL, 0.4, -34 * deg, -14 * deg), 40.0)
    for change in ({"mechanical": 1.02 * run.energy.mechanical}, {"device_loss": 0.0}, {"copper": 0.0}):
        assert dataclasses.replace(run.energy, **change).error > 1e-3


def independent(resistance: float, turn_on: float, turn_off: float) -> float:
    """Flux linkage at turn-off of a single pulse on the saturating map, by a general integrator."""
    m = SATURATING

    def slopes(angle, flux):
        return (VOLTS - resistance * m.single.invert(angle, flux)) / SPEED

    done = solve_ivp(slopes, (turn_on, turn_off), [0.0], method="DOP853", rtol=1e-11, atol=1e-14)
    return float(done.y[0, -1])


def error(steps: int, resistance: float = 3.0) -> float:
    drive = DriveSpec(IDEAL, resistance, -34 * deg, -10 * deg)
    run = steady_state(SATURATING, drive, SPEED, steps=steps)
    at_off = np.interp(-10 * deg, run.angles, run.flux_linkage[:, 0])
    return abs(at_off / independent(3.0, -34 * deg, -10 * deg) - 1)


def test_second_order_in_the_step() -> None:
    errors = [error(steps) for steps in (480, 960, 1920)]
    rates = np.log2(np.divide(errors[:-1], errors[1:]))
    assert (rates > 1.7).all() and (rates < 2.5).all(), rates
    assert errors[-1] < 2e-6
    assert error(1920, resistance=3.01) > 2e-6  # a wrong resistance does not pass


def test_current_that_never_ends_repeats_all_the_same() -> None:
    """Dwell beyond half the pitch: the steady flux linkage, against many cycles of the closed straight
    solution.

    At constant inductance L the phase is a coil: from turn-on, i rises to V/R with the time constant L/R, and
    falls to -V/R after turn-off; the periodic solution of that is closed.
    """
    coil = summed(linear_map(ALIGNED, ALIGNED * (1 - 1e-9), full=0.0, apart=30 * deg, current=200.0))
    on, off, resistance = -30 * deg, 18 * deg, 0.2
    run = steady_state(coil, DriveSpec(IDEAL, resistance, on, off), SPEED)
    rate = resistance / ALIGNED / SPEED
    up, down = np.exp(-rate * (off - on)), np.exp(-rate * (coil.pitch - (off - on)))
    start = VOLTS / resistance * ((1 - up) * down - (1 - down)) / (1 - up * down)
    assert start > 0.1
    assert run.current[0, 0] == pytest.approx(start, rel=1e-4)
    assert run.periodicity_error < 1e-6 and np.isnan(run.extinction)
    assert run.energy.stored == pytest.approx(0.0, abs=1e-6 * run.energy.lent)


def test_pulses_that_come_otherwise_from_pitch_to_pitch_are_not_sought_in_vain(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With phases that overlap, a pulse may fall this or the other side of a phase's turn-on, and no one pitch repeats:
    after ten the nearest is taken, as good as the nearest of forty."""
    drive = DriveSpec(Bridge(VOLTS, 0.7, 0.8), 0.6, -44 * deg, -10 * deg, Chopping(6.0, 0.48, hard=True))
    follow, errors = cycle._Pitch.follow, list[float]()

    def counting(self, start):
        found = follow(self, start)
        errors.append(found.error)
        return found

    monkeypatch.setattr(cycle._Pitch, "follow", counting)
    run = steady_state(SHARING, drive, 3.0)
    assert len(errors) == 11 and run.periodicity_error == min(errors) < 1e-3
    assert run.energy.error < 1e-3
    # The twin: sought on, it is not found, and the last one is worse than the nearest.
    errors.clear()
    monkeypatch.setattr(cycle, "_CHOPPED", 99)
    last = steady_state(SHARING, drive, 3.0)
    assert len(errors) == 40 and last.periodicity_error > run.periodicity_error
    assert last.mean_torque == pytest.approx(run.mean_torque, rel=1e-3)


def test_chopping_stays_in_its_band() -> None:
    for hard in (False, True):
        drive = DriveSpec(IDEAL, 0.4, -34 * deg, -8 * deg, Chopping(10.0, 1.0, hard))
        run = steady_state(STRAIGHT, drive, 20.0)
        current = run.current[:, 0]
        chopped = current[np.argmax(current > 10.4) : np.searchsorted(run.angles, -8.001 * deg)]
        assert chopped.max() < 10.5 + 1e-6
        assert chopped.min() > 9.5 - 1e-6
        assert np.ptp(chopped) > 0.99  # and uses it


def test_fine_chopping_tends_to_the_level() -> None:
    window = (-34 * deg, -8 * deg)
    level = steady_state(STRAIGHT, DriveSpec(IDEAL, 0.4, *window, Tracking.level(10.0)), 20.0)
    fine = steady_state(STRAIGHT, DriveSpec(IDEAL, 0.4, *window, Chopping(10.0, 0.05)), 20.0)
    coarse = steady_state(STRAIGHT, DriveSpec(IDEAL, 0.4, *window, Chopping(10.0, 4.0)), 20.0)
    assert fine.mean_torque == pytest.approx(level.mean_torque, rel=2e-3)
    assert coarse.mean_torque != pytest.approx(level.mean_torque, rel=2e-3)


def test_the_source_sags_under_all_phases() -> None:
    """What is lost in the source is its resistance times the square of all currents together, not of each
    alone."""
    drive = DriveSpec(dataclasses.replace(IDEAL, source_resistance=0.5), 0.4, -34 * deg, -2 * deg)
    run = steady_state(SATURATING, drive, 60.0)
    drawn = run.current * np.where(own_angles(run) < -2 * deg - 1e-6, 1.0, -1.0)
    every = drawn.sum(axis=1) ** 2
    lost = run.energy.source_loss / run.cycle_time
    assert lost == pytest.approx(0.5 * np.trapezoid(every, run.angles) / run.pitch, rel=5e-3)
    alone = np.trapezoid((drawn**2).sum(axis=1), run.angles) / run.pitch
    assert lost != pytest.approx(0.5 * alone, rel=2e-2)
    assert run.energy.error < 1e-3


def test_torque_of_phases_that_share_nothing_is_their_sum() -> None:
    run = steady_state(SATURATING, DriveSpec(REAL, 0.4, -34 * deg, -14 * deg), 40.0)
    alone = SATURATING.single.at(run.angles[:, None] - np.arange(3) * 30 * deg, run.current)[1]
    np.testing.assert_allclose(run.torque, alone.sum(axis=1), atol=1e-9)
    mean = np.trapezoid(run.torque, run.angles) / run.pitch
    assert run.mean_torque == pytest.approx(mean, rel=2e-3)
    even = np.interp(run.angles[0] + run.pitch * np.arange(720) / 720, run.angles, run.torque)
    wave = np.exp(-2j * np.pi * 3 * np.arange(720) / 720)
    assert run.harmonics[2] == pytest.approx(2 * np.abs(np.mean(even * wave)))
    strokes = np.arange(1, 361) % 3 == 0
    assert run.harmonics[~strokes].max() < 2e-2 * run.harmonics[strokes].max()


def test_speed_ripple_of_a_known_torque_wave() -> None:
    """Torque T0 + T1 cos(12 angle): J speed d(speed)/d(angle) = T1 cos, so speed swings by 2 T1 / (12 J
    speed)."""
    run = single_pulse(-36, -16)
    angles = np.linspace(0, 90, 721) * deg
    wave = dataclasses.replace(run, angles=angles, torque=5.0 + 2.0 * np.cos(12 * angles))
    assert wave.speed_ripple(0.01) == pytest.approx(2 * 2.0 / (12 * 0.01 * SPEED), rel=1e-3)
    assert wave.harmonics[2:6] == pytest.approx([2.0, 0.0, 0.0, 0.0], abs=1e-9)


@pytest.mark.parametrize(
    ("drive", "speed", "sentence"),
    [
        (DriveSpec(IDEAL, 0.4, -34 * deg, -14 * deg), 0.0, "a steady state turns: speed is 0 rpm"),
        (
            DriveSpec(IDEAL, 0.4, -50 * deg, 50 * deg),
            9.0,
            "no more than a rotor pitch: dwell is 100 deg, .* 90 deg",
        ),
        (
            DriveSpec(IDEAL, 0.0, -34 * deg, 30 * deg),
            400.0,
            "flux linkage must come back each cycle.*dwell is 64 deg",
        ),
        (
            DriveSpec(IDEAL, 0.1, -34 * deg, -2 * deg),
            1.0,
            "beyond its last current: current is above 60 A at",
        ),
    ],
)
def test_refusals(drive: DriveSpec, speed: float, sentence: str) -> None:
    with pytest.raises(InvalidValue, match=sentence):
        steady_state(STRAIGHT, drive, speed)
