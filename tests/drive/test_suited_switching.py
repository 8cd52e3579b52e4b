"""The ideal switching that suits a machine, against plain scans of both angles and a case known by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from importlib import import_module
from typing import Any

import numpy as np
import pytest

from polefem.drive import current_for_mean_torque, rectangular_torque, suited_switching
from polefem.errors import InvalidValue
from polefem.maps import linear_map, summed
from polefem.params import RectangularCurrent, SuitedSwitching
from polefem.units import deg
from tests.maps.coupled_phases import coupled

CURRENT = 12.0
suited_room: Any = import_module("polefem.drive.suited_switching")


def suited(m, asked: SuitedSwitching, current: float = CURRENT):
    """The torque under the switching that suits a map at one current."""
    found = suited_switching(m, asked, lambda dwell: (current,), lambda d: rectangular_torque(m, d, current))
    return rectangular_torque(m, found, current)


def scanned(m, asked: SuitedSwitching) -> float:
    """The least ripple, or the most torque, of a plain scan."""
    sign = -1.0 if asked.generating else 1.0
    found = []
    for on in range(-20, 31, 2) if asked.generating else range(-60, -10, 2):
        for dwell in range(30, 46, 3):
            drive = RectangularCurrent(on * deg, (on + dwell) * deg, asked.ramp)
            run = rectangular_torque(m, drive, CURRENT)
            if sign * run.mean > asked.least_torque:
                found.append(run.ripple if asked.objective == "ripple" else -sign * run.mean)
    return min(found)


ASKED = [
    SuitedSwitching(),
    SuitedSwitching(generating=True),
    SuitedSwitching("torque"),
    SuitedSwitching("torque", generating=True),
    SuitedSwitching(least_torque=3.6),
    SuitedSwitching(ramp=4 * deg),
    SuitedSwitching("torque", generating=True, ramp=6 * deg),
]


def beats_the_scan(found: float, scan: float) -> bool:
    """At least as good as the scan, up to what the last step of the refinement leaves."""
    return found <= scan + 1e-4 * abs(scan)


@pytest.mark.parametrize("asked", ASKED, ids=str)
def test_it_beats_a_plain_scan(asked) -> None:
    m = coupled()
    run, sign = suited(m, asked), -1.0 if asked.generating else 1.0
    assert beats_the_scan(run.ripple if asked.objective == "ripple" else -sign * run.mean, scanned(m, asked))
    assert sign * run.mean > asked.least_torque
    assert 1.0 - 1e-9 <= run.drive.dwell / m.stroke <= 1.5 + 1e-9


def test_the_switching_of_a_sum_does_not_suit_phases_that_share_iron() -> None:
    m = coupled()
    alone = suited(summed(m.single), SuitedSwitching())
    together = rectangular_torque(m, alone.drive, CURRENT)
    assert not beats_the_scan(together.ripple, scanned(m, SuitedSwitching()))


def test_the_switching_of_steps_does_not_suit_ramps() -> None:
    m = coupled()
    of_steps = suited(m, SuitedSwitching()).drive
    ramped = rectangular_torque(m, replace(of_steps, ramp=4 * deg), CURRENT)
    assert not beats_the_scan(ramped.ripple, scanned(m, SuitedSwitching(ramp=4 * deg)))


def test_a_flat_torque_is_found() -> None:
    """Where the torque of a phase is flat for a little more than a stroke, some switching has no ripple at all."""
    m = summed(linear_map(60e-3, 6e-3, full=0.0, apart=31 * deg, current=20.0, corner=1e-6))
    run = suited(m, SuitedSwitching())
    assert run.ripple < 1e-6
    assert run.drive.dwell == pytest.approx(30 * deg, abs=0.01 * deg), "of two equally smooth, the cooler"
    assert run.mean == pytest.approx(CURRENT**2 / 2 * 54e-3 / (31 * deg), rel=1e-6)


def test_at_a_torque_that_is_wanted() -> None:
    m = coupled()
    wanted = 1.5
    levels = np.geomspace(2.0, 20.0, 8)

    def torque(drive):
        return rectangular_torque(m, drive, current_for_mean_torque(m, drive, wanted))

    smooth = torque(suited_switching(m, SuitedSwitching(), lambda d: levels, torque, wanted))
    cool = torque(suited_switching(m, SuitedSwitching("torque"), lambda d: levels, torque, wanted))
    assert smooth.mean == pytest.approx(wanted) and cool.mean == pytest.approx(wanted)
    assert smooth.ripple < cool.ripple and cool.rms_current < smooth.rms_current
    for on in range(-42, -24, 4):
        for dwell in range(30, 46, 5):
            try:
                run = torque(RectangularCurrent(on * deg, (on + dwell) * deg))
            except InvalidValue:  # no current of the map gives it
                continue
            assert smooth.ripple <= run.ripple + 1e-4 and cool.rms_current <= run.rms_current + 1e-3


def test_refusals() -> None:
    m = coupled()
    with pytest.raises(
        InvalidValue, match=r"torque of a motor: drive.least_torque is 500 N m or more, allowed is up to"
    ):
        suited(m, SuitedSwitching(least_torque=500.0))
    with pytest.raises(InvalidValue, match=r"drive\.objective is 'power', allowed is 'ripple' or 'torque'"):
        SuitedSwitching("power")
    with pytest.raises(InvalidValue, match=r"a least torque is a size: drive\.least_torque is -1 N m"):
        SuitedSwitching(least_torque=-1.0)
    assert str(replace(SuitedSwitching(), least_torque=3.0)).endswith(
        "least ripple of at least 3 N m for each"
    )
    assert math.isclose(RectangularCurrent(5 * deg, 35 * deg).dwell, 30 * deg)


def scan_at(current: float, gain: np.ndarray) -> Any:
    """A scan of one dwell at a current, of three turn-on angles whose torques go as their gains times the current."""
    torque = gain * current
    return suited_room._Scanned(0.5, np.arange(3.0), np.full(3, current), torque, 2 * torque, torque / 2)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_between_currents_of_the_scan_torque_and_current_go_straight(sign: float) -> None:
    """Where torque goes as the current, the wanted one is had at its share of it; below the lowest current the scan
    stays there, and above the last there is none."""
    gain = sign * np.array([1.0, 2.0, 0.1])
    group = [scan_at(current, gain) for current in (1.0, 2.0, 4.0)]
    found = suited_room._at_torque(group, sign * 3.0)
    np.testing.assert_allclose(found.current, [3.0, 1.5, np.nan])
    np.testing.assert_allclose(found.mean, [sign * 3.0, sign * 3.0, np.nan])
    np.testing.assert_allclose(found.highest, 2 * found.mean)
    np.testing.assert_allclose(found.lowest, found.mean / 2)
    lowest = suited_room._at_torque(group, sign * 0.5)
    np.testing.assert_allclose(lowest.current, [1.0, 1.0, np.nan])
    equal = suited_room._at_torque([scan_at(1.0, gain), scan_at(1.0, gain)], sign * 1.5)
    np.testing.assert_allclose(equal.current, [np.nan, 1.0, np.nan])
