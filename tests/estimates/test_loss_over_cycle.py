"""Iron loss of a machine: fields with known loss, waveforms against fields of a whole turn, and what ramps do."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from polefem import Steel
from polefem.errors import InvalidValue
from polefem.estimates import IronLoss, Turning, iron_loss, loss_over_cycle
from polefem.estimates.cycle_loss import cycle_angles, ramped_currents, waveforms
from polefem.field import Field, FieldState, field_series
from polefem.materials import loss_separation
from polefem.outline import Label
from polefem.params import MeshSpec, RectangularCurrent
from polefem.units import deg, rpm
from tests.outline.test_builds import AXIAL
from tests.study.fake_solver import MACHINE

STEEL = Steel.named("M330-50A")
LAMINATED = replace(MACHINE, steel=STEEL)
SPEED = 3000 * rpm
AREA = 2e-4  # m2 of each triangle


def made_up(angle: float, stator: tuple[float, float], rotor: list[tuple[float, float]]) -> FieldState:
    """Four rotor triangles, copies a right angle apart, and one stator triangle, each with its flux density (T)."""
    corner = np.array([[0.03, -0.01], [0.05, -0.01], [0.03, 0.01]])
    nodes = np.vstack([corner, (corner + np.roll(corner, -1, axis=0)) / 2])
    turns = [*(angle + k * math.pi / 2 for k in range(4)), 0.3]
    points = np.vstack(
        [nodes @ np.array([[math.cos(t), math.sin(t)], [-math.sin(t), math.cos(t)]]) for t in turns]
    )
    field = Field(
        points=points,
        triangles=np.arange(30).reshape(5, 6),
        a=np.zeros(30),
        b=np.array([*rotor, stator]),
        region=np.array([0] * 4 + [1]),
        labels=(Label("iron", "rotor"), Label("iron", "stator")),
    )
    return FieldState(angle, np.zeros(3), 0.0, np.zeros(3), 0.0, field, "made up")


def cycle(samples: int = 64, turning: bool = True) -> Iterator[FieldState]:
    """The stator sees a sine of 1.2 T along a line, once a rotor pitch; space holds a still field of 0.8 T.

    turning: else a field of 0.8 T turns with the rotor.
    """
    for angle in cycle_angles(LAMINATED, samples):
        alternating = 1.2 * math.sin(4 * angle)
        at = [0.0 if turning else angle + copy * math.pi / 2 for copy in range(4)]
        rotor = [(0.8 * math.cos(place), 0.8 * math.sin(place)) for place in at]
        yield made_up(float(angle), (0.6 * alternating, 0.8 * alternating), rotor)


def is_known(found: IronLoss) -> bool:
    """Stator: a sine at four times the speed. Rotor: it turns in a still field, two sines at right angles once a turn,
    which is twice the hysteresis and the classical loss; its |dB/dt| is steady, so that the excess is a sine's over the
    mean of |cos|^1.5."""
    law, mass = loss_separation(STEEL.grade), 7650 * AREA * 60e-3
    stator = [part * mass for part in law.parts(1.2, 4 * SPEED / math.tau)]
    turn = np.linspace(0, math.tau, 20001)
    steady = 1 / np.mean(np.abs(np.cos(turn[:-1])) ** 1.5)
    hysteresis, classical, excess = (4 * part * mass for part in law.parts(0.8, SPEED / math.tau))
    rotor = [2 * hysteresis, 2 * classical, steady * excess]
    return all(
        part is not None
        and np.allclose([part.hysteresis, part.classical, part.excess], exact, rtol=4e-3, atol=1e-9)
        for part, exact in ((found.stator, stator), (found.rotor, rotor))
    )


def test_fields_with_a_known_loss() -> None:
    found = loss_over_cycle(LAMINATED, cycle(), SPEED)
    assert is_known(found)
    assert found.rotor is not None and found.stator is not None
    assert (found.rotor.highest, found.stator.highest) == pytest.approx((0.8, 1.2), rel=1e-2)
    assert found.total == pytest.approx(found.rotor.total + found.stator.total)


def test_a_rotor_that_carries_the_field_along_is_another() -> None:
    """The broken twin: a field that turns with the rotor costs it nothing."""
    found = loss_over_cycle(LAMINATED, cycle(turning=False), SPEED)
    assert not is_known(found)
    assert found.rotor is not None and found.rotor.total == pytest.approx(0.0, abs=1e-9)


def is_seen_by_a_disc(b: np.ndarray) -> bool:
    """What lies along the circumference of a flat section is passed as it is: nothing turns."""
    turn = np.arange(len(b)) * math.tau / len(b)
    return np.allclose(b[:, 0], np.transpose([0.8 * np.cos(turn), 0.3 * np.sin(turn)]))


def test_a_disc_sees_fields_as_they_lie_and_a_round_rotor_turns_in_them() -> None:
    def states() -> Iterator[FieldState]:
        for angle in cycle_angles(AXIAL, 16):
            at = [angle + copy * math.pi / 2 for copy in range(4)]
            yield made_up(float(angle), (0.0, 0.0), [(0.8 * math.cos(t), 0.3 * math.sin(t)) for t in at])

    assert is_seen_by_a_disc(waveforms(AXIAL, states())[0].b)
    assert not is_seen_by_a_disc(waveforms(MACHINE, states())[0].b)


def test_another_speed_needs_no_other_fields() -> None:
    slow, fast = (loss_over_cycle(LAMINATED, cycle(), speed) for speed in (SPEED, 2 * SPEED))
    assert slow.at(2 * SPEED) == replace(
        fast, rotor=slow.at(2 * SPEED).rotor, stator=slow.at(2 * SPEED).stator
    )
    assert slow.at(2 * SPEED).total == pytest.approx(fast.total)
    assert slow.total * 2 < fast.total < slow.total * 4


def test_sheets_carry_more_than_their_stack() -> None:
    loose = loss_over_cycle(replace(LAMINATED, stacking_factor=0.9), cycle(), SPEED)
    assert loose.stator is not None
    assert loose.stator.highest == pytest.approx(1.2 / 0.9, rel=1e-2)
    tight = loss_over_cycle(LAMINATED, cycle(), SPEED)
    assert tight.stator is not None
    # The classical part: 0.9 of the mass, each at (1 / 0.9)^2.
    assert loose.stator.classical / tight.stator.classical == pytest.approx(1 / 0.9, rel=1e-2)


def test_solid_parts_and_unknown_steel() -> None:
    solid = loss_over_cycle(replace(LAMINATED, rotor_steel=Steel.named("DC01")), cycle(), SPEED)
    assert solid.rotor is None and solid.total == solid.stator.total
    assert str(solid).startswith("iron loss at 3000 rpm: stator")
    with pytest.raises(
        InvalidValue, match="iron loss needs a grade: steel is linear, mu_r = 1000, allowed is a steel"
    ):
        loss_over_cycle(MACHINE, cycle(), SPEED)
    with pytest.raises(InvalidValue, match="a cycle has fields: states is empty"):
        loss_over_cycle(LAMINATED, [], SPEED)


def test_currents_ramp_up_and_down() -> None:
    drive = RectangularCurrent(-30 * deg, 0.0)
    angles = np.array([-30.0, -27.5, -25.0, -1.0, 0.0, 2.5, 5.0, 30.0]) * deg
    currents = ramped_currents(MACHINE, drive, 10.0, 5 * deg, angles)
    assert currents[:, 0] == pytest.approx([0, 5, 10, 10, 10, 5, 0, 0], abs=1e-9)
    # The second phase does the same a stroke later.
    assert currents[4:, 1] == pytest.approx(
        ramped_currents(MACHINE, drive, 10.0, 5 * deg, angles[4:] - 30 * deg)[:, 0]
    )
    # The mean is that of the rectangular current.
    every = ramped_currents(MACHINE, drive, 10.0, 5 * deg, cycle_angles(MACHINE, 360))
    assert every.mean(axis=0) == pytest.approx(10.0 * 30 / 90)
    with pytest.raises(
        InvalidValue, match=r"rises within the dwell .* ramp is 40 deg, allowed is up to 30 deg"
    ):
        ramped_currents(MACHINE, drive, 10.0, 40 * deg, angles)


def follow_the_whole_turn(rotor: np.ndarray, whole: list[FieldState]) -> bool:
    """Waveforms put together from copies are those of fields computed all the way round."""
    seen = []
    for state in whole:
        iron = state.field.labels.index(Label("iron", "rotor"))
        b = state.field.b[state.field.region == iron][: rotor.shape[1]]
        cosine, sine = math.cos(state.angle), math.sin(state.angle)
        seen.append(b @ np.array([[cosine, -sine], [sine, cosine]]))
    return bool(np.abs(rotor - np.stack(seen)).max() < 1e-6)


def test_copies_tell_the_whole_turn() -> None:
    drive, samples = RectangularCurrent(-36 * deg, -1 * deg), 8
    angles = cycle_angles(MACHINE, samples)
    some = np.arange(0, 4 * samples, 3)

    mesh = MeshSpec.named("coarse").coarser(2.0)

    def states(at: np.ndarray) -> Iterator[FieldState]:
        return field_series(MACHINE, at, ramped_currents(MACHINE, drive, 10.0, 10 * deg, at), mesh)

    rotor, stator = waveforms(MACHINE, states(angles))
    assert (rotor.turn, stator.turn) == pytest.approx((math.tau, math.pi / 2))
    assert rotor.b.shape[0] == 4 * samples and stator.b.shape[0] == samples
    fields = list(states(some * (math.tau / (4 * samples))))
    assert follow_the_whole_turn(rotor.b[some], fields)
    assert not follow_the_whole_turn(np.roll(rotor.b, samples, axis=0)[some], fields)
    # The areas are those of the outline, whose arcs the triangles' straight edges cut short.
    assert rotor.areas.sum() == pytest.approx(math.pi * (0.019**2 - 0.01**2) + 4 * 0.01654 * 0.0109, rel=2e-2)


@pytest.mark.slow
def test_a_faster_current_costs_more() -> None:
    drive = RectangularCurrent(-36 * deg, -1 * deg)
    gentle, steep = (
        iron_loss(LAMINATED, drive, 8.0, Turning(1000 * rpm, ramp * deg, 36)) for ramp in (10, 2.5)
    )
    assert steep.stator.classical > 1.5 * gentle.stator.classical
    assert steep.stator.hysteresis == pytest.approx(gentle.stator.hysteresis, rel=0.1)
    assert 0.1 < steep.total < 50.0
