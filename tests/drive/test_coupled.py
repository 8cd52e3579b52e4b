"""Phases that share a field, on the bridge: against a general integrator, with what must not pass beside it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem.drive import (
    DriveRun,
    Quantity,
    best_setting,
    current_for_mean_torque,
    position_table,
    rectangular_torque,
    run_free_shaft,
    share_torque,
    steady_state,
    suited_switching,
)
from polefem.drive.cycle import _Followed, _Pitch
from polefem.errors import InvalidValue
from polefem.maps import CoupledMap, Interaction, linear_map, summed
from polefem.params import RectangularCurrent, SuitedSwitching
from polefem.params.drive_spec import (
    AverageVoltage,
    Bridge,
    Chopping,
    DriveSpec,
    Load,
    PhaseTracking,
    SinglePulse,
    Tracking,
)
from polefem.units import deg
from tests.drive.integrated import Integrated, integrated
from tests.drive.sharing_iron import SHARING, changed, sharing_iron

MUTUAL = 9e-3
BRIDGE, SAGGING, OHMS = Bridge(48.0, 0.7, 0.8), Bridge(48.0, 0.7, 0.8, 0.2), 0.6
POINTS = {
    "single pulse": (DriveSpec(BRIDGE, OHMS, -30 * deg, -8 * deg), 80.0),
    "soft chopping": (DriveSpec(BRIDGE, OHMS, -32 * deg, 2 * deg, Chopping(10.0, 2.0)), 40.0),
    "generating": (DriveSpec(BRIDGE, OHMS, -4 * deg, 14 * deg), 90.0),
}


@cache
def run_of(name: str) -> DriveRun:
    return steady_state(SHARING, *POINTS[name])


@cache
def independent(name: str) -> Integrated:
    current = run_of(name).current
    return integrated(SHARING, *POINTS[name], current[0], rising=current[-1] > current[-2])


def agrees(run: DriveRun, found: Integrated) -> bool:
    """Whether mean torque, extremes, losses of every phase and all flux linkages are those of an independent
    integration, which also comes back to where it began."""
    _, places = np.unique(found.angles, return_index=True)  # where a band switches, an angle stands twice
    linkages = np.stack(
        [np.interp(run.angles, found.angles[places], flux[places]) for flux in found.flux_linkages.T], axis=1
    )
    peak = np.abs(found.torque).max()
    squares = np.trapezoid(run.current**2, run.angles, axis=0) / run.pitch
    return bool(
        abs(run.mean_torque / found.mean_torque - 1) < 2e-4
        and abs(run.highest_torque - found.torque.max()) < 1e-3 * peak
        and abs(run.lowest_torque - found.torque.min()) < 1e-3 * peak
        and np.abs(squares / found.mean_squares - 1).max() < 5e-4
        and np.abs(linkages - run.flux_linkage).max() < 5e-4 * found.flux_linkages.max()
        and np.abs(found.currents[-1] - found.currents[0]).max() < 1e-3 * run.peak_current
    )


@pytest.mark.parametrize("name", POINTS)
def test_against_a_general_integrator(name: str) -> None:
    assert agrees(run_of(name), independent(name))
    for broken in (summed(SHARING.single), changed(SHARING, -1.0)):
        assert not agrees(steady_state(broken, *POINTS[name]), independent(name))


def test_strokes_differ_where_one_pair_meets_with_the_other_sign() -> None:
    strokes = {}
    for m in (SHARING, sharing_iron(alike=True)):
        run = steady_state(m, *POINTS["single pulse"])
        even = np.interp(run.angles[0] + run.pitch * np.arange(720) / 720, run.angles, run.torque)
        strokes[m] = float(np.ptp(even.reshape(3, 240), axis=0).max())
        below = run.harmonics[:2].max()
        assert (below > 0.02 * run.mean_torque) == (m is SHARING)
    unlike, alike = strokes.values()
    assert alike < 1e-3 < 0.1 < unlike


@pytest.mark.parametrize("hard", [False, True], ids=["soft", "hard"])
def test_comparators_go_on_from_pitch_to_pitch(hard: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    """At turn-on of one phase another is within its band: where all pairs of coils are alike, all phases do alike."""
    drive = DriveSpec(BRIDGE, OHMS, -32 * deg, 2 * deg, Chopping(8.0, 2.0, hard))
    follow = _Pitch.follow

    def differ() -> bool:
        run = steady_state(sharing_iron(alike=True), drive, 40.0)
        squares = np.trapezoid(run.current**2, run.angles, axis=0)
        return bool(np.ptp(squares) > 1e-6 * squares.mean())

    def all_rising(pitch: _Pitch, start: NDArray[np.float64]) -> _Followed | None:
        pitch.rising = np.ones(3, dtype=bool)
        return follow(pitch, start)

    assert not differ()
    monkeypatch.setattr(_Pitch, "follow", all_rising)
    assert differ()


def test_a_run_says_whether_its_phases_share_a_field() -> None:
    apart = steady_state(summed(SHARING.single), *POINTS["single pulse"])
    assert (apart.coupling, run_of("single pulse").coupling) == ("summed", "joint")
    assert repr(apart).startswith("DriveRun(summed, ") and repr(run_of("single pulse")).startswith(
        "DriveRun(joint, "
    )


def test_phases_that_share_nothing_are_as_summed() -> None:
    drive, speed = POINTS["soft chopping"]
    nothing, apart = (steady_state(m, drive, speed) for m in (changed(SHARING, 0.0), summed(SHARING.single)))
    np.testing.assert_allclose(nothing.current, apart.current, rtol=1e-9, atol=1e-9)
    assert nothing.mean_torque == pytest.approx(apart.mean_torque, rel=1e-9)
    rolled = apart.of_phase(0), apart.of_phase(1), apart.of_phase(2)
    for other in rolled[1:]:
        at = np.interp(rolled[0].angles, other.angles, other.current)
        assert np.abs(at - rolled[0].current).max() < 0.02 * apart.peak_current


CONTROLS = {
    "pulse": SinglePulse(),
    "soft": Chopping(10.0, 1.0),
    "hard": Chopping(10.0, 1.0, hard=True),
    "modulated": AverageVoltage(0.6),
    "level": Tracking.level(10.0),
    "profile": Tracking([-34 * deg, -25 * deg, -2 * deg], [0.0, 12.0, 6.0]),
}


@pytest.mark.parametrize("name", CONTROLS)
@pytest.mark.parametrize("bridge", [BRIDGE, SAGGING], ids=["stiff", "sagging"])
@pytest.mark.parametrize("speed", [70.0, -90.0])
def test_energy_adds_up(bridge: Bridge, name: str, speed: float) -> None:
    run = steady_state(SHARING, DriveSpec(bridge, 0.4, -30 * deg, -8 * deg, CONTROLS[name]), speed)
    assert run.energy.error < 1e-3
    assert replace(run.energy, mechanical=1.02 * run.energy.mechanical).error > 1e-3
    terminal = run.energy.source - run.energy.source_loss - run.energy.device_loss
    given = float(
        (run.voltage * (run.current[1:] + run.current[:-1]) / 2 * np.diff(run.angles)[:, None]).sum()
    )
    assert given / abs(speed) == pytest.approx(terminal, abs=2e-3 * run.energy.lent)


def test_a_resting_phase_has_the_linkage_its_neighbours_give_it() -> None:
    run = run_of("single pulse")
    resting = (run.current[:-1] == 0.0) & (run.current[1:] == 0.0)
    point = SHARING.at(run.angles, run.current)
    peak = run.flux_linkage.max()
    np.testing.assert_allclose(run.flux_linkage, point.flux_linkages, atol=1e-6 * peak)
    assert np.abs(run.flux_linkage[:-1][resting]).max() > 0.02 * peak
    assert (np.abs(run.voltage[resting]) <= 48.0 + 1.6).all()  # else its diodes would conduct


def transformer(sign: float) -> CoupledMap:
    """Straight iron in which phase 2, aligned, takes up most of what phase 0, unaligned, makes."""
    alone = linear_map(60e-3, 6e-3, full=3 * deg, apart=28 * deg, current=60.0, corner=1 * deg)
    angles, currents = np.linspace(0.0, 90.0, 61) * deg, np.array([0.0, 30.0, 60.0])
    theta, i, j = np.meshgrid(angles[:-1], currents, currents, indexing="ij")
    mutual = sign * MUTUAL * np.exp(4 * (np.cos(4 * (theta - 60 * deg)) - 1))
    turning = -16 * np.sin(4 * (theta - 60 * deg)) * mutual
    part = Interaction.through(
        (0, 2), angles, currents, mutual * i * j, turning * i * j, np.stack([mutual * j, mutual * i])
    )
    return CoupledMap(alone, (part,))


def test_a_phase_conducts_where_more_is_induced_than_the_supply_holds_back() -> None:
    """At turn-on of phase 0 the supply V would induce -V M / L0 in phase 2, which is off: with M > L0 its diodes
    conduct and hold it at -V, so that both currents rise as [V, -V] over the matrix of inductances."""
    run = steady_state(transformer(-1.0), DriveSpec(Bridge(48.0), 0.0, -30 * deg, -18 * deg), 60.0)
    early = 4
    matrix = np.array([[6e-3, -MUTUAL], [-MUTUAL, 60e-3]])
    rise = np.linalg.solve(matrix, [48.0, -48.0]) * (run.angles[early] - run.angles[0]) / 60.0
    assert rise.min() > 0.0
    assert run.current[0].max() == 0.0
    assert run.current[early, [0, 2]] == pytest.approx(rise, rel=0.02)
    assert run.voltage[early, 2] == pytest.approx(-48.0)
    assert run.energy.error < 1e-3
    other = steady_state(transformer(1.0), DriveSpec(Bridge(48.0), 0.0, -30 * deg, -18 * deg), 60.0)
    assert other.current[early, 2] == 0.0 and other.voltage[early, 2] > 48.0


@pytest.mark.parametrize("quantity", ["flux_linkage", "incremental_inductance"])
def test_a_position_is_misread_beside_a_neighbour_that_conducts(quantity: Quantity) -> None:
    """By as much as the neighbour shifts the flux linkage, over its slope with the angle; by nothing if none shares
    the field."""
    blind, seen = (
        position_table(SHARING, [2.0, 4.0], quantity=quantity, phase=1, beside=beside, samples=181)
        for beside in (0.0, [12.0, 0.0, 0.0])
    )
    assert np.nanmax(np.abs(seen.misreading(seen))) < 1e-9
    found = np.abs(blind.misreading(seen))
    assert np.nanmax(found) > 1 * deg
    apart, with_current = (
        position_table(summed(SHARING.single), [2.0, 4.0], quantity=quantity, phase=1, beside=beside)
        for beside in (0.0, [12.0, 0.0, 0.0])
    )
    np.testing.assert_allclose(apart.values, with_current.values)
    if quantity == "flux_linkage":
        little = position_table(SHARING, [2.0, 4.0], phase=1, beside=[0.5, 0.0, 0.0], samples=181)
        at = int(np.searchsorted(little.angles, -20 * deg))
        angle, i = little.angles[at] + 30 * deg, np.array([0.5, 2.0, 0.0])
        shift = SHARING.at(angle, i).flux_linkages[1] - SHARING.at(angle, i * [0, 1, 1]).flux_linkages[1]
        assert blind.misreading(little)[0, at] == pytest.approx(shift / blind.slopes[0, at], rel=0.1)


def test_shared_torque_is_flat_in_one_field_and_takes_a_profile_a_phase() -> None:
    sharing = share_torque(SHARING, BRIDGE, OHMS, 0.5, -37 * deg, 6 * deg)
    assert sharing.coupling == "joint"
    assert np.ptp(sharing.currents, axis=0).max() > 0.02 * sharing.currents.max()
    drive = sharing.drive(Bridge(2000.0), OHMS)
    assert isinstance(drive.control, PhaseTracking)
    run = steady_state(SHARING, drive, 2.0)
    assert run.mean_torque == pytest.approx(0.5, rel=2e-3) and run.ripple < 1e-2
    apart = share_torque(summed(SHARING.single), BRIDGE, OHMS, 0.5, -37 * deg, 6 * deg)
    assert steady_state(SHARING, apart.drive(Bridge(2000.0), OHMS), 2.0).ripple > 2e-2


def test_a_free_shaft_settles_where_the_steady_state_is() -> None:
    drive = DriveSpec(BRIDGE, OHMS, -30 * deg, -4 * deg, AverageVoltage(0.8))
    steady = steady_state(SHARING, drive, 60.0)
    load = Load(drag=steady.mean_torque / 60.0)
    run = run_free_shaft(SHARING, drive, load, 0.5, 0.2, angle=-30 * deg, speed=60.0)
    assert run.coupling == "joint" and run.energy.error < 1e-3
    last = run.angle >= run.angle[-1] - 4 * 90 * deg
    mean = np.trapezoid(run.torque[last], run.angle[last]) / np.ptp(run.angle[last])
    assert run.speed[-1] == pytest.approx(60.0, rel=2e-3)
    assert mean == pytest.approx(steady.mean_torque, rel=5e-3)
    apart = steady_state(summed(SHARING.single), drive, 60.0)
    assert mean != pytest.approx(apart.mean_torque, rel=5e-3)


def runs_on(m: CoupledMap) -> list[Callable[[], object]]:
    """What a drive may be asked of a map."""
    bridge = Bridge(48.0)
    square = RectangularCurrent(-30 * deg, -5 * deg)
    spec = DriveSpec(bridge, 0.5, -30 * deg, -12 * deg)
    return [
        lambda: rectangular_torque(m, square, 5.0),
        lambda: current_for_mean_torque(m, square, 1.0),
        lambda: steady_state(m, spec, 50.0),
        lambda: run_free_shaft(m, spec, lambda *_: 0.0, inertia=1e-3, duration=1e-3),
        lambda: best_setting(m, bridge, 0.5, 50.0, 1.0),
        lambda: position_table(m, [2.0, 4.0]),
        lambda: share_torque(m, bridge, 0.5, 1.0, -30 * deg, 5 * deg),
        lambda: suited_switching(
            m, SuitedSwitching(), lambda _: [5.0], lambda s: rectangular_torque(m, s, 5.0)
        ),
    ]


@pytest.mark.parametrize("which", range(8))
def test_a_map_of_one_phase_is_refused_in_a_sentence(which: int) -> None:
    single = linear_map(60e-3, 6e-3, full=3 * deg, apart=28 * deg, current=20.0, corner=1 * deg)
    with pytest.raises(
        InvalidValue, match=r"map of the whole machine: map is a FluxMap, .*summed\(flux_map\)"
    ):
        runs_on(single)[which]()  # type: ignore[arg-type]
    if which in (0, 2, 5):
        runs_on(summed(single))[which]()
