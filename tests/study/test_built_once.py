"""A design is drawn once, and meshed and assembled once a mesh: the map's, and that of its error estimate."""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from polefem import MeshSpec, Steel
from polefem.estimates import Turning
from polefem.field import COARSER, BuiltMachine, built, built_machine, field_series
from polefem.outline import build as drawing
from polefem.params import Machine
from polefem.params.fields import with_fields
from polefem.study import FIELD, Design, Plan, Solver, Status, attempt
from polefem.sweep import coupled_map, flux_map
from polefem.units import deg, rpm
from tests.field.built_machines import axial
from tests.study.fake_solver import MACHINE, PLAN

ROUGH = MeshSpec.named("coarse").coarser(2.0)
LAMINATED = with_fields(MACHINE, {"steel": Steel.named("M330-50A")})
#: Everything that a field is asked for: a map, all phases together, iron loss, end effects.
EVERYTHING = dataclasses.replace(
    PLAN,
    mesh=ROUGH,
    angle_points=5,
    turning=Turning(100 * rpm, 5 * deg, 8),
    end_effects=True,
)


@pytest.fixture
def made(monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
    """How often cross sections were drawn, meshed and assembled."""
    counted: Counter[str] = Counter()

    def count(module: Any, name: str, what: str) -> None:
        original = getattr(module, name)

        def counting(*given: Any) -> Any:
            counted[what] += 1
            return original(*given)

        monkeypatch.setattr(module, name, counting)

    count(drawing, "_outline", "outlines")
    count(built_machine, "mesh_sides", "meshes")
    count(built_machine, "build_model", "assemblies")
    return counted


def computed(machine: Machine, solver: Solver, plan: Plan = EVERYTHING) -> None:
    outcome = attempt(Design("one", machine, {}, plan), solver)
    assert outcome.status is Status.SOLVED, outcome.reason


def once(made: Counter[str]) -> bool:
    return made == {"outlines": 1, "meshes": 2, "assemblies": 2}


def test_a_design_is_made_once(made: Counter[str]) -> None:
    computed(LAMINATED, FIELD)
    assert once(made)


def forgetful(whole: BuiltMachine, angles: Any, currents: Any) -> Iterator[Any]:
    """Fields that begin with the bare machine, as if nothing were made."""
    return field_series(whole.machine, angles, currents, whole.mesh)


def test_a_solver_that_begins_anew_is_noticed(made: Counter[str]) -> None:
    """The broken twin."""
    computed(LAMINATED, Solver(flux_map, coupled_map, forgetful))
    assert not once(made) and made["outlines"] == 2


def test_another_mesh_has_the_same_outlines(made: Counter[str]) -> None:
    fine = built(MACHINE, ROUGH)
    rough = fine.rough
    assert fine.rough is rough and rough.mesh == ROUGH.coarser(COARSER)
    assert rough.sections is fine.sections and rough.outline is fine.outline and made["outlines"] == 1
    assert built(fine) is fine and built(fine, ROUGH) is fine
    assert rough.systems[0].size < fine.systems[0].size and rough.systems is rough.systems
    assert made["meshes"] == made["assemblies"] == 2


def test_an_axial_machine_is_drawn_once_a_cut(made: Counter[str]) -> None:
    """At each cut, at both ends of its poles where they are only checked, and at the mean radius where none is cut."""
    whole = built(axial(), ROUGH)
    radii = {outline.radius for outline in whole.sections} | {whole.machine.mean_radius}
    assert made["outlines"] == len(radii) + 2
    assert np.isclose(whole.outline.radius, whole.machine.mean_radius)
