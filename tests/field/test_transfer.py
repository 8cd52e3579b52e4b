"""Fields transferred to another mesh: exact where linear, and near enough to start from where they are real."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from polefem import MeshSpec
from polefem.field import built, transferred
from polefem.model import Model
from polefem.params import AxialMachine, RadialMachine
from polefem.solve import FactorCache, System, minimise
from polefem.units import deg
from tests.field.built_machines import axial, half_turn

Floats = NDArray[np.float64]

FINE, ROUGH = MeshSpec().coarser(2.0), MeshSpec().coarser(3.0)


def system_on(machine: RadialMachine | AxialMachine, spec: MeshSpec) -> System:
    return built(machine, spec).systems[0]


def across(model: Model) -> Floats:
    """A = x, which turns its sign with half a turn, as unknowns; zero on the outer boundary, where A is held."""
    values = np.empty(model.size)
    first = 0
    for mesh, tie in ((model.rotor_mesh, model.rotor_tie), (model.stator_mesh, model.stator_tie)):
        free = tie.signs != 0.0
        values[first + tie.index[free]] = (tie.signs * mesh.points[:, 0])[free]
        first += tie.size
    return values


def flipped(model: Model) -> Model:
    """With a rotor whose field does not turn its sign half a turn on."""
    return replace(model, rotor_tie=replace(model.rotor_tie, signs=np.abs(model.rotor_tie.signs)))


def test_a_linear_field_is_transferred_exactly() -> None:
    fine, rough = (system_on(half_turn(), spec).model for spec in (FINE, ROUGH))
    (found,) = transferred(across(fine)[None], fine, rough)
    expected = across(rough)
    radius = np.zeros(rough.size)
    first = 0
    for mesh, tie in ((rough.rotor_mesh, rough.rotor_tie), (rough.stator_mesh, rough.stator_tie)):
        radius[first + tie.index] = np.hypot(*mesh.points.T)
        first += tie.size
    inner = radius < 0.9 * radius.max()  # further out, triangles reach the boundary

    def exact(values: Floats) -> bool:
        # Beyond the hull of the nodes (between arcs and their chords) the nearest node stands in.
        off = np.abs(values - expected)[inner] / radius.max()
        return bool(np.median(off) < 1e-12 and off.max() < 0.02)

    assert inner.sum() > 0.5 * rough.size and exact(found)
    assert not exact(transferred(across(fine)[None], flipped(fine), rough)[0])


@pytest.mark.parametrize("machine", [half_turn(), axial()], ids=["radial", "axial"])
def test_a_real_field_is_a_better_start_than_the_last_angles(machine: RadialMachine | AxialMachine) -> None:
    fine, rough = system_on(machine, FINE), system_on(machine, ROUGH)

    def solved(system: System, angle: float, start: Floats | None = None) -> tuple[Floats, float]:
        load = 10.0 * system.model.loads[0]
        begin = np.zeros(system.size) if start is None else start
        found = minimise(system.at(angle), load, begin, FactorCache())
        assert found.converged
        return found.unknowns, found.history[0]

    field, _ = solved(fine, -20 * deg)
    (start,) = transferred(field[None], fine.model, rough.model)
    _, error = solved(rough, -20 * deg, start)
    _, neighbour = solved(rough, -20 * deg, solved(rough, -21.5 * deg)[0])

    def good(error: float) -> bool:
        return error < 0.5 * neighbour

    assert good(error)
    assert not good(solved(rough, -20 * deg, 0.5 * start)[1])
