"""Random machines of every build, all the way to a field: each is refused in a sentence, or meshes and converges."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings

from polefem.field import built
from polefem.params import Machine, MeshSpec
from polefem.solve import FactorCache
from tests.field.built_machines import ROUGH, half_turn
from tests.field.random_fields import converges, outcome, sound
from tests.shapes.draws import machines


def run(count: int, mesh: MeshSpec | str, thinnest: float, derandomize: bool) -> Counter[str]:
    ends: Counter[str] = Counter()

    @settings(
        max_examples=count,
        deadline=None,
        derandomize=derandomize,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(machines())
    def every_draw_is_refused_or_solved(draw: Callable[[], Machine]) -> None:
        ends[outcome(draw, mesh, thinnest)] += 1

    every_draw_is_refused_or_solved()
    return ends


def test_every_random_machine_is_refused_or_meshes_and_converges() -> None:
    # Which machines are drawn varies with what else is imported; about a third of them can be built.
    ends = run(36, ROUGH, thinnest=1 / 600, derandomize=True)
    assert ends["solved"] >= 3, ends


@pytest.mark.slow
def test_two_thousand_random_machines_are_refused_or_mesh_and_converge() -> None:
    ends = run(2000, "coarse", thinnest=0.0, derandomize=False)
    assert ends["solved"] >= 300, ends


def test_the_checks_tell_a_wrong_mesh_and_a_field_that_did_not_converge(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    machine = half_turn()
    known = built(machine, ROUGH)
    (system,), outline = known.systems, known.outline
    assert sound(system, outline) and converges(system, outline, machine)
    other = replace(outline, stator=replace(outline.stator, row=replace(outline.stator.row, poles=12)))
    assert not sound(system, other)
    mesh = system.model.rotor_mesh
    points = np.array(mesh.points)
    points[mesh.triangles[0, 0]] *= 0.99
    moved = replace(system.model, rotor_mesh=replace(mesh, points=points))
    monkeypatch.setattr(system, "model", moved)
    assert not sound(system, outline)
    monkeypatch.setattr("tests.field.random_fields.FactorCache", lambda: FactorCache(most_steps=1))
    assert not converges(system, outline, machine)
