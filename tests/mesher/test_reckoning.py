"""How many elements a mesh will have is known before it is made, and what could never be computed is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from polefem.errors import GeometryRefused, MeshFailed
from polefem.mesher import mesh_side
from polefem.mesher.reckoning import elements, sizes_within
from polefem.mesher.sizes import sizes_of
from polefem.outline import Outline, Side, sections
from polefem.params import FreeFace, Hole, Machine, MeshSpec, Notch, Pole
from polefem.units import deg, mm
from tests.field.built_machines import MACHINES, half_turn, sized

#: A real mesh has no more than so many times the elements that are reckoned, and no fewer than a part of them.
FACTOR = 2.0
FREE = FreeFace(
    (-1.0, -0.6, -0.2, 0.2, 0.6, 1.0), tuple(rise * mm for rise in (0.4, 0.1, 0.0, 0.1, 0.3, 0.4))
)
VARIED: dict[str, Machine] = {
    **{name: machine for name, (machine, _, _) in MACHINES.items()},
    "small, thin gap": sized(10 * mm, 0.05 * mm),
    "small, wide gap": sized(10 * mm, 2 * mm),
    "large, thin gap": sized(500 * mm, 0.5 * mm),
    "large, wide gap": sized(500 * mm, 3 * mm),
    "notched": replace(half_turn(), rotor_pole=Pole(32 * deg, notches=(Notch(0.05, 0.5 * mm, 2 * mm),))),
    "bridged": replace(half_turn(), rotor_pole=Pole(32 * deg, holes=(Hole(1.4 * mm, 2 * mm),))),
    "free": replace(half_turn(), rotor_pole=Pole(32 * deg, face=FREE)),
}


def sides(machine: Machine) -> tuple[Side, Side]:
    outline: Outline = sections(machine)[0]
    return outline.rotor, outline.stator


def reckoned(side: Side, spec: MeshSpec) -> float:
    return elements(side, spec, sizes_of(side, spec))


@pytest.mark.parametrize("name", ["coarse", "normal", "fine"])
@pytest.mark.parametrize("machine", VARIED)
def test_a_mesh_has_about_as_many_elements_as_are_reckoned(machine: str, name: str) -> None:
    spec = MeshSpec.named(name)
    for side in sides(VARIED[machine]):
        found = len(mesh_side(side, spec, side.row.poles // side.unit_poles).triangles)

        def right(count: float, found: int = found) -> bool:
            return 1 / FACTOR <= found / count <= FACTOR

        assert right(reckoned(side, spec)), found / reckoned(side, spec)
        # The twins: sizes a third as long, or three times; of several units instead of one.
        assert not right(reckoned(side, spec.coarser(1 / 3)))
        assert not right(4 * reckoned(side, spec)) and not right(reckoned(side, spec) / 4)


@pytest.mark.parametrize("name", ["coarse", "normal"])
def test_half_a_symmetric_pole_is_reckoned_as_a_whole_one_that_barely_is_not(name: str) -> None:
    spec, counts = MeshSpec.named(name), []
    for hair in (0.0, 1e-6 * mm):
        poles = (
            Pole(32 * deg, holes=(Hole(1.4 * mm, 2 * mm, offset=hair),)),
            Pole(
                32 * deg,
                face=FreeFace(
                    FREE.stations, (*(rise * mm for rise in (0.4, 0.1, 0.0, 0.0, 0.1)), 0.4 * mm + hair)
                ),
            ),
        )
        found = [sides(replace(half_turn(), rotor_pole=pole))[0] for pole in poles]
        assert [side.row.mirror for side in found] == [hair == 0.0] * 2
        counts.append([reckoned(side, spec) for side in found])
    assert counts[0] == pytest.approx(counts[1], rel=0.02)
    assert 2 * np.array(counts[0]) != pytest.approx(counts[1], rel=0.02)


def test_the_largest_rotor_with_the_thinnest_gap_is_not_refused() -> None:
    for name in ("coarse", "normal", "fine"):
        for side in sides(sized(500 * mm, 0.1 * mm)):
            spec = MeshSpec.named(name)
            assert sizes_within(side, spec, 2).whole
            # The twin: a tenth of the elements are allowed.
            with pytest.raises(MeshFailed, match="a mesh must be small enough to compute"):
                sizes_within(side, replace(spec, most=round(reckoned(side, spec) / 10)), 2)


@pytest.mark.parametrize(
    ("gap", "count"), [(1e-3, r"about 33\d,000"), (1e-6, "about"), (1e-308, "beyond count")]
)
def test_a_gap_too_thin_to_mesh_is_refused_in_a_sentence(gap: float, count: str) -> None:
    side = sides(replace(half_turn(), air_gap=gap * mm, unusual=True))[0]
    sentence = (
        rf"^a mesh must be small enough to compute: number of elements of the rotor \(air gap {gap:g} mm, "
        rf"poles 16.5\d mm wide\) is {count}.*, allowed is up to 200,000 \(on a coarser mesh, or by a larger "
        r"MeshSpec.most\)$"
    )
    with pytest.raises(MeshFailed, match=sentence):
        mesh_side(side, MeshSpec(), 2)


def test_a_larger_limit_lets_more_be_meshed() -> None:
    side = sides(half_turn())[0]
    few = replace(MeshSpec(), most=500)
    with pytest.raises(MeshFailed, match=r"is about 1,9\d0, allowed is up to 500 "):
        mesh_side(side, few, 2)
    assert len(mesh_side(side, replace(few, most=5000), 2).triangles) > 500


def test_narrow_places_are_not_counted_to_the_end_once_they_are_too_many() -> None:
    pole = Pole(31 * deg, web=1e-6)
    machine = replace(half_turn(), stator_yoke_thickness=4e-6, stator_pole=pole, rotor_pole=pole)
    stator, few = sides(machine)[1], replace(MeshSpec(), most=1000)
    spots = [sum(len(at) for _, at in sizes_of(stator, MeshSpec(), enough).spots) for enough in (1000, 1e9)]
    assert spots[0] < spots[1] / 2
    with pytest.raises(MeshFailed, match=r"number of elements of the stator .* is beyond count"):
        mesh_side(stator, few, 2)


def test_a_yoke_thinner_than_the_chords_of_its_arcs_is_refused() -> None:
    """Its polygon shows no iron at all, so that nothing of it is found to be thin."""
    for thick in (1e-6, 1e-3, 0.1, 0.34):
        with pytest.raises(GeometryRefused, match=rf"stator (yoke|iron) is ({thick:g} mm|thinner)"):
            sections(replace(half_turn(), stator_yoke_thickness=thick * mm))
        with pytest.raises(GeometryRefused, match=rf"rotor (yoke|iron) is ({thick:g} mm|thinner)"):
            sections(replace(half_turn(), shaft_radius=(19 - thick) * mm))
    assert sections(replace(half_turn(), stator_yoke_thickness=0.36 * mm))
