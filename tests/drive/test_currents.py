"""Currents at given angles: with them the map gives back the torque of the run, the rectangle, the waveform."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem.drive import (
    rectangular_currents,
    rectangular_torque,
    run_currents,
    steady_state,
    waveform_currents,
    waveform_torque,
)
from polefem.params import RectangularCurrent
from polefem.params.drive_spec import Bridge, DriveSpec, SinglePulse, Tracking
from polefem.units import deg
from tests.drive.straight import STRAIGHT

Floats = NDArray[np.float64]


@pytest.mark.parametrize("speed", [60.0, -60.0])
def test_the_torque_of_a_run_is_that_of_its_currents(speed: float) -> None:
    spec = DriveSpec(Bridge(48.0), 0.2, -36 * deg, -16 * deg, SinglePulse())
    run = steady_state(STRAIGHT, spec, speed)
    # In the direction of turning the rotor's own angles run backwards where the speed is negative.
    turned = np.sign(speed) * run.angles[5:-5:7] + 3 * run.pitch

    def same(currents: Floats) -> bool:
        torque = np.sign(speed) * STRAIGHT.at(turned, currents).torque
        return bool(np.allclose(torque, run.torque[5:-5:7], atol=1e-6 * run.highest_torque))

    assert same(run_currents(run, turned))
    assert not same(run_currents(run, -turned))
    assert not same(np.roll(run_currents(run, turned), 1, axis=1))


def test_rectangles_and_waveforms_have_the_mean_torque_of_theirs() -> None:
    angles = (np.arange(3600) + 0.5) / 3600 * STRAIGHT.pitch
    drive = RectangularCurrent(-33 * deg, -2 * deg)
    form = Tracking((-33 * deg, -20 * deg, -2 * deg), (1.0, 8.0, 2.0))
    rectangles = rectangular_currents(drive, 8.0, STRAIGHT.phases, STRAIGHT.pitch, angles)
    waves = waveform_currents(form, STRAIGHT.phases, STRAIGHT.pitch, angles)

    def right(currents: Floats, mean: float) -> bool:
        return abs(STRAIGHT.at(angles, currents).torque.mean() / mean - 1) < 1e-3

    assert right(rectangles, rectangular_torque(STRAIGHT, drive, 8.0).mean)
    assert right(waves, waveform_torque(STRAIGHT, form).mean)
    assert not right(rectangles, waveform_torque(STRAIGHT, form).mean)
    assert not right(np.roll(waves, 200, axis=0), waveform_torque(STRAIGHT, form).mean)
