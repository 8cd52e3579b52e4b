"""Pressure in the gap: against the energy's torque, a closed solution, the pull on poles, and waves that are known."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.constants import mu_0

from polefem.drive import rectangular_currents
from polefem.errors import InvalidValue
from polefem.field import Image, built, gap_radius, gap_stress, images, pole_pull
from polefem.forces import GapPressure, gap_pressure, gap_pressures, pitch_angles, pressure_waves, write_waves
from polefem.params import RectangularCurrent
from polefem.units import deg
from tests.field.built_machines import MACHINES, ROUGH
from tests.gallery import LayeredSection, solved

Floats = NDArray[np.float64]
ANGLES = 5  # an odd number holds every harmonic it can tell apart


@cache
def found(name: str) -> tuple[GapPressure, Floats]:
    """The pressure of one of the small machines under rectangular currents that overlap, and the currents."""
    machine = MACHINES[name][0]
    angles = pitch_angles(machine, ANGLES)
    drive = RectangularCurrent(-machine.stroke - 8 * deg, 0.0)
    currents = rectangular_currents(drive, 12.0, machine.phases.count, machine.rotor_pitch, angles)
    return gap_pressure(built(machine, ROUGH), angles, currents), currents


@pytest.mark.parametrize("name", ["6/4, half a turn", "6/4, axial", "6/4, outer rotor"])
def test_the_shear_round_the_circle_is_the_torque_of_the_energy(name: str) -> None:
    pressure, currents = found(name)
    assert (np.count_nonzero(currents, axis=1) == 2).any()

    def same(torque: Floats) -> bool:
        return bool(np.abs(torque - pressure.torque).max() < 1e-6 * np.abs(pressure.torque).max())

    assert same(pressure.torque_of_shear)
    assert not same(pressure.torque_of_shear * (1 + 1e-5))
    assert not same(replace(pressure, shear=-pressure.shear).torque_of_shear)
    assert not same(replace(pressure, shear=np.roll(pressure.shear, 1, axis=0)).torque_of_shear)


@pytest.mark.parametrize("name", ["6/4, half a turn", "6/4, axial", "6/4, outer rotor"])
def test_the_pull_on_a_pole_is_that_of_one_solution(name: str) -> None:
    pressure, currents = found(name)

    def same(pull: Floats) -> bool:
        alone = pole_pull(
            built(MACHINES[name][0], ROUGH), pressure.angles[2:3], currents[2], mesh=ROUGH
        ).pull[0]
        return bool(np.allclose(pull[2], alone, rtol=1e-4, atol=1e-4 * alone.max()))

    assert same(pressure.pole_pull)
    assert not same(np.roll(pressure.pole_pull, 1, axis=1))
    assert not same(replace(pressure, outside=not pressure.outside, flat=True).pole_pull * 1.01)


@pytest.mark.parametrize("name", ["6/4, half a turn", "6/4, axial", "6/4, outer rotor"])
def test_what_turning_and_mirroring_make_of_a_pressure_is_what_is_solved(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = built(MACHINES[name][0], ROUGH)
    angles = pitch_angles(whole.machine, 12)
    currents = 12.0 * np.eye(3)[[0, 0, 0, 0, 1, 1, 2, 2, 0, 0, 0, 0]]
    known = [image for image in images(whole, angles, currents) if image is not None]
    assert {image.mirrored for image in known} == {False, True}
    assert any(0.0 < image.turns[1] < 0.5 and not image.mirrored for image in known)

    def taken(change: Callable[[Image], Image | None]) -> GapPressure:
        def changed(*given: Any) -> list[Image | None]:
            return [image and change(image) for image in images(*given)]

        monkeypatch.setattr("polefem.forces.pressure.images", changed)
        return gap_pressure(whole, angles, currents)

    every = taken(lambda image: None)

    def right(found: GapPressure) -> bool:
        pairs = (found.pull, every.pull), (found.shear, every.shear), (found.torque, every.torque)
        return all(np.abs(one - other).max() < 2e-3 * np.abs(other).max() for one, other in pairs)

    assert right(taken(lambda image: image))
    assert not right(taken(lambda image: replace(image, mirrored=not image.mirrored)))
    assert not right(taken(lambda image: replace(image, turns=(0.0, image.turns[1] + 1 / 6))))


def test_a_coarser_mesh_begins_with_the_fields_of_the_finer() -> None:
    whole = built(MACHINES["6/4, half a turn"][0], ROUGH)
    angles, currents = pitch_angles(whole.machine, 3), 12.0 * np.eye(3)
    fine, rough = gap_pressures((whole, whole.rough), angles, currents)

    def same(one: GapPressure, other: GapPressure) -> bool:
        return bool(np.abs(one.less(other).pull).max() < 2e-3 * np.abs(other.pull).max())

    assert same(fine, gap_pressure(whole, angles, currents))
    assert same(rough, gap_pressure(whole.rough, angles, currents))
    assert not same(rough, fine)


def test_stress_is_seen_at_even_places() -> None:
    system = built(MACHINES["6/4, half a turn"][0], ROUGH).systems[0]
    outline, zero = built(MACHINES["6/4, half a turn"][0], ROUGH).outline, np.zeros(system.size)
    for places in ([0.0, 0.1, 0.3], [0.2, 0.1, 0.0]):
        with pytest.raises(InvalidValue, match="stress is seen at even places"):
            gap_stress(outline, system, 0.0, zero, np.array(places))


def test_a_smooth_gap_has_the_stress_of_the_closed_solution() -> None:
    layers, order, sources, angle = LayeredSection(), 3, (2e6 + 0j, 1e6 - 1.5e6j), 0.4
    outline = layers.outline(6)
    system = layers.system(1e-3, 6, 3, False)
    unknowns = solved(system, angle, layers.load(system, order, *sources)).unknowns
    places = np.linspace(0.1, 1.9, 7)
    radius = gap_radius(outline)
    closed = layers.closed(angle, order, *sources)
    turn = np.exp(1j * order * places)
    radial, along = (1j * order * closed.a(radius) * turn).real / radius, -(closed.slope(radius) * turn).real
    expected = (radial**2 - along**2) / (2 * mu_0), radial * along / mu_0

    def right(stress: tuple[Floats, Floats]) -> bool:
        scale = np.abs(expected).max()
        return all(
            np.abs(one - other).max() < 1e-4 * scale for one, other in zip(stress, expected, strict=True)
        )

    stress = gap_stress(outline, system, angle, unknowns, places)
    assert right(stress)
    assert not right((stress[0], -stress[1])) and not right((-stress[0], stress[1]))
    assert not right(gap_stress(outline, system, angle + 0.01, unknowns, places))
    assert not right((stress[0] * 1.001, stress[1]))


def made_of(waves: list[tuple[int, int, float, float]], angles: int = 16, places: int = 96) -> GapPressure:
    """A pressure of waves: order, harmonic, Pa, phase."""
    theta = (np.arange(angles) + 0.5) / angles * math.pi / 2
    phi = (np.arange(places) + 0.5) / places * 2 * math.pi - math.pi / 6
    pull = sum(a * np.cos(m * phi - k * 4 * theta[:, None] + shift) for m, k, a, shift in waves)
    none = np.zeros(angles)
    area = 0.05
    return GapPressure(
        theta, np.zeros((angles, 3)), phi, pull, 0 * pull, area, area / 20, none, 6, 2, 4, False, False
    )


def test_waves_are_told_apart_by_where_they_run_and_how_fast() -> None:
    asked = [
        (0, 0, 900.0, 0.0),
        (2, 3, 500.0, 0.4),
        (-2, 3, 300.0, -1.0),
        (4, 0, 200.0, 2.0),
        (0, 6, 100.0, 0.7),
    ]

    def right(waves: list[tuple[int, int, float, float]]) -> bool:
        seen = pressure_waves(made_of(waves), most=6)
        expected = np.zeros_like(seen.pull)
        for m, k, a, shift in asked:
            expected[np.flatnonzero(seen.orders == m)[0], k] = a * np.exp(1j * shift)
        return bool(np.abs(seen.pull - expected).max() < 1e-9 * 900)

    assert right(asked)
    assert not right([(-m, *rest) for m, *rest in asked])
    assert not right([(*wave[:3], -wave[3]) for wave in asked])
    seen = pressure_waves(made_of(asked), most=6)
    assert [wave[:2] for wave in seen.strongest(2)] == [(2, 3), (-2, 3)]
    assert seen.frequency(-10 * math.pi)[3] == pytest.approx(60.0)
    assert seen.amplitude(7, 1) == 0.0


def test_the_waves_of_a_machine_hold_its_mean_square() -> None:
    """Parseval: half the squares of the waves, and the square of the mean."""
    pressure, _ = found("6/4, half a turn")
    waves = pressure_waves(pressure, most=pressure.places.size // 2 - 1)

    def whole(amplitudes: Floats) -> bool:
        squares = amplitudes**2 / 2
        squares[waves.orders == 0, 0] *= 2
        return bool(abs(squares.sum() / (pressure.pull**2).mean() - 1) < 1e-6)

    assert whole(np.abs(waves.pull))
    assert not whole(1.001 * np.abs(waves.pull))
    assert not whole(np.where(waves.orders[:, None] == 2, 0.0, np.abs(waves.pull)))


def test_orders_and_their_swing() -> None:
    """Order 2 turning: its force is a circle of radius pi R L p, so it swings by the diameter."""
    pressure = made_of([(2, 1, 1000.0, 0.0), (0, 0, 5000.0, 0.0)])
    circle = 2 * math.pi * pressure.area * 1000.0

    def right(swing: float) -> bool:
        return abs(swing / circle - 1) < 1e-9

    assert right(pressure.wave_swing) and pressure.phase_poles == 2
    assert not right(made_of([(2, 1, 1001.0, 0.0)]).wave_swing)
    assert pressure.order_swing(0) < 1e-9 * circle and pressure.order_swing(4) < 1e-9 * circle
    # Each pole carries its sixth of the turn, weighed along its axis.
    own = pressure.area * 1000.0 * (math.sin(math.pi / 6) / 1 + math.sin(math.pi / 2) / 3)
    assert pressure.pull_swing == pytest.approx(2 * own, rel=0.01)


def test_a_6_4_machine_is_squeezed_in_two() -> None:
    pressure, _ = found("6/4, half a turn")
    assert pressure.phase_poles == 2
    assert pressure.order_swing(2) > 1.5 * pressure.pull_swing
    for order in (1, 3):
        assert pressure.order_swing(order) < 1e-9 * pressure.order_swing(2)


def test_waves_as_a_table(tmp_path: Path) -> None:
    waves = pressure_waves(made_of([(2, 3, 500.0, 0.4)]), most=3)
    write_waves(waves, tmp_path / "waves.csv")
    with (tmp_path / "waves.csv").open() as file:
        rows = [row for row in csv.DictReader(file) if float(row["pull (Pa)"]) > 1e-6]
    assert len(rows) == 1 and (rows[0]["order"], rows[0]["harmonic"]) == ("2", "3")
    assert float(rows[0]["pull (Pa)"]) == pytest.approx(500.0)
    assert float(rows[0]["pull phase (rad)"]) == pytest.approx(0.4)


def test_angles_and_currents_are_checked_at_the_door() -> None:
    machine = MACHINES["6/4, half a turn"][0]
    whole = built(machine, ROUGH)
    with pytest.raises(InvalidValue, match="angles cover a rotor pitch in even steps"):
        gap_pressure(whole, [0.0, 0.1, 0.2], np.zeros((3, 3)))
    with pytest.raises(InvalidValue, match="each phase has one current at each angle"):
        gap_pressure(whole, pitch_angles(machine, 4), np.zeros((3, 3)))
