"""The reference itself, held against closed answers and published numbers before anything is held against it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

pytest.importorskip("ngsolve", reason="the reference library is an optional dependency")

import ngsolve as ng
from drawing import around, disc, named
from four_machines import FOUR
from netgen.occ import Axis, Glue, OCCGeometry, WorkPlane, Z
from ngsolve_field import (
    MU0,
    Level,
    Reference,
    Section,
    magnetostatic,
    over_currents,
    torque_by_stress,
    torque_by_virtual_work,
)
from ordinary import ordinary
from outline_section import reference_machine
from parallel_poles import phase_turns, section_parallel
from reference_machines import six_four, smooth
from scipy.integrate import quad
from smooth_steel import SmoothSteel

from polefem.materials import Steel
from polefem.units import deg, mm


def drawn(faces: Mapping[str, Any], circles: Mapping[float, str], maxh: float) -> Any:
    """Mesh named faces; edges on the circles of given radii get names, those of the face "rotor" are called so."""
    whole = Glue([named(name, face) for name, face in faces.items()])
    for edge in whole.edges:
        edge.name = "inside"
    for face in whole.faces:
        if face.name == "rotor":
            face.edges.name = "rotor"
    for edge in whole.edges:
        radius = np.mean([around(vertex.p) for vertex in edge.vertices])
        for circle, name in circles.items():
            if abs(radius - circle) < 1e-9:
                edge.name = name
    return ng.Mesh(OCCGeometry(whole, dim=2).GenerateMesh(maxh=maxh)).Curve(3)


def flux_through_ring(law: SmoothSteel, ampere_turns: float) -> float:
    """Flux per metre between a go conductor on the axis and a return ring, steel in between: Ampere's law alone.

    Go: to 10 mm. Steel: 20 to 30 mm. Return: 35 to 40 mm, outside which A is 0. The mean of A over a region is its
    value at the outer rim plus the flux between, each flux line weighted with the area it encloses.
    """
    area = 0.040**2 - 0.035**2

    def b(r: float) -> float:
        share = min((r / 0.010) ** 2, 1.0) - max(0.0, (r**2 - 0.035**2) / area)
        h = ampere_turns * share / (2 * math.pi * r)
        return float(law.flux_density(np.array(h))) if 0.020 < r < 0.030 else MU0 * h

    go = quad(lambda r: b(r) * (r / 0.010) ** 2, 0, 0.010)[0]
    between = sum(quad(b, *limits)[0] for limits in ((0.010, 0.020), (0.020, 0.030), (0.030, 0.035)))
    return go + between + quad(lambda r: b(r) * (0.040**2 - r**2) / area, 0.035, 0.040)[0]


def test_flux_of_a_saturated_ring_obeys_amperes_law() -> None:
    law = SmoothSteel()
    discs = [disc(r * mm) for r in (10, 20, 30, 35, 40)]
    rings = [outer - inner for inner, outer in pairwise(discs)]
    faces = dict(
        zip(("plus", "air inside", "steel", "air outside", "minus"), [discs[0], *rings], strict=True)
    )
    section = Section(
        drawn(faces, {40 * mm: "fixed"}, 3 * mm), {"steel": law}, [("plus", "minus")], (0, 0), 1.0
    )
    field = None
    for ampere_turns in (5.0, 200.0, 20e3):
        field = magnetostatic(section, [ampere_turns], 3, field)
        expected = flux_through_ring(law, ampere_turns)
        assert field.fluxes[0] == pytest.approx(expected, rel=1e-5)
        # The broken twin: a return conductor whose flux is forgotten.
        assert field.fluxes[0] != pytest.approx(expected * 1.001, rel=1e-5)
    assert field.energy + field.coenergy == pytest.approx(20e3 * field.fluxes[0], rel=1e-9)


def test_elliptic_rotor_in_a_disc_gives_the_published_flux_and_torque() -> None:
    """IEMDC 2025 Tutorial 8, first exercise, github.com/evalf/iemdc2025 [read].

    Published on 848 second-order elements: 0.083 mWb a turn, 0.633 mN m; converged 0.08316 mWb, 0.640 mN m [computed].
    """

    def conductor(x: float, y: float) -> Any:
        return WorkPlane().Circle(x, y, 10 * mm).Face()

    ellipse = WorkPlane().Ellipse(30 * mm, 20 * mm).Face().Rotate(Axis((0, 0, 0), Z), 30)
    faces = {
        "rotor": ellipse - disc(10 * mm),
        "rotor air": disc(35 * mm) - ellipse,
        "gap": disc(45 * mm) - disc(35 * mm),
        "plus": conductor(-50 * mm, 30 * mm),
        "minus": conductor(50 * mm, 30 * mm),
    }
    faces["air"] = disc(100 * mm) - disc(45 * mm) - faces["plus"] - faces["minus"]
    names = {100 * mm: "fixed", 10 * mm: "fixed", 45 * mm: "fence"}
    mesh = drawn(faces, names, 4 * mm)
    section = Section(
        mesh, {"rotor": Steel.linear(5000.0)}, [("plus", "minus")], (35 * mm, 45 * mm), 100 * mm
    )
    field = magnetostatic(section, [1000.0])
    assert field.fluxes[0] == pytest.approx(0.08316e-3, rel=5e-4)
    assert torque_by_stress(section, field) == pytest.approx(0.640e-3, rel=1e-3)
    assert torque_by_virtual_work(section, field) == pytest.approx(0.640e-3, rel=1e-3)
    # The broken twin: iron that saturates is not the iron of the tutorial; nor is the coarse published torque met.
    assert torque_by_stress(section, field) != pytest.approx(0.633e-3, rel=1e-3)


def test_drawn_areas_are_those_of_the_numbers() -> None:
    machine = six_four()
    mesh = section_parallel(machine, 7 * deg, Level.numbered(0)).mesh

    def area(name: str) -> float:
        return float(ng.Integrate(1.0, mesh, definedon=mesh.Materials(name), order=6))

    def pole(face: float, root: float, arc: float, radius: float) -> float:
        """Strip of the face's chord width between two circles about the origin."""
        half = radius * math.sin(arc / 2)
        return 2 * quad(lambda y: math.sqrt(root**2 - y**2) - math.sqrt(face**2 - y**2), 0, half)[0]

    r = machine.rotor_outer_radius
    valley = machine.rotor_yoke_radius
    rotor = math.pi * (valley**2 - machine.shaft_radius**2) - 4 * pole(r, valley, machine.rotor_pole.arc, r)
    assert area("rotor iron") == pytest.approx(rotor, rel=1e-5)
    bore, slot = machine.stator_bore_radius, machine.slot_radius
    stator = math.pi * (machine.stator_outer_radius**2 - slot**2) + 6 * pole(
        bore, slot, machine.stator_pole.arc, bore
    )
    assert area("stator iron") == pytest.approx(stator, rel=1e-5)
    winding = machine.winding
    high = slot - winding.yoke_clearance - bore - winding.face_inset
    assert area("coil 4 minus") == pytest.approx(winding.coil_width * high, rel=1e-9)
    whole = math.pi * machine.stator_outer_radius**2
    assert ng.Integrate(1.0, mesh, order=6) == pytest.approx(whole, rel=1e-5)


def test_both_torques_and_the_slope_of_the_coenergy_agree() -> None:
    machine = six_four()

    def solved(degrees: float) -> Reference:
        section = section_parallel(machine, degrees * deg, Level.numbered(0), half=True)
        return over_currents(section, phase_turns(machine)[: len(section.coils)], [15.0])[0]

    before, here, after = (solved(degrees) for degrees in (-20.5, -20.0, -19.5))
    assert here.torque == pytest.approx(here.torque_virtual, rel=5e-4)
    assert here.torque > 0  # the rotor pole approaches: motoring
    slope = (after.coenergy - before.coenergy) / (1.0 * deg)
    assert here.torque == pytest.approx(slope, rel=2e-3)
    # The broken twin: a difference over an angle taken for half as large again.
    assert here.torque != pytest.approx(slope / 1.5, rel=2e-3)


def test_dense_table_leaves_nothing_to_its_interpolation() -> None:
    b = np.linspace(0.01, 2.6, 997)
    for through, exact in zip(smooth().evaluate(b), SmoothSteel().evaluate(b), strict=True):
        assert np.abs(through / exact - 1).max() < 1e-4


def test_half_turn_is_the_whole_turn() -> None:
    """Cutting by symmetry, as the record is made, changes nothing but the mesh."""
    machine = six_four()
    found = []
    for half in (True, False):
        section = section_parallel(machine, 24 * deg, Level.numbered(-1), half)
        found.append(over_currents(section, phase_turns(machine)[: len(section.coils)], [12.0])[0])
    assert found[0].flux_linkage == pytest.approx(found[1].flux_linkage, rel=2e-4)
    assert found[0].torque == pytest.approx(found[1].torque, rel=5e-4)
    assert found[0].coenergy == pytest.approx(found[1].coenergy, rel=2e-4)


@pytest.mark.slow
@pytest.mark.parametrize("name", FOUR)
def test_torque_of_any_outline_is_the_slope_of_its_coenergy(name: str) -> None:
    machine = FOUR[name]
    angle, step = -0.25 * machine.rotor_pitch, 0.005 * machine.rotor_pitch
    before, here, after = (reference_machine(machine, angle + k * step, [5.0], 0)[0] for k in (-1, 0, 1))
    slope = (after.coenergy - before.coenergy) / (2 * step)
    assert here.torque == pytest.approx(slope, rel=1e-3)
    assert here.torque == pytest.approx(here.torque_virtual, rel=3e-3)
    # The broken twin: a rotor that turns the other way.
    assert here.torque != pytest.approx(-slope, rel=1e-3)


def test_library_by_its_own_means_finds_the_same_field() -> None:
    """Law as a spline, symbolic energy, NGSolve's Newton: against the law at every point and Newton's method here."""
    machine = six_four()
    section = section_parallel(machine, 20 * deg, Level.numbered(-1), half=True)
    turns = phase_turns(machine)[: len(section.coils)]
    for current, theirs in zip((4.0, 12.0), ordinary(section, turns, (4.0, 12.0), 3, 1e-7), strict=True):
        here = magnetostatic(section, current * np.array(turns))
        assert theirs.fluxes[0] == pytest.approx(here.fluxes[0], rel=1e-4)
        assert theirs.coenergy == pytest.approx(here.coenergy, rel=1e-4)
        assert torque_by_stress(section, theirs) == pytest.approx(torque_by_stress(section, here), rel=2e-4)
        # The broken twin: a tenth of a per cent more current.
        more = magnetostatic(section, 1.001 * current * np.array(turns))
        assert theirs.coenergy != pytest.approx(more.coenergy, rel=1e-4)


def test_outline_and_numbers_draw_the_same_machine() -> None:
    machine = six_four()
    section = section_parallel(machine, 13 * deg, Level.numbered(-1))
    by_numbers = over_currents(section, phase_turns(machine), [12.0])[0]
    by_outline = reference_machine(machine, 13 * deg, [12.0], Level.numbered(-1))[0]
    assert by_outline.flux_linkage == pytest.approx(by_numbers.flux_linkage, rel=2e-4)
    assert by_outline.torque == pytest.approx(by_numbers.torque, rel=5e-4)
    # The broken twin: the same rotor half a degree further on.
    turned = reference_machine(machine, 13.5 * deg, [12.0], Level.numbered(-1))[0]
    assert turned.flux_linkage != pytest.approx(by_numbers.flux_linkage, rel=2e-4)
