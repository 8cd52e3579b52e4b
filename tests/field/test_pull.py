"""The radial pull on the poles, against the torque of the energy, the pull of an ideal gap, and virtual work."""

import math

import numpy as np
import pytest
from scipy.constants import mu_0

from polefem.errors import InvalidValue
from polefem.field import PolePull, pole_pull
from polefem.materials import Steel
from polefem.params import OuterRotorMachine, Pole, RadialMachine, Winding
from polefem.sweep import flux_map
from polefem.units import deg, mm

CURRENT = 5.0
TURNS = 100


def machine(air_gap: float = 0.4 * mm, arc: float = 30 * deg, mu_r: float = 1e5) -> RadialMachine:
    return RadialMachine(
        stator_poles=6,
        rotor_poles=4,
        stator_outer_radius=60 * mm,
        rotor_outer_radius=30 * mm,
        air_gap=air_gap,
        stator_yoke_thickness=11 * mm,
        rotor_yoke_radius=19 * mm,
        shaft_radius=10 * mm,
        stack_length=60 * mm,
        stator_pole=Pole(arc=arc),
        rotor_pole=Pole(arc=32 * deg),
        winding=Winding(turns_per_pole=TURNS, coil_width=6 * mm, face_inset=2 * mm, yoke_clearance=3 * mm),
        steel=Steel.linear(mu_r),
    )


def outer() -> OuterRotorMachine:
    return OuterRotorMachine(
        stator_poles=6,
        rotor_poles=4,
        rotor_outer_radius=60 * mm,
        rotor_yoke_thickness=10 * mm,
        stator_outer_radius=42 * mm,
        air_gap=0.5 * mm,
        stator_yoke_radius=26 * mm,
        shaft_radius=10 * mm,
        stack_length=40 * mm,
        stator_pole=Pole(arc=31 * deg),
        rotor_pole=Pole(arc=33 * deg),
        winding=Winding(turns_per_pole=60, coil_width=3 * mm, face_inset=4 * mm, yoke_clearance=2 * mm),
        steel=Steel.linear(2000.0),
    )


def same_torque(found: PolePull, expected: np.ndarray) -> bool:
    return bool(np.allclose(found.torque, expected, rtol=1e-4))


def test_the_shear_on_the_same_circle_is_the_torque_of_the_energy() -> None:
    built, angles = machine(mu_r=2000.0), [-0.3, 0.2]
    found = pole_pull(built, angles, [CURRENT, 0, 0], mesh="coarse")
    expected = flux_map(built, angles, [CURRENT], mesh="coarse").torque[0]
    assert same_torque(found, expected)
    assert not same_torque(found, -expected)
    assert not same_torque(found, 1.01 * expected)


def test_a_thin_gap_is_looked_at_as_closely_as_its_field_changes(monkeypatch: pytest.MonkeyPatch) -> None:
    built = machine(air_gap=0.08 * mm, mu_r=2000.0)
    expected = flux_map(built, [-0.3], [1.0], mesh="coarse").torque[0]
    assert same_torque(pole_pull(built, [-0.3], [1.0, 0, 0], mesh="coarse"), expected)
    monkeypatch.setattr("polefem.field.stress.PER_GAP", 0.5)
    assert not same_torque(pole_pull(built, [-0.3], [1.0, 0, 0], mesh="coarse"), expected)


def test_only_poles_with_current_are_pulled_and_both_alike() -> None:
    pull = pole_pull(machine(), [0.0], [CURRENT, 0, 0], mesh="coarse").pull[0]
    assert pull[0] == pytest.approx(pull[3], rel=1e-9)
    assert np.abs(pull[[1, 2, 4, 5]]).max() < 1e-3 * pull[0]


def test_the_aligned_pull_is_that_of_an_ideal_gap_and_a_fringe() -> None:
    """B^2 / (2 mu0) over the face's chord (textbook), and no more than a gap's width of fringe on each side."""
    pull = pole_pull(machine(), [0.0], [CURRENT, 0, 0]).pull[0, 0]
    b, radius, length = mu_0 * TURNS * CURRENT / (0.4 * mm), 30.4 * mm, 60 * mm
    ideal = b**2 / (2 * mu_0) * 2 * radius * math.sin(15 * deg) * length
    fringe = b**2 / (2 * mu_0) * 2 * 0.4 * mm * length
    assert ideal < pull < ideal + fringe
    assert not ideal < pull / 2 < ideal + fringe


def test_an_outer_rotor_pulls_outwards_and_turns_as_its_energy_says() -> None:
    built = outer()
    found = pole_pull(built, [-0.3], [8.0, 0, 0], mesh="coarse")
    assert same_torque(found, flux_map(built, [-0.3], [8.0], mesh="coarse").torque[0])
    assert found.pull[0, 0] > 0


def test_harmonics_and_the_step_at_turn_off() -> None:
    angles = np.arange(8) * 2 * math.pi / 8
    pull = np.stack([3.0 + 2.0 * np.cos(angles), np.zeros(8)], axis=1)
    found = PolePull(angles, np.array([1.0]), pull, np.zeros(8))
    np.testing.assert_allclose(found.harmonics()[:3], [3.0, 2.0, 0.0], atol=1e-12)
    assert found.step_at(0.0) == pytest.approx(5.0)
    with pytest.raises(InvalidValue, match="harmonics need even steps"):
        PolePull(np.array([0.0, 1.0, 3.0]), np.array([1.0]), np.zeros((3, 1)), np.zeros(3)).harmonics()
