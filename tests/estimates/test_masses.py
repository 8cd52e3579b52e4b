"""Masses, inertia, torque per mass and shear stress by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from polefem import Pole, Steel
from polefem.copper import envelope
from polefem.estimates import (
    USUAL_SHEAR,
    Masses,
    gap_shear_stress,
    masses_of,
    solid_cautions,
    steel_mass,
    stroke_frequency,
    torque_density,
)
from polefem.estimates.masses import polar_moment
from polefem.field import built
from polefem.outline import outline_of
from polefem.params.fields import with_fields
from polefem.shapes import Arc, Line, points
from polefem.units import mm, rpm
from tests.outline.test_builds import AXIAL, OUTER
from tests.study.fake_solver import MACHINE


def masses(machine: object) -> Masses:
    return masses_of(machine)


def is_the_moment(found: float, exact: float) -> bool:
    return abs(found / exact - 1) < 1e-10


def test_polar_moments_of_circles_and_rectangles() -> None:
    def ring(centre: complex, radius: float) -> list[Arc]:
        ends = centre + radius, centre - radius
        return [Arc(*ends, centre, True), Arc(*reversed(ends), centre, True)]

    for centre in (0j, 3 - 2j):  # pi r^4 / 2 about the middle, and the area times the distance squared
        exact = math.pi * 2**4 / 2 + math.pi * 4 * abs(centre) ** 2
        assert is_the_moment(polar_moment(ring(centre, 2.0)), exact)
        assert not is_the_moment(polar_moment(ring(centre + 0.01, 2.0)), exact)
    corners = (1j, 3 + 1j, 3 + 2j, 2j)
    box = [Line(a, b) for a, b in zip(corners, corners[1:] + corners[:1], strict=True)]
    assert is_the_moment(polar_moment(box), 3**3 / 3 * 1 + 3 * (2**3 - 1) / 3)


def test_the_rotors_inertia_is_that_of_its_polygon() -> None:
    """The same ring as a polygon of thousands of corners, by the textbook's sum over triangles from the origin."""
    outline = outline_of(MACHINE)
    (iron,) = (r for r in outline.rotor.regions if r.material == "iron")
    z = points(iron.ring, 1e-10)
    cross = (z[:-1].conj() * z[1:]).imag
    square = np.abs(z[:-1]) ** 2 + np.abs(z[1:]) ** 2 + (z[:-1].conj() * z[1:]).real
    by_hand = 4 * float(np.sum(cross * square)) / 12 * 7650 * 60 * mm
    found = masses(MACHINE)
    assert found.rotor_inertia == pytest.approx(by_hand, rel=1e-6)
    assert found.rotor_inertia < found.rotor_steel * (30 * mm) ** 2 / 2  # less than a disc of its mass


def test_masses_add_up_and_know_the_stacking_factor() -> None:
    whole, loose = masses(MACHINE), masses(replace(MACHINE, stacking_factor=0.95, rotor_stacking_factor=0.9))
    assert whole.stator_steel + whole.rotor_steel == pytest.approx(steel_mass(MACHINE))
    assert whole.active == pytest.approx(whole.copper + whole.stator_steel + whole.rotor_steel)
    assert loose.stator_steel == pytest.approx(0.95 * whole.stator_steel)
    assert loose.rotor_steel == pytest.approx(0.9 * whole.rotor_steel)
    assert loose.rotor_inertia == pytest.approx(0.9 * whole.rotor_inertia)


def test_an_axial_machine_is_weighed_once() -> None:
    """Sectors and plates by hand: areas between the radii times heights."""
    ring = math.pi * (80**2 - 45**2) * 1e-6
    rotor = 7650 * ring * (9 + 15 * 4 * 32 / 360) * mm
    found = masses(AXIAL)
    assert found.rotor_steel == pytest.approx(rotor, rel=1e-6)
    assert found.stator_steel == pytest.approx(7650 * ring * (10 + 25 * 6 * 30 / 360) * mm, rel=1e-6)
    assert found.rotor_inertia == pytest.approx(rotor * (0.08**2 + 0.045**2) / 2, rel=1e-6)
    assert masses(replace(AXIAL, build="two rotors")).rotor_steel == pytest.approx(2 * rotor, rel=1e-6)


def test_torque_density_and_shear_stress() -> None:
    hull = envelope(MACHINE)
    found = torque_density(MACHINE, 2.0)
    assert found.per_mass == pytest.approx(2.0 / masses(MACHINE).active)
    assert found.per_volume == pytest.approx(2.0 / hull.volume)
    # T / (2 V): 2 V = 2 pi 30^2 60 mm3 = 339.3 cm3.
    assert found.shear_stress == pytest.approx(2.0 / 339.29e-6, rel=1e-4)
    assert "within the 3.5 to 15 kPa usual" in str(found)
    said = str(replace(found, per_mass=0.75, per_volume=2500.0, shear_stress=6.25e3))
    assert said.startswith(
        "0.75 N m/kg of copper and steel, 2.5 N m/l; shear stress in the gap 6.25 kPa, within"
    )
    assert USUAL_SHEAR == (3.5e3, 15e3)  # half of 7 to 30 kN m/m3 (Miller; see `USUAL_SHEAR`)


def test_shear_stress_at_the_mean_arm_gives_the_torque_back() -> None:
    radius, area = OUTER.rotor_bore_radius, 2 * math.pi * OUTER.rotor_bore_radius * OUTER.stack_length
    assert gap_shear_stress(OUTER, 3.0) * area * radius == pytest.approx(3.0)
    r = np.linspace(45e-3, 80e-3, 10001)
    arms = np.trapezoid(2 * math.pi * r**2, r)
    assert gap_shear_stress(AXIAL, 3.0) * arms == pytest.approx(3.0)
    assert gap_shear_stress(replace(AXIAL, build="two stators"), 3.0) * arms == pytest.approx(1.5)


def test_a_solid_rotor_is_cautioned_at_speed() -> None:
    assert stroke_frequency(MACHINE, 100 * rpm) == pytest.approx(20.0)  # twelve strokes a turn
    solid = with_fields(MACHINE, {"rotor_steel": Steel.named("DC01"), "steel": Steel.named("M330-50A")})
    assert solid_cautions(solid, 0.001 * rpm) == ()
    (said,) = solid_cautions(solid, 100 * rpm)
    assert said.startswith("rotor: solid DC01 of 16.5 mm is thicker than two skin depths of")
    assert solid_cautions(MACHINE, 100 * rpm) == ()


def test_the_field_sees_the_stack_and_not_its_insulation() -> None:
    steel = Steel.named("M330-50A")
    machine = replace(
        MACHINE, steel=steel, stacking_factor=0.95, rotor_steel=steel, rotor_stacking_factor=1.0
    )
    (system,) = built(replace(machine, rotor_pole=Pole(arc=0.6)), "coarse").systems
    rotor, stator = (side.steel.h(1.5) for side in system.model.irons)
    assert rotor == pytest.approx(steel.h(1.5))
    assert stator == pytest.approx(steel.h(1.5 / 0.95), rel=1e-2)  # but for the flux of the insulation
