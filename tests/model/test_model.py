"""Meshes and steels as a discrete energy: polynomials integrated exactly, sources, ties, traces, sectors."""

from __future__ import annotations

import cmath
import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.constants import mu_0

from polefem.field import built
from polefem.model import Model, smallest_sector
from polefem.outline import Label, sections
from polefem.params import phases_of
from polefem.shapes import area
from tests.field.built_machines import MACHINES, ROUGH
from tests.gallery import AIR_LAYER, LayeredSection, density_load, quadrature, wave

Floats = NDArray[np.float64]


@cache
def model(name: str) -> Model:
    return built(MACHINES[name][0], ROUGH).systems[0].model


def free(found: Model) -> Floats:
    """Unknowns of A = x over both meshes, whatever the ends and boundaries say (for nodes that are not tied)."""
    values = np.zeros(found.size)
    for mesh, tie, offset in (
        (found.rotor_mesh, found.rotor_tie, 0),
        (found.stator_mesh, found.stator_tie, found.rotor_tie.size),
    ):
        own = tie.signs == 1.0
        values[offset + tie.index[own]] = mesh.points[own, 0]
    return values


def inner(found: Model, side: int) -> NDArray[np.bool_]:
    """Triangles of one side none of whose nodes lies on an end or on the far boundary."""
    mesh = (found.rotor_mesh, found.stator_mesh)[side]
    outer = np.concatenate([mesh.low, mesh.high, mesh.far])
    return ~np.isin(mesh.triangles, outer).any(axis=1)


@pytest.mark.parametrize("name", ["6/4, half a turn", "12/8, periodic half", "6/4, axial"])
def test_the_flux_density_of_a_linear_potential_is_exact(name: str) -> None:
    """A = x has B = (dA/dy, -dA/dx) = (0, -1) T everywhere, on curved triangles too."""
    found = model(name)
    values = free(found)

    def exact(scale: float) -> bool:
        for side, iron in enumerate(found.irons):
            rows = iron.rows
            at = inner(found, side)[rows.triangles]
            bx = (rows.x * values[rows.columns]).sum(axis=1)[at]
            by = (rows.y * values[rows.columns]).sum(axis=1)[at]
            if not (np.abs(bx).max() < 1e-9 and np.abs(by + scale).max() < 1e-9):
                return False
        return True

    assert exact(1.0)
    assert not exact(-1.0)


@pytest.mark.parametrize("name", MACHINES)
def test_quadrature_weights_add_up_to_the_iron(name: str) -> None:
    found, (outline, *_) = model(name), sections(MACHINES[name][0])
    for side, iron in zip((outline.rotor, outline.stator), found.irons, strict=True):
        drawn = sum(area(r.ring) - sum(map(area, r.holes)) for r in side.regions if r.material == "iron")
        drawn *= side.row.poles / side.unit_poles / found.sectors

        def right(weights: Floats, drawn: float = drawn) -> bool:
            return math.isclose(float(weights.sum()), drawn, rel_tol=1e-3)

        assert right(iron.rows.weights) and not right(iron.rows.weights * 1.01)


def test_the_energy_of_a_quadratic_potential_in_air_is_exact() -> None:
    """A = x^2 - y^2 over the air of a flat rotor, whose triangles are all straight: |grad A|^2 is 4 (x^2 + y^2)."""
    found = model("6/4, axial")
    mesh, tie = found.rotor_mesh, found.rotor_tie
    away = np.concatenate([mesh.low, mesh.high, mesh.far])
    x, y = mesh.points.T
    a = x**2 - y**2
    # What touches an end or the far boundary is zero in the potential and left out of both sides by a mask.
    a[np.isin(np.arange(len(a)), away)] = 0.0
    values = np.zeros(found.size)
    own = tie.signs == 1.0
    values[tie.index[own]] = a[own]
    air = np.setdiff1d(np.arange(len(mesh.triangles)), mesh.of_material("iron"))
    inside = air[~np.isin(mesh.triangles[air], away).any(axis=1)]
    places, weights = quadrature(mesh, inside)
    expected = float((4 * (places**2).sum(axis=2) * weights).sum())
    rest = np.setdiff1d(air, inside)
    # The rest, by its own nodal values: gradients at the same points from the shape functions of the gallery.
    expected += sum(_energy(mesh.points[mesh.triangles[t]], a[mesh.triangles[t]]) for t in rest)

    def exact(energy: float) -> bool:
        return math.isclose(energy, expected / mu_0, rel_tol=1e-10)

    assert exact(float(values @ found.air @ values))
    assert not exact(float(values @ found.air @ values) * (1 + 1e-6))


def _energy(corners: Floats, a: Floats) -> float:
    """Integral of |grad A|^2 over one straight triangle from six nodal values: edge middles are exact for it."""
    jacobian = np.stack([corners[1] - corners[0], corners[2] - corners[0]], axis=1)
    inverse, double = np.linalg.inv(jacobian), abs(np.linalg.det(jacobian))
    total = 0.0
    for u, v in ((0.5, 0.0), (0.5, 0.5), (0.0, 0.5)):
        w = 1 - u - v
        along = np.array(
            [
                [1 - 4 * w, 1 - 4 * w],
                [4 * u - 1, 0],
                [0, 4 * v - 1],
                [4 * (w - u), -4 * u],
                [4 * v, 4 * u],
                [-4 * v, 4 * (w - v)],
            ]
        )
        total += float(((a @ along @ inverse) ** 2).sum()) * double / 6
    return total


@pytest.mark.parametrize("name", MACHINES)
def test_a_coil_carries_its_turns(name: str) -> None:
    """Against A = y over both sides of the coil: the load of a phase is turns times the mean of A over each side."""
    machine = MACHINES[name][0]
    found = model(name)
    mesh, tie, offset = found.stator_mesh, found.stator_tie, found.rotor_tie.size
    expected = 0.0
    for pole in range(machine.stator_poles // found.sectors):
        if machine.phases.of_pole[pole] == 0:
            for which, sign in (("minus", 1.0), ("plus", -1.0)):
                places, weights = quadrature(mesh, mesh.of_region(Label("coil", pole=pole, side=which)))
                mean = float((places[:, :, 1] * weights).sum() / weights.sum())
                expected += sign * machine.phases.polarity[pole] * machine.winding.turns_per_pole * mean
    values = np.zeros(found.size)
    own = tie.signs == 1.0
    values[offset + tie.index[own]] = mesh.points[own, 1]

    def right(linked: float) -> bool:
        return math.isclose(linked, expected, rel_tol=1e-9)

    # No coil touches an end or the far boundary of its sector, so that only free nodes count.
    assert right(float(found.loads[0] @ values))
    assert not right(-float(found.loads[0] @ values)) and not right(float(found.loads[0] @ values) / 2)


def test_a_load_by_hand_and_a_load_of_the_room_are_one() -> None:
    system = LayeredSection().system(4e-3, 4, 4, False)
    density = density_load(system, "stator", AIR_LAYER, lambda places: np.ones(len(places)))
    low, high = LayeredSection().stator_layer
    # Its sum is the layer's area: the shape functions add up to one.
    assert math.isclose(float(density.sum()), math.pi * (high**2 - low**2) / 4, rel_tol=1e-5)
    assert not math.isclose(float(density.sum()), math.pi * (high**2 - low**2) / 2, rel_tol=1e-5)
    assert abs(float(density_load(system, "stator", AIR_LAYER, wave(1.0, 4)).sum())) < 1e-6 * float(
        density.sum()
    )


@pytest.mark.parametrize("name", MACHINES)
def test_ends_are_tied_and_the_outside_is_held(name: str) -> None:
    _, sectors, antiperiodic = MACHINES[name]
    found = model(name)
    assert (found.sectors, found.antiperiodic) == (sectors, antiperiodic)
    unknowns = np.random.default_rng(2).normal(size=found.size)
    for mesh, tie, own in (
        (found.rotor_mesh, found.rotor_tie, unknowns[: found.rotor_tie.size]),
        (found.stator_mesh, found.stator_tie, unknowns[found.rotor_tie.size :]),
    ):
        a = tie.nodal(own)

        def tied(sign: float, a: Floats = a, mesh: object = mesh) -> bool:
            return bool(np.array_equal(a[mesh.high], sign * a[mesh.low]))  # type: ignore[attr-defined]

        assert tied(-1.0 if antiperiodic else 1.0) and not tied(1.0 if antiperiodic else -1.0)
        assert not a[mesh.far].any()
        assert np.unique(tie.index[tie.signs != 0]).size == tie.size


@pytest.mark.parametrize("name", MACHINES)
def test_a_trace_runs_once_along_its_sector(name: str) -> None:
    found = model(name)
    for trace, mesh in ((found.rotor_trace, found.rotor_mesh), (found.stator_trace, found.stator_mesh)):
        assert (np.diff(trace.angles) > 0).all()
        assert math.isclose(trace.angles[-1] - trace.angles[0], 2 * math.pi / found.sectors, rel_tol=1e-9)
        middles = (trace.angles[:-1:2] + trace.angles[2::2]) / 2
        assert np.abs(trace.angles[1::2] - middles).max() < 1e-9
        assert trace.unknowns[0] == trace.unknowns[-1] and trace.size == len(mesh.gap) - 1


def repeats(stator_poles: int, rotor_poles: int, sectors: int, sign: int) -> bool:
    """By brute force: whether a turn by one sector takes every coil to one of its phase, with that sign, and every
    rotor pole to a rotor pole."""
    phases = phases_of(stator_poles, rotor_poles)
    turn = cmath.exp(2j * math.pi / sectors)
    at = [cmath.exp(2j * math.pi * k / stator_poles) for k in range(stator_poles)]
    for k, z in enumerate(at):
        images = [j for j, other in enumerate(at) if abs(z * turn - other) < 1e-9]
        if not images or phases.of_pole[images[0]] != phases.of_pole[k]:
            return False
        if phases.polarity[images[0]] != sign * phases.polarity[k]:
            return False
    return abs(turn**rotor_poles - 1) < 1e-9


@pytest.mark.parametrize(
    ("stator_poles", "rotor_poles"),
    [(4, 2), (6, 4), (8, 6), (10, 8), (12, 8), (12, 10), (6, 8), (6, 10), (18, 12), (16, 12), (24, 16)],
)
def test_the_smallest_sector_is_the_smallest_that_repeats(stator_poles: int, rotor_poles: int) -> None:
    sectors, antiperiodic = smallest_sector(phases_of(stator_poles, rotor_poles), stator_poles, rotor_poles)
    assert repeats(stator_poles, rotor_poles, sectors, -1 if antiperiodic else 1)
    assert not repeats(stator_poles, rotor_poles, sectors, 1 if antiperiodic else -1)
    smaller = range(sectors + 1, stator_poles + 1)
    assert not any(repeats(stator_poles, rotor_poles, n, sign) for n in smaller for sign in (1, -1))


def test_poles_in_pairs_repeat_half_as_often() -> None:
    phases = phases_of(12, 8)
    assert smallest_sector(phases, 12, 8) == (4, True)
    assert smallest_sector(phases, 6, 8) == (2, False)
    assert smallest_sector(phases, 12, 4) == (4, True)
    assert smallest_sector(phases_of(6, 4), 3, 4) == (1, False)
    turned = replace(phases, polarity=tuple(1 if k < 6 else -1 for k in range(12)))
    assert smallest_sector(turned, 12, 8) == (2, True)
