"""Random machines of every build, faces of many stations included: each outline that is drawn meshes, on every mesh."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings

from polefem.errors import GeometryRefused, InvalidValue
from polefem.mesh import Mesh
from polefem.mesher import mesh_side
from polefem.mesher.reckoning import elements
from polefem.mesher.sizes import sizes_of
from polefem.outline import Side, sections
from polefem.params import Machine, MeshSpec
from tests.field.built_machines import half_turn
from tests.mesher.mesh_checks import areas_match, closed, curves_met, ends_match, shaped, upright
from tests.shapes.draws import machines


def sound(mesh: Mesh, side: Side) -> bool:
    return (
        upright(mesh)
        and shaped(mesh)
        and closed(mesh, side)
        and ends_match(mesh)
        and areas_match(mesh, side, 1e-4)
        and curves_met(mesh, side, middles=False)
    )


def reckoned(mesh: Mesh, side: Side, spec: MeshSpec) -> bool:
    """Whether the mesh of one unit has about as many elements as were expected."""
    return 0.4 <= len(mesh.triangles) / elements(side, spec, sizes_of(side, spec)) <= 2.5


def outcome(draw: Callable[[], Machine], specs: Sequence[str]) -> str:
    try:
        outline = sections(draw())[0]
    except (GeometryRefused, InvalidValue):
        return "refused"
    for side in (outline.rotor, outline.stator):
        for spec in map(MeshSpec.named, specs):
            mesh = mesh_side(side, spec, side.row.poles // side.unit_poles)
            assert sound(mesh, side) and reckoned(mesh, side, spec)
    return "meshed"


def run(count: int, specs: Sequence[str], derandomize: bool) -> Counter[str]:
    ends: Counter[str] = Counter()

    @settings(
        max_examples=count,
        deadline=None,
        derandomize=derandomize,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(machines())
    def every_draw_is_refused_or_meshed(draw: Callable[[], Machine]) -> None:
        ends[outcome(draw, specs)] += 1

    every_draw_is_refused_or_meshed()
    return ends


def test_every_random_outline_meshes() -> None:
    ends = run(40, ["coarse"], derandomize=True)
    assert ends["meshed"] >= 3, ends


@pytest.mark.slow
def test_two_thousand_random_outlines_mesh_on_every_mesh() -> None:
    ends = run(2000, ["coarse", "normal", "fine"], derandomize=False)
    assert ends["meshed"] >= 400, ends


def test_the_checks_tell_a_wrong_mesh_and_a_wrong_count() -> None:
    side, spec = sections(half_turn())[0].rotor, MeshSpec.named("coarse")
    mesh = mesh_side(side, spec, side.row.poles)
    assert sound(mesh, side) and reckoned(mesh, side, spec)
    points = np.array(mesh.points)
    points[mesh.triangles[0, 0]] *= 0.99
    assert not sound(replace(mesh, points=points), side)
    assert not reckoned(mesh, side, spec.coarser(0.3))
    assert not reckoned(replace(mesh, triangles=mesh.triangles[::4]), side, spec)
