"""The mesh of a machine: upright triangles, exact areas, true arcs, matching ends, mirror images."""

from __future__ import annotations

from dataclasses import fields, replace
from functools import cache

import numpy as np
import pytest

from polefem.errors import GeometryRefused, MeshFailed
from polefem.materials import Steel
from polefem.mesh import EDGES, Mesh, quality
from polefem.mesher import mesh_side, mesh_sides
from polefem.mesher.unit import UnitMesh, _straightened
from polefem.outline import Outline, Side, sections
from polefem.params import FreeFace, MeshSpec, OuterRotorMachine, Pole, Shoe, Winding
from polefem.units import deg, mm
from tests.field.built_machines import MACHINES, ROUGH, half_turn, sized
from tests.mesher.mesh_checks import areas_match, closed, curves_met, ends_match, mirrored, shaped, upright

#: No triangle of a named mesh is worse (`polefem.mesh.quality`: 1 is equilateral).
LEAST = 0.02


@cache
def outline(name: str) -> Outline:
    return sections(MACHINES[name][0])[0]


@cache
def meshes(name: str, spec: str, sectors: int) -> tuple[tuple[Side, Mesh], ...]:
    drawn = outline(name)
    made = mesh_sides(drawn, MeshSpec.named(spec), sectors)
    return tuple(zip((drawn.rotor, drawn.stator), made, strict=True))


@pytest.mark.parametrize("spec", ["coarse", "normal"])
@pytest.mark.parametrize("name", MACHINES)
def test_a_mesh_is_what_its_outline_says(name: str, spec: str) -> None:
    for side, mesh in meshes(name, spec, MACHINES[name][1]):
        assert upright(mesh) and closed(mesh, side) and ends_match(mesh)
        assert areas_match(mesh, side, 1e-5) and curves_met(mesh, side)
        assert shaped(mesh, LEAST)
        assert mesh.flat == side.flat and mesh.sectors == MACHINES[name][1]


@pytest.mark.parametrize("name", MACHINES)
def test_one_pole_of_a_symmetric_side_is_its_own_mirror_image(name: str) -> None:
    drawn = outline(name)
    for side in (drawn.rotor, drawn.stator):
        if side.row.mirror:
            mesh = mesh_side(side, MeshSpec.named("coarse"), side.row.poles)
            assert mirrored(mesh) and ends_match(mesh)
            # The twin: one node moved by the last bit.
            points = mesh.points.copy()
            points[len(points) // 2, 1] = np.nextafter(points[len(points) // 2, 1], np.inf)
            assert not mirrored(replace(mesh, points=points))


def test_a_unit_of_a_whole_turn_is_meshed_all_round() -> None:
    poles = tuple(Pole(arc=arc * deg) for arc in (30, 31, 32, 33))
    side = sections(replace(half_turn(), rotor_pole=poles))[0].rotor
    assert side.unit_poles == side.row.poles == 4
    mesh = mesh_side(side, MeshSpec.named("normal"), 1)
    assert upright(mesh) and closed(mesh, side) and areas_match(mesh, side, 1e-5) and curves_met(mesh, side)


def test_a_squeezed_triangle_gets_straight_sides_but_on_the_gap() -> None:
    corners = np.array([[1.0, 1.0], [2.0, 1.0], [1.0, 2.0]])
    middles = np.array([(corners[i] + corners[j]) / 2 for i, j in EDGES])
    bent = middles + np.array(
        [[0.1, 0.6], [0.0, 0.0], [0.05, 0.0]]
    )  # the first side passes beyond the third corner
    none = np.array([], dtype=np.int64)
    ends = dict.fromkeys((field.name for field in fields(UnitMesh)[3:]), none)
    unit = UnitMesh(np.vstack([corners, bent]), np.arange(6)[None], np.zeros(1, dtype=np.int64), **ends)
    assert _straightened(unit).points[3:] == pytest.approx(middles)
    i, j = EDGES[0]
    kept = _straightened(replace(unit, gap=np.array([i, j]))).points[3:]
    assert kept[0] == pytest.approx(bent[0]) and kept[1:] == pytest.approx(middles[1:])


def test_the_checks_tell_a_wrong_mesh() -> None:
    side, mesh = meshes("6/4, half a turn", "coarse", 2)[1]
    other, _ = meshes("6/4, half a turn", "coarse", 2)[0]
    triangles = mesh.triangles.copy()
    triangles[0] = triangles[0, [0, 2, 1, 5, 4, 3]]
    assert not upright(replace(mesh, triangles=triangles))
    assert not closed(replace(mesh, triangles=mesh.triangles[:-1]), side)
    # A corner moved to a two-hundredth of the way from the middle of the opposite side.
    points = mesh.points.copy()
    a, b, c = mesh.triangles[0, :3]
    middle = (points[b] + points[c]) / 2
    points[a] = middle + (points[a] - middle) / 200
    assert shaped(mesh) and not shaped(replace(mesh, points=points))
    assert not areas_match(mesh, other)
    # Straight edges in place of arcs.
    straight = mesh.points.copy()
    for k, pair in enumerate(((0, 1), (1, 2), (0, 2))):
        straight[mesh.triangles[:, 3 + k]] = straight[mesh.triangles[:, pair]].mean(axis=1)
    assert not areas_match(replace(mesh, points=straight), side)
    assert not curves_met(replace(mesh, points=straight), side)
    # A machine that is a ten-thousandth larger.
    assert not areas_match(replace(mesh, points=mesh.points * 1.0001), side)
    assert not curves_met(replace(mesh, points=mesh.points * 1.0001), side)
    assert not ends_match(replace(mesh, high=mesh.high[::-1].copy()))


def test_a_triangle_that_is_too_thin_is_no_mesh(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("polefem.mesher.sector.WORST", 0.9)
    with pytest.raises(
        MeshFailed, match=r"^a triangle of the (rotor|stator) came out too thin: its quality is 0\."
    ):
        mesh_sides(outline("6/4, half a turn"), ROUGH, 2)


def test_finer_names_make_finer_meshes_with_truer_areas() -> None:
    """A quadratic edge leaves an arc by the fourth power of its angle; fine meshes keep areas to a millionth."""
    counts = []
    for spec in ("coarse", "normal", "fine"):
        pairs = meshes("6/4, outer rotor", spec, 2)
        counts.append(sum(len(mesh.triangles) for _, mesh in pairs))
    assert all(areas_match(mesh, side, 1e-6) for side, mesh in pairs)
    assert counts == sorted(counts) and counts[2] > 2 * counts[1]


def test_a_rounding_of_microns_makes_no_thin_triangle(monkeypatch: pytest.MonkeyPatch) -> None:
    pole = Pole(30 * deg, root_fillet=0.003 * mm)
    rotor = sections(replace(sized(100 * mm, 3 * mm), rotor_pole=pole))[0].rotor
    assert shaped(mesh_side(rotor, MeshSpec.named("coarse"), 4), LEAST)
    # The twin: sizes grow from there as fast as elsewhere on a coarse mesh.
    monkeypatch.setattr("polefem.mesher.sizes.STEEPEST", 1.0)
    with pytest.raises(MeshFailed, match="too thin"):
        mesh_side(rotor, MeshSpec.named("coarse"), 4)


def test_an_edge_of_less_than_a_micron_makes_no_thin_triangle(monkeypatch: pytest.MonkeyPatch) -> None:
    base = half_turn()
    # Two chamfers that leave a tenth of a micron of the face.
    chamfer = (base.rotor_outer_radius * 32 * deg - 1e-7) / 2
    rotor = sections(replace(base, rotor_pole=Pole(32 * deg, tip_chamfer=chamfer)))[0].rotor
    assert shaped(mesh_side(rotor, MeshSpec.named("coarse"), 4), LEAST)
    # The twin: what it parts is taken to touch, and leaves no room to mesh finely.
    monkeypatch.setattr("polefem.mesher.room.SAME", 1e-6)
    with pytest.raises(MeshFailed, match="too thin"):
        mesh_side(rotor, MeshSpec.named("coarse"), 4)


@pytest.mark.parametrize("stations", [5, 9, 17, 24])
def test_a_face_of_many_stations_makes_no_thin_triangle(
    stations: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its arcs are short beside what is wanted along the gap, and each has an edge of its own."""
    at = [2 * k / (stations - 1) - 1 for k in range(stations)]
    face = FreeFace(tuple(at), tuple(0.2 * mm * x**2 for x in at))
    machine = replace(sized(100 * mm, 0.5 * mm), rotor_pole=Pole(40 * deg, face=face))
    rotor = sections(machine)[0].rotor
    wide = MeshSpec(corner=0.2, face=0.4, iron=0.35, growth=1.0)
    specs = [wide, *(MeshSpec.named(name) for name in ("coarse", "normal", "fine"))]
    assert min(float(quality(mesh_side(rotor, spec, 4)).min()) for spec in specs) >= LEAST
    # The twin: the length of an edge says nothing of the elements before it.
    monkeypatch.setattr("polefem.mesher.room.PIECE", np.inf)
    monkeypatch.setattr("polefem.mesher.sector.WORST", 0.0)
    fanned = float(quality(mesh_side(rotor, wide, 4)).min())
    if stations >= 17:
        assert fanned < LEAST


def test_a_hairs_breadth_of_air_between_coil_and_shoe_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """No triangle of the wedge between them is better shaped than its angle is wide."""
    base = half_turn()
    winding = replace(base.winding, face_inset=0.1 * mm, liner=0.0)

    def stator(neck: float) -> Side:
        pole = Pole(31 * deg, shoe=Shoe(2 * mm, 1.2 * mm, neck))
        return sections(replace(base, stator_pole=pole, winding=winding))[0].stator

    with pytest.raises(
        GeometryRefused,
        match=r"a coil must lie on its pole or leave room .*: winding, minus side of stator pole 1, "
        r"angle between it and the iron is 0\.499 deg, allowed is 0 deg, or 2 deg and more",
    ):
        stator(0.735 * mm)
    for neck in (0.79 * mm, 0.72 * mm):  # 2.1 deg; the other way round
        for name in ("coarse", "normal", "fine"):
            assert shaped(mesh_side(stator(neck), MeshSpec.named(name), 6))
    # The twin: it is left to the mesher.
    monkeypatch.setattr("polefem.outline.checks.SHARP", 0.0)
    with pytest.raises(MeshFailed, match="too thin"):
        mesh_side(stator(0.735 * mm), MeshSpec.named("normal"), 6)


def test_a_coil_near_one_end_of_a_lopsided_unit_makes_no_thin_triangle(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Both ends carry the same nodes, and gmsh spaces them by what lies near the first."""
    machine = OuterRotorMachine(
        stator_poles=10,
        rotor_poles=8,
        rotor_outer_radius=41.25 * mm,
        stator_outer_radius=34.3 * mm,
        air_gap=0.1 * mm,
        rotor_yoke_thickness=3.4 * mm,
        stator_yoke_radius=23.25 * mm,
        shaft_radius=4.6 * mm,
        stack_length=34 * mm,
        stator_pole=Pole(12.6 * deg, taper=(-0.1, 0.175)),
        rotor_pole=Pole(13.5 * deg),
        winding=Winding(
            turns_per_pole=10, coil_width=2.25 * mm, face_inset=1.9 * mm, yoke_clearance=0.55 * mm, liner=0.0
        ),
        steel=Steel.linear(1000.0),
        must_start=False,
    )
    stator = sections(machine)[0].stator
    assert not stator.row.mirror
    assert shaped(mesh_side(stator, MeshSpec.named("coarse"), 2), LEAST)
    # The twin: each unit is taken to be alone.
    monkeypatch.setattr("polefem.mesher.sizes._repeated", lambda side, at, size, reach: (at, size))
    with pytest.raises(MeshFailed, match="too thin"):
        mesh_side(stator, MeshSpec.named("coarse"), 2)


# Sizes ----------------------------------------------------------------------------------------------


def layered(mesh: Mesh, side: Side) -> bool:
    """Whether a layer of air lies between the iron and the trace all along: no triangle of iron has a node on it, and
    elements along it are no longer than a hundred gaps."""
    iron = np.unique(mesh.triangles[mesh.of_material("iron")])
    ends = mesh.points[mesh.gap[::2]]
    longest = np.linalg.norm(np.diff(ends, axis=0), axis=1).max()
    return not np.isin(mesh.gap, iron).any() and bool(longest < 100 * side.air_gap)


def whole_mesh(radius: float, gap: float, spec: str) -> None:
    drawn = sections(sized(radius, gap))[0]
    for side, mesh in zip(
        (drawn.rotor, drawn.stator), mesh_sides(drawn, MeshSpec.named(spec), 2), strict=True
    ):
        assert upright(mesh) and closed(mesh, side) and ends_match(mesh) and layered(mesh, side)
        assert areas_match(mesh, side, 1e-5) and curves_met(mesh, side)


@pytest.mark.parametrize(
    ("radius", "gap"), [(10 * mm, 0.1 * mm), (10 * mm, 1 * mm), (500 * mm, 0.5 * mm), (500 * mm, 3 * mm)]
)
def test_gaps_on_small_and_large_rotors(radius: float, gap: float) -> None:
    whole_mesh(radius, gap, "normal")


@pytest.mark.slow
@pytest.mark.parametrize("spec", ["coarse", "normal", "fine"])
@pytest.mark.parametrize("radius", [10 * mm, 30 * mm, 90 * mm, 250 * mm, 500 * mm])
@pytest.mark.parametrize("gap", [0.1 * mm, 0.3 * mm, 1 * mm, 3 * mm])
def test_any_gap_on_any_rotor(gap: float, radius: float, spec: str) -> None:
    if gap <= radius / 5:
        whole_mesh(radius, gap, spec)
