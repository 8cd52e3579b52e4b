"""A generator's powers: one stroke by scipy's integrator with the energies as states, and a closed case.

The circuit is written down from its own laws alone: d(L i)/dt = v - R i with v = V less two switches from turn-on to
turn-off, and -V less two diodes after it until no current flows; torque i^2 / 2 dL/dangle. Nothing of `polefem.drive`
is in it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from polefem.drive import DriveRun, steady_state
from polefem.maps import summed
from polefem.params import RectangularCurrent
from polefem.params.drive_spec import Bridge, DriveSpec, Tracking
from polefem.study import EqualCurrent, RectangularOperatingPoint
from polefem.study.drive_operating_point import run_figures
from polefem.study.record import OperatingPointFigures
from polefem.units import deg, rpm
from tests.drive.straight import ALIGNED, RISE, STRAIGHT, UNALIGNED, inductance, slope

OHMS, SPEED, ON, OFF = 0.4, 600 * rpm, 2 * deg, 16 * deg
BRIDGE = Bridge(48.0, switch_drop=0.7, diode_drop=0.8)
PITCH, PHASES = 90 * deg, 3


@dataclass(frozen=True)
class Stroke:
    """Energies of one phase over a rotor pitch, J: lent by the dc link while the phase is on, returned to it after,
    lost in copper and in devices (of that, while it is on), taken from the shaft; peak current, A."""

    lent: float
    returned: float
    copper: float
    copper_on: float
    device: float
    device_on: float
    shaft: float
    peak: float


def stroke() -> Stroke:
    """One generating stroke from rest, integrated over the angle."""

    def flows(volts: float, drop: float, link: float):
        def rates(angle: float, state: np.ndarray) -> list[float]:
            i = state[0]
            torque = i**2 / 2 * float(slope(angle))
            rise = ((volts - OHMS * i) / SPEED - i * float(slope(angle))) / float(inductance(angle))
            return [rise, link * i / SPEED, OHMS * i**2 / SPEED, drop * i / SPEED, -torque]

        return rates

    v, up, down = BRIDGE.supply, 2 * BRIDGE.switch_drop, 2 * BRIDGE.diode_drop
    end = lambda _, state: float(state[0])  # noqa: E731
    end.terminal, end.direction = True, -1.0  # type: ignore[attr-defined]
    how = {"rtol": 1e-10, "atol": 1e-12, "max_step": 0.05 * deg}
    on = solve_ivp(flows(v - up, up, v), (ON, OFF), np.zeros(5), **how)
    before = on.y[:, -1]
    after = solve_ivp(flows(-v - down, down, -v), (OFF, ON + PITCH), before, events=end, **how)
    total = after.y[:, -1]
    assert after.status == 1  # the current ended
    return Stroke(
        lent=before[1],
        returned=before[1] - total[1],
        copper=total[2],
        copper_on=before[2],
        device=total[3],
        device_on=before[3],
        shaft=total[4],
        peak=max(on.y[0].max(), after.y[0].max()),
    )


def run() -> DriveRun:
    return steady_state(STRAIGHT, DriveSpec(BRIDGE, OHMS, ON, OFF), SPEED)


def as_integrated(figures: OperatingPointFigures, one: Stroke) -> bool:
    """Whether every power of a generator is that of the stroke, within 0.1 %."""
    watts = PHASES * SPEED / PITCH
    pairs = [
        (figures.power_in, one.shaft * watts),
        (figures.power_out, (one.returned - one.lent) * watts),
        (figures.excitation_power, one.lent * watts),
        (figures.excitation_loss, (one.copper_on + one.device_on) * watts),
        (figures.copper_loss, one.copper * watts),
        (figures.bridge_loss, one.device * watts),
        (figures.efficiency, (one.returned - one.lent) / one.shaft),
        (figures.link_current, (one.returned - one.lent) * watts / BRIDGE.supply),
        (figures.mean_torque, -one.shaft * PHASES / PITCH),
        (figures.peak_current, one.peak),
    ]
    return all(found is not None and abs(found / wanted - 1) < 1e-3 for found, wanted in pairs)


def adds_up(figures: OperatingPointFigures, iron: float = 0.0) -> bool:
    """Whether shaft power is power out and all losses, within 0.1 %."""
    spent = figures.power_out + figures.copper_loss + (figures.bridge_loss or 0.0) + iron
    return abs(figures.power_in / spent - 1) < 1e-3


def test_a_generating_stroke_is_that_of_a_general_integrator() -> None:
    figures, one = run_figures(run()), stroke()
    assert one.returned > one.lent > 0 and figures.mean_torque < 0
    assert as_integrated(figures, one)
    gone_wrong = replace(
        one, returned=one.lent - one.returned + one.lent
    )  # returned energy with its sign wrong
    assert not as_integrated(figures, gone_wrong)
    assert not as_integrated(figures, replace(one, copper=one.copper - one.copper_on))
    assert not as_integrated(figures, replace(one, lent=0.0))


def test_shaft_power_is_power_out_and_losses() -> None:
    figures = run_figures(run())
    assert adds_up(figures)
    assert not adds_up(replace(figures, copper_loss=0.0))
    assert not adds_up(replace(figures, power_out=-figures.power_out))


def test_iron_loss_is_the_shafts_to_give() -> None:
    """At the same currents a generator takes more from its shaft, and gives no more."""
    iron = 7.0
    drive = DriveSpec(BRIDGE, OHMS, ON, OFF)
    lossy, plain = steady_state(STRAIGHT, drive, SPEED, iron_loss=iron), run()
    assert lossy.power_in == pytest.approx(plain.power_in + iron)
    assert lossy.power_out == plain.power_out
    assert lossy.efficiency == pytest.approx(plain.power_out / (plain.power_in + iron))
    figures = run_figures(lossy)
    assert adds_up(figures, iron) and not adds_up(figures)


def test_a_held_current_on_the_falling_inductance_generates_in_closed_form() -> None:
    """i for a dwell on the straight fall: shaft power i^2 / 2 |dL/dangle| speed for its share of the pitch a phase; out
    comes that less i^2 R (co-energy L i^2 / 2; T. J. E. Miller 1993, from memory)."""
    current, on, off = 5.0, 5 * deg, 27 * deg
    point = RectangularOperatingPoint("charging", RectangularCurrent(on, off), EqualCurrent(current), SPEED)
    figures = point.figures(STRAIGHT, OHMS)
    share = PHASES * (off - on) / PITCH
    shaft = current**2 / 2 * RISE * SPEED * share
    heat = OHMS * current**2 * share
    assert figures.power_in == pytest.approx(shaft, rel=1e-6)
    assert figures.power_out == pytest.approx(shaft - heat, rel=1e-6)
    assert figures.efficiency == pytest.approx(1 - heat / shaft, rel=1e-6)
    assert figures.power_out != pytest.approx(shaft + heat, rel=1e-3)
    assert (figures.lowest_torque, figures.highest_torque) == pytest.approx(
        (0.0, -(current**2) / 2 * RISE), abs=1e-9
    )


def test_a_stiff_link_comes_near_the_held_current() -> None:
    """The field that is lent before the fall comes back past it: L i^2 / 2 at either end, beside the shaft's work."""
    current, on, off = 5.0, 5 * deg, 27 * deg
    drive = DriveSpec(Bridge(2000.0), OHMS, on, off, Tracking.level(current))
    figures = run_figures(steady_state(STRAIGHT, drive, SPEED))
    share = PHASES * (off - on) / PITCH
    assert figures.power_in == pytest.approx(current**2 / 2 * RISE * SPEED * share, rel=0.02)
    field = ALIGNED - RISE * (on - 3 * deg)
    lent = PHASES * SPEED / PITCH * field * current**2 / 2
    assert figures.excitation_power == pytest.approx(lent, rel=0.05)
    assert figures.excitation_power != pytest.approx(lent * UNALIGNED / ALIGNED, rel=0.5)


def test_a_rotor_braked_for_nothing_gives_nothing() -> None:
    """So slow that the copper takes all that the shaft gives, and more from the link."""
    drive = DriveSpec(BRIDGE, 20.0, ON, OFF, Tracking.level(2.0))
    slow = run_figures(steady_state(summed(STRAIGHT.single), drive, 20 * rpm))
    assert slow.mean_torque < 0.0
    assert (slow.power_out, slow.efficiency) == (0.0, None)
    assert adds_up(slow)
    assert math.isfinite(slow.power_in)
