"""Outer rotors and axial machines: where things lie, what a cylinder cuts, how halves count."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from polefem.errors import GeometryRefused, InvalidValue
from polefem.materials import Steel
from polefem.outline import Side, outline_of, sections
from polefem.outline.member import STRIP
from polefem.params import (
    AxialMachine,
    Barrier,
    Hole,
    Notch,
    OuterRotorMachine,
    Pole,
    RadialMachine,
    RoundFace,
    SlopedFace,
    Winding,
)
from polefem.params.cuts import cut_pole, half_angle
from polefem.shapes import area, points
from polefem.units import deg, mm

WINDING = Winding(turns_per_pole=100, coil_width=5 * mm, face_inset=2 * mm, yoke_clearance=2 * mm)
AXIAL = AxialMachine(
    stator_poles=6,
    rotor_poles=4,
    inner_radius=45 * mm,
    outer_radius=80 * mm,
    air_gap=0.6 * mm,
    stator_pole_height=25 * mm,
    rotor_pole_height=15 * mm,
    stator_yoke_thickness=10 * mm,
    rotor_yoke_thickness=9 * mm,
    stator_pole=Pole(arc=30 * deg),
    rotor_pole=Pole(arc=32 * deg),
    winding=WINDING,
    steel=Steel.linear(1000),
)
OUTER = OuterRotorMachine(
    stator_poles=6,
    rotor_poles=8,
    rotor_outer_radius=70 * mm,
    stator_outer_radius=50 * mm,
    air_gap=0.5 * mm,
    rotor_yoke_thickness=8 * mm,
    stator_yoke_radius=25 * mm,
    shaft_radius=12 * mm,
    stack_length=40 * mm,
    stator_pole=Pole(arc=20 * deg),
    rotor_pole=Pole(arc=21 * deg),
    winding=replace(WINDING, face_inset=4 * mm),
    steel=Steel.linear(1000),
)


def levels(side: Side) -> tuple[float, float]:
    """Lowest and highest level of the iron, m."""
    z = np.concatenate([points(r.ring, 1e-9) for r in side.regions if r.material == "iron"])
    level = z.real if side.flat else np.abs(z)
    return float(level.min()), float(level.max())


def iron(side: Side) -> float:
    return sum(area(r.ring) - sum(map(area, r.holes)) for r in side.regions if r.material == "iron")


def test_an_outer_rotor_runs_round_its_stator() -> None:
    outline = outline_of(OUTER)
    assert levels(outline.stator) == pytest.approx((12 * mm, 50 * mm), rel=1e-6)
    assert levels(outline.rotor) == pytest.approx((50.5 * mm, 70 * mm), rel=1e-3)
    assert outline.stator.gap == pytest.approx((50 + 0.5 * STRIP) * mm)
    assert outline.rotor.gap == pytest.approx((50.5 - 0.5 * STRIP) * mm)
    assert (outline.rotor.row.far, outline.rotor.row.far_fixed) == (70 * mm, True)
    assert (outline.stator.row.far, outline.stator.row.far_fixed) == (0.0, False)
    coils = [r for r in outline.stator.regions if r.material == "coil"]
    z = np.concatenate([points(r.ring) for r in coils])
    assert (z.real.min(), z.real.max()) == pytest.approx((27 * mm, 46 * mm))


def test_cuts_of_an_axial_machine_share_out_its_poles_length() -> None:
    outlines = sections(AXIAL)
    assert sum(outline.length for outline in outlines) == pytest.approx(35 * mm)
    # Gauss and Legendre: three points integrate any polynomial of degree 5 exactly.
    third = sum(outline.length * outline.radius**3 for outline in outlines)
    assert third == pytest.approx((0.08**4 - 0.045**4) / 4, rel=1e-12)
    for outline in outlines:
        for side, poles, bottom, top in ((outline.rotor, 4, -24, 0), (outline.stator, 6, 0.6, 35.6)):
            assert side.flat and side.pitch == pytest.approx(2 * math.pi * outline.radius / poles)
            assert levels(side) == pytest.approx((bottom * mm, top * mm), abs=1e-12)
            assert side.row.far_fixed
        pole = 30 * deg * outline.radius * 25 * mm
        assert iron(outline.stator) == pytest.approx(outline.stator.pitch * 10 * mm + pole, rel=1e-12)


@pytest.mark.parametrize(
    ("flanks", "chord"),
    [
        ("radial", lambda r: r * 2 * math.sin(15 * deg)),
        ("parallel", lambda r: 62.5 * mm * 2 * math.sin(15 * deg)),
    ],
)
def test_a_cut_meets_radial_and_parallel_flanks_where_they_are(flanks: str, chord: object) -> None:
    for radius in (45 * mm, 62.5 * mm, 80 * mm):
        half = half_angle(flanks, 30 * deg, 62.5 * mm, radius)
        assert 2 * radius * math.sin(half) == pytest.approx(chord(radius))  # type: ignore[operator]


def test_a_cut_meets_a_round_core_on_its_circle() -> None:
    core = AXIAL.core_diameter(Pole(arc=30 * deg))
    for radius in (50 * mm, 62.5 * mm, 75 * mm):
        spot = radius * np.exp(1j * half_angle("round", 30 * deg, 62.5 * mm, radius))
        assert abs(spot - 62.5 * mm) == pytest.approx(core / 2)
    assert half_angle("round", 30 * deg, 62.5 * mm, 62.5 * mm) == pytest.approx(15 * deg)


def test_the_cuts_of_round_cores_add_up_to_their_area() -> None:
    machine = replace(AXIAL, stator_flanks="round", cuts=12, winding=replace(WINDING, coil_width=2 * mm))
    core = machine.core_diameter(machine.stator_pattern[0])
    volume = sum((iron(o.stator) - o.stator.pitch * 10 * mm) * o.length for o in sections(machine))
    assert volume == pytest.approx(math.pi / 4 * core**2 * 25 * mm, rel=2e-3)


def test_what_lies_on_a_face_keeps_its_place_on_it() -> None:
    pole = Pole(
        arc=30 * deg,
        notches=(Notch(5 * deg, 1 * mm, 1 * mm),),
        face=SlopedFace(rise=(0.0, 1 * mm), start=6 * deg),
    )
    cut = cut_pole(pole, "parallel", 60 * mm, 80 * mm)
    part = cut.arc / pole.arc
    assert part < 0.8
    assert cut.notches[0].at == pytest.approx(5 * deg * part)
    assert cut.face == SlopedFace(rise=(0.0, 1 * mm), start=(6 * deg * part, 6 * deg * part))
    bent = cut_pole(replace(pole, face=RoundFace(50 * mm, at=3 * deg)), "parallel", 60 * mm, 80 * mm)
    assert bent.face == RoundFace(50 * mm, at=3 * deg * part)


def test_half_of_a_double_sided_machine_counts_twice() -> None:
    double = replace(AXIAL, build="two rotors", through_flux=False)
    assert sum(o.length for o in sections(double)) == pytest.approx(2 * 35 * mm)
    assert double.section_turns == 100  # a coil on each face
    outline = sections(double)[0]
    assert levels(outline.stator)[1] == pytest.approx((0.6 + 25 + 5) * mm)  # half the yoke
    assert outline.stator.row.far_fixed and outline.rotor.row.far_fixed
    assert levels(outline.rotor)[0] == pytest.approx(-24 * mm)


def test_a_core_between_two_rotors_lets_flux_straight_through() -> None:
    core = replace(
        AXIAL, build="two rotors", stator_yoke_thickness=0.0, winding=replace(WINDING, yoke_clearance=0.0)
    )
    outline = sections(core)[1]
    assert core.section_turns == 50  # half of one coil on each side of the plane
    assert not outline.stator.row.far_fixed and outline.rotor.row.far_fixed
    assert outline.stator.row.far == pytest.approx(25.6 * mm)
    assert iron(outline.stator) == pytest.approx(30 * deg * outline.radius * 25 * mm)
    coil = next(r for r in outline.stator.regions if r.material == "coil")
    assert points(coil.ring).real.max() == pytest.approx(25.6 * mm)


def test_rotor_poles_between_two_stators_need_no_yoke() -> None:
    outline = sections(replace(AXIAL, build="two stators", rotor_yoke_thickness=0.0))[0]
    assert not outline.rotor.row.far_fixed and outline.stator.row.far_fixed
    assert outline.rotor.row.far == pytest.approx(-15 * mm)


def test_a_pattern_makes_a_longer_unit_and_equal_poles_a_shorter_one() -> None:
    one, two = Pole(arc=30 * deg), Pole(arc=28 * deg, taper=0.05)
    side = sections(replace(AXIAL, stator_pole=(one, two), must_start=False))[0].stator
    assert side.unit_poles == 2 and not side.row.mirror
    assert [str(r.label) for r in side.regions][1:] == [
        f"coil {k} {s}" for k in (1, 2) for s in ("minus", "plus")
    ]
    assert sections(replace(AXIAL, stator_pole=(one, one)))[0].stator.unit_poles == 1
    three = outline_of(
        replace(OUTER, stator_pole=(Pole(arc=20 * deg), Pole(arc=21 * deg), Pole(arc=22 * deg)))
    )
    assert three.stator.unit_poles == 3
    assert np.angle(three.stator.corners[2:4]) == pytest.approx([(60 - 10.5) * deg, (60 + 10.5) * deg])


def test_a_unit_of_a_whole_turn_is_no_crossing() -> None:
    poles = (Pole(arc=30 * deg), Pole(arc=31 * deg), Pole(arc=32 * deg), Pole(arc=33 * deg))
    machine = RadialMachine(
        stator_poles=6, rotor_poles=4, stator_outer_radius=60 * mm, rotor_outer_radius=30 * mm, air_gap=0.4 * mm,
        stator_yoke_thickness=11 * mm, rotor_yoke_radius=19 * mm, shaft_radius=10 * mm, stack_length=60 * mm,
        stator_pole=Pole(arc=30 * deg), rotor_pole=poles, winding=WINDING, steel=Steel.linear(1000),
    )  # fmt: skip
    rotor = outline_of(machine).rotor
    assert rotor.unit_poles == 4
    assert iron(rotor) > math.pi * (19**2 - 10**2) * mm**2


def test_openings_turn_with_their_pole() -> None:
    holed = Pole(
        arc=21 * deg, holes=(Hole(4 * mm, 2 * mm),), barriers=(Barrier(8 * mm, 3 * mm, 1 * mm, 0.2),)
    )
    rotor = outline_of(replace(OUTER, rotor_pole=(Pole(arc=21 * deg), holed))).rotor
    centres = [np.mean([s.start for s in hole]) for hole in rotor.regions[0].holes]
    assert [abs(z) for z in centres] == pytest.approx([54.5 * mm, 58.5 * mm])
    assert np.angle(centres) == pytest.approx([45 * deg, 45 * deg])


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (
            {"build": "three gaps"},
            "of a known kind: build is 'three gaps', allowed is one gap, two rotors, two stators",
        ),
        (
            {"stator_yoke_thickness": 0.0},
            "a yoke must have a thickness, unless .*: stator_yoke_thickness is 0 m",
        ),
        (
            {"build": "two stators", "stator_yoke_thickness": 0.0},
            "a yoke must have a thickness, unless .*: stator_yoke_thickness is 0 m",
        ),
        ({"inner_radius": 80 * mm}, "a radial length: inner_radius is 80 mm, allowed is below 80 mm"),
        ({"cuts": 0}, "cut at least once: cuts is 0"),
        (
            {
                "build": "two rotors",
                "stator_yoke_thickness": 0.0,
                "stator_pole": Pole(0.5, root_fillet=1 * mm),
            },
            "without a yoke has no root to fill or to scoop out: stator_pole.root_fillet is 1 mm",
        ),
    ],
)
def test_discs_that_cannot_be_are_refused(change: dict[str, object], sentence: str) -> None:
    with pytest.raises((InvalidValue, GeometryRefused), match=sentence):
        replace(AXIAL, **change)  # type: ignore[arg-type]


def test_coils_that_meet_at_the_inner_ends_are_refused_though_no_cut_lies_there() -> None:
    wide = replace(WINDING, coil_width=7 * mm)
    machine = replace(AXIAL, stator_flanks="parallel", cuts=1, winding=wide)
    with pytest.raises(GeometryRefused, match="a coil must not cut its neighbour"):
        sections(machine)
    outline_of(machine)  # at the mean radius all is well


def test_a_round_core_wider_than_its_ring_is_refused() -> None:
    with pytest.raises(
        GeometryRefused, match=r"must lie between the radii: rotor_pole.arc is 41.8 mm across"
    ):
        sections(replace(AXIAL, rotor_flanks="round", rotor_pole=Pole(arc=38.5 * deg)))
