"""The shape of coils, by hand: leaning sides, both halves of a double-sided machine, round cores."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from polefem.copper import Copper, coil_shape, envelope, wound_phase
from polefem.params import Pole
from polefem.params.fields import with_fields
from polefem.units import deg, mm
from tests.outline.test_builds import AXIAL, OUTER
from tests.study.fake_solver import MACHINE


def test_a_coil_beside_parallel_flanks() -> None:
    coil = coil_shape(MACHINE)
    pole = 2 * 30.4 * math.sin(15 * deg)
    assert coil.straight == pytest.approx(60 * mm)
    assert (coil.width, coil.height) == pytest.approx((6 * mm, (46 - 32.4) * mm))
    assert coil.across == pytest.approx((pole + 2 * 0.3 + 6) * mm)
    assert coil.mean_turn == pytest.approx((120 + math.pi * (pole + 6.6)) * mm)
    # Wound tight: straight along all four sides, and a circle of the mean turn's distance from the pole.
    assert coil.shortest_turn == pytest.approx((120 + 2 * pole + 2 * math.pi * 3.3) * mm)
    assert coil.overhang == pytest.approx((pole / 2 + 0.3 + 6) * mm)


def test_a_leaning_coil_side_keeps_its_width() -> None:
    tapered = with_fields(MACHINE, {"stator_pole": Pole(arc=30 * deg, taper=4 * deg)})
    coil = coil_shape(tapered)
    assert coil.width == pytest.approx(6 * mm)
    assert coil.height * coil.width == pytest.approx(coil.area)


def test_the_two_halves_of_an_axial_machine_are_wound_once_each() -> None:
    """Two rotors round one stator that flux goes straight through: a coil of N turns, half of it on each side."""
    through = replace(AXIAL, build="two rotors", stator_yoke_thickness=0.0)
    one, two = (wound_phase(m, Copper()) for m in (AXIAL, through))
    assert two.mean_turn == pytest.approx(one.mean_turn, rel=1e-9)
    assert two.conductor_area == pytest.approx(2 * one.conductor_area, rel=0.2)
    assert two.copper_mass / two.conductor_area == pytest.approx(one.copper_mass / one.conductor_area)
    # Two stators have twice the coils.
    stators = replace(AXIAL, build="two stators")
    twice = wound_phase(stators, Copper())
    assert twice.copper_mass == pytest.approx(2 * one.copper_mass)
    assert twice.resistance == pytest.approx(2 * one.resistance)


def test_a_round_core_carries_circles() -> None:
    machine = replace(AXIAL, stator_flanks="round")
    coil = coil_shape(machine)
    core = 4 * 62.5 * math.sin(30 * deg / 4)
    assert coil.mean_turn == pytest.approx(math.pi * (core + 2 * 0.3 + 5) * mm, rel=1e-2)
    assert coil.end_turns == pytest.approx(coil.mean_turn / 2)
    assert coil.shortest_turn == coil.mean_turn


def test_what_a_machine_takes_up() -> None:
    coil = coil_shape(MACHINE)
    hull = envelope(MACHINE)
    assert (hull.radius, hull.height) == pytest.approx((60 * mm, 60 * mm + 2 * coil.overhang))
    assert hull.volume == pytest.approx(math.pi * 0.06**2 * hull.height)
    assert hull.surface == pytest.approx(2 * math.pi * 0.06 * hull.height + 2 * math.pi * 0.06**2)
    assert envelope(OUTER).radius == pytest.approx(70 * mm)


@pytest.mark.parametrize(
    ("build", "height"), [("one gap", 59.6), ("two rotors", 109.2), ("two stators", 110.2)]
)
def test_discs_are_stacked(build: str, height: float) -> None:
    # Yokes 10 and 9 mm, poles 25 and 15 mm, gap 0.6 mm; the middle yoke once.
    machine = replace(AXIAL, build=build)
    hull = envelope(machine)
    assert hull.height == pytest.approx(height * mm)
