"""Profiles that make the torque flat, a waveform that is given, and what is said about a run that goes
wrong."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from polefem.drive import advance_needed, advice, best_sharing, share_torque, steady_state, waveform_torque
from polefem.errors import InvalidValue
from polefem.maps import linear_map, summed
from polefem.params.drive_spec import Bridge, Chopping, DriveSpec, Tracking
from polefem.units import deg
from tests.drive.straight import STRAIGHT
from tests.maps.saturating import sampled

BRIDGE, OHMS = Bridge(48.0, 0.7, 0.8), 0.5
WIDE = summed(linear_map(60e-3, 6e-3, full=2 * deg, apart=40 * deg, current=60.0, corner=0.5 * deg))
RISE = 54e-3 / (38 * deg)
SATURATING = summed(sampled(31, 15, 60.0))


def test_shares_on_the_straight_flank() -> None:
    """Alone, a phase gives i^2/2 dL/dangle: the current is sqrt(2 T / (dL/dangle)); changing over, the shares
    add up."""
    sharing = share_torque(WIDE, BRIDGE, OHMS, 2.0, -38 * deg, 4 * deg)
    alone = (sharing.angles > -33.9 * deg) & (sharing.angles < -8.1 * deg)
    np.testing.assert_allclose(sharing.currents[:, alone], np.sqrt(2 * 2.0 / RISE), rtol=1e-6)
    run = waveform_torque(WIDE, Tracking(sharing.angles, sharing.currents[0]))
    assert run.mean == pytest.approx(2.0, rel=1e-3) and run.ripple < 5e-3
    twisted = waveform_torque(WIDE, Tracking(sharing.angles, 1.0 * sharing.currents[0] ** 0.98))
    assert twisted.ripple > 5e-3


def test_a_small_torque_is_shared_as_a_large_one_is() -> None:
    """Where iron is straight, torque goes as the square of all currents: a millionth takes a thousandth of each."""
    large, small = (share_torque(WIDE, BRIDGE, OHMS, torque, -38 * deg, 4 * deg) for torque in (2.0, 2e-6))
    np.testing.assert_allclose(1e3 * small.currents, large.currents, rtol=1e-3, atol=1e-6)


def test_how_fast_the_supply_follows_is_what_it_has_left() -> None:
    """On the flank dL/dangle i is the slope of the flux linkage: source, coil and switches take their share of the
    supply, and what is left drives it. The changing over is steeper: a bound from above."""
    sharing = share_torque(WIDE, BRIDGE, OHMS, 2.0, -38 * deg, 4 * deg)
    current = math.sqrt(2 * 2.0 / RISE)
    assert sharing.speed_limit < (48.0 - 1.4 - OHMS * current) / (RISE * current)
    behind = share_torque(WIDE, Bridge(48.0, 0.7, 0.8, source_resistance=0.3), OHMS, 2.0, -38 * deg, 4 * deg)
    in_the_coil = share_torque(WIDE, BRIDGE, OHMS + 0.3, 2.0, -38 * deg, 4 * deg)
    assert behind.speed_limit == pytest.approx(in_the_coil.speed_limit)
    assert behind.speed_limit > 1.001 * sharing.speed_limit, (
        "here falling flux limits, and resistance helps it fall"
    )


@pytest.mark.parametrize("torque", [2.0, -2.0])
def test_the_bridge_holds_the_torque_flat_up_to_the_limit(torque: float) -> None:
    sharing = best_sharing(WIDE, BRIDGE, OHMS, torque, 4.0)
    assert sharing.speed_limit >= 4.0
    drive = sharing.drive(BRIDGE, OHMS)
    slow = steady_state(WIDE, drive, 0.99 * sharing.speed_limit)
    assert slow.mean_torque == pytest.approx(torque, rel=2e-3) and slow.ripple < 1e-2
    assert slow.copper_loss == pytest.approx(sharing.copper_loss, rel=5e-3)
    fast = steady_state(WIDE, drive, 2.0 * sharing.speed_limit)
    assert fast.ripple > 0.05


def test_the_best_profile_is_cooler_than_others_that_keep_up() -> None:
    best = best_sharing(WIDE, BRIDGE, OHMS, 2.0, 4.0)
    others = [share_torque(WIDE, BRIDGE, OHMS, 2.0, on * deg, 6 * deg) for on in (-39.5, -39.0, -38.5)]
    assert all(best.copper_loss <= 1.001 * other.copper_loss for other in others if other.speed_limit >= 4.0)


def test_sharing_refusals() -> None:
    with pytest.raises(
        InvalidValue, match=r"follow the profile of 2 N m: speed is 4775 rpm, allowed is up to about"
    ):
        best_sharing(WIDE, BRIDGE, OHMS, 2.0, 500.0)
    with pytest.raises(
        InvalidValue, match=r"flat torque with 5 A: torque is 90 N m, allowed is between 0 and about"
    ):
        best_sharing(WIDE, BRIDGE, OHMS, 90.0, 1.0, current_limit=5.0)
    with pytest.raises(
        InvalidValue, match=r"every angle of a profile must give its share of the torque: torque is"
    ):
        share_torque(STRAIGHT, BRIDGE, OHMS, 2.0, -38 * deg, 4 * deg)
    with pytest.raises(
        InvalidValue,
        match=r"an overlap is a part of a stroke: overlap is 40 deg, allowed is above 0 and below 30 deg$",
    ):
        share_torque(WIDE, BRIDGE, OHMS, 2.0, -38 * deg, 40 * deg)


def test_flat_torque_that_the_iron_allows_is_named() -> None:
    """The sentence names the most that can be made flat; a little less can."""
    with pytest.raises(InvalidValue, match="between 0 and about") as refused:
        best_sharing(SATURATING, Bridge(400.0), OHMS, 60.0, 1.0)
    most = float(str(refused.value).split("about ")[1].split()[0])
    assert best_sharing(SATURATING, Bridge(4000.0), OHMS, 0.95 * most, 0.1).torque == pytest.approx(
        0.95 * most
    )


def test_a_given_waveform() -> None:
    square = Tracking([-35 * deg, -5 * deg], [6.0, 6.0])
    run = waveform_torque(WIDE, square)
    assert run.mean == pytest.approx(6.0**2 / 2 * RISE, rel=1e-6) and run.ripple < 1e-6
    assert run.rms_current == pytest.approx(6.0 / np.sqrt(3), rel=1e-2)
    with pytest.raises(
        InvalidValue, match=r"no more than a rotor pitch: tracking.angles is 100 deg, allowed is up to 90"
    ):
        waveform_torque(WIDE, Tracking([-50 * deg, 50 * deg], [1.0, 1.0]))


def test_a_braking_current_is_told_with_its_remedy() -> None:
    """Without resistance the current ends as long after turn-off as turn-on was before: turn-off at half of
    turn-on."""
    drive = DriveSpec(Bridge(48.0), 0.0, -36 * deg, -14 * deg)
    run = steady_state(STRAIGHT, drive, 60.0)
    (sentence,) = advice(STRAIGHT, run)
    assert sentence == "the current flows on to 8 deg and brakes past aligned: turn off 4 deg earlier"
    advance = advance_needed(STRAIGHT, run)
    assert advance == pytest.approx(4 * deg, abs=2e-4)
    better = steady_state(STRAIGHT, dataclasses.replace(drive, turn_off=drive.turn_off - advance), 60.0)
    assert abs(better.extinction) < 0.02 * deg
    good = steady_state(STRAIGHT, dataclasses.replace(drive, turn_off=-20 * deg), 60.0)
    assert advice(STRAIGHT, good) == () and advance_needed(STRAIGHT, good) == 0.0


def test_a_voltage_too_low_for_the_speed_is_told() -> None:
    for control in (Tracking.level(30.0), Chopping(30.0, 1.0)):
        run = steady_state(STRAIGHT, DriveSpec(BRIDGE, OHMS, -34 * deg, -20 * deg, control), 100.0)
        sentence = advice(STRAIGHT, run)[0]
        assert sentence.startswith("the supply never brings the current to 30 A at 954.9 rpm: it peaks at")
    slow = steady_state(STRAIGHT, DriveSpec(BRIDGE, OHMS, -34 * deg, -20 * deg, Tracking.level(5.0)), 10.0)
    assert advice(STRAIGHT, slow) == ()


def test_a_turn_on_past_saving_and_a_brake_that_is_meant() -> None:
    late = steady_state(STRAIGHT, DriveSpec(Bridge(48.0), 0.0, -0.5 * deg, 8 * deg), 60.0)
    assert advice(STRAIGHT, late) == ()
    pulse = DriveSpec(Bridge(48.0, diode_drop=0.0), 0.4, -30 * deg, 10 * deg, Chopping(3.0, 0.2))
    (sentence,) = advice(STRAIGHT, steady_state(STRAIGHT, pulse, 10.0))
    assert "brakes past aligned: turn off" in sentence
