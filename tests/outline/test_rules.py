"""Rules of the trade: self-starting arcs, fill, coils that cannot be slid on, thin iron."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from polefem.errors import GeometryRefused, InvalidValue
from polefem.materials import Steel
from polefem.outline import outline_of, remarks
from polefem.outline.rules import fill, refuse_unstartable, start_remarks
from polefem.params import Barrier, Hole, Notch, Pole, RadialMachine, Shoe, Winding
from polefem.units import deg, mm
from tests.record.check import Check

CASE = "strokes and pole arcs"
LAWRENSON = "Lawrenson and others, IEE Proceedings B 127(4), 1980"
Record = Callable[..., None]

MACHINE = RadialMachine(
    stator_poles=6,
    rotor_poles=4,
    stator_outer_radius=60 * mm,
    rotor_outer_radius=30 * mm,
    air_gap=0.4 * mm,
    stator_yoke_thickness=11 * mm,
    rotor_yoke_radius=19 * mm,
    shaft_radius=10 * mm,
    stack_length=60 * mm,
    stator_pole=Pole(arc=30 * deg),
    rotor_pole=Pole(arc=32 * deg),
    winding=Winding(turns_per_pole=100, coil_width=6 * mm, face_inset=2 * mm, yoke_clearance=3 * mm),
    steel=Steel.linear(1000),
)


def with_arcs(stator: float, rotor: float, **changes: object) -> RadialMachine:
    return replace(MACHINE, stator_pole=Pole(stator * deg), rotor_pole=Pole(rotor * deg), **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(("stator", "rotor"), [(30, 30), (30, 60), (45, 45)])
def test_the_corners_of_the_feasible_triangle_of_a_6_4_machine_pass(stator: float, rotor: float) -> None:
    """Vertices for 6/4: Lawrenson and others, 1980 (from memory)."""
    narrow = replace(MACHINE.winding, coil_width=2 * mm)
    machine = with_arcs(stator, rotor, winding=narrow, rotor_yoke_radius=24 * mm)
    assert remarks(machine) == ()


def feasible(poles: tuple[int, int], stator: float, rotor: float) -> bool:
    """Whether arcs (deg) are let pass without a word."""
    machine = with_arcs(stator, rotor, stator_poles=poles[0], rotor_poles=poles[1], unusual=True)
    try:
        refuse_unstartable(machine)
    except GeometryRefused:
        return False
    return start_remarks(machine) == []


def border(inside: Callable[[float], bool], low: float, high: float) -> float:
    """Where, between two arcs (deg) of which one is feasible, that changes."""
    first = inside(low)
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if inside(middle) == first else (low, middle)
    return (low + high) / 2


@pytest.mark.parametrize(("poles", "vertices"), [((6, 4), (30, 60, 45)), ((8, 6), (15, 45, 30))])
def test_the_feasible_region_is_the_triangle_of_the_source(
    poles: tuple[int, int], vertices: tuple[int, int, int], record: Record
) -> None:
    least, _, equal = vertices
    found = (
        border(lambda arc: feasible(poles, arc, arc), 1.0, equal - 1.0),
        border(lambda arc: feasible(poles, least, arc), least + 1.0, 80.0),
        border(lambda arc: feasible(poles, arc, arc), least + 1.0, 80.0),
    )
    names = ("least arcs", "widest rotor arc beside the least stator arc", "widest equal arcs")
    for name, published, arc in zip(names, vertices, found, strict=True):
        quantity = f"{name}, {poles[0]}/{poles[1]}"
        check = Check(CASE, quantity, published, "deg", LAWRENSON, "from memory", 1e-6)
        record(check, arc, broken=arc + 1e-3)


@pytest.mark.parametrize(
    ("stator", "rotor", "said"),
    [
        (29.9, 32, "stator_pole.arc is 29.9 deg, allowed is the stroke of 30 deg or more"),
        (30, 29.9, "rotor_pole.arc is 29.9 deg"),
    ],
)
def test_arcs_below_a_stroke_are_refused_unless_a_dead_angle_will_do(
    stator: float, rotor: float, said: str
) -> None:
    with pytest.raises(GeometryRefused, match=f"starts from every angle .*{said}"):
        outline_of(with_arcs(stator, rotor))
    lazy = with_arcs(stator, rotor, must_start=False)
    outline_of(lazy)
    assert any("no phase can start it" in sentence for sentence in remarks(lazy))


def test_arcs_outside_the_triangle_are_remarked_on() -> None:
    assert "no wider than rotor arcs" in remarks(with_arcs(33, 32))[0]
    wide = with_arcs(31, 60, rotor_yoke_radius=24 * mm)
    assert "overlap even at the unaligned angle" in remarks(wide)[0]


def test_two_symmetric_phases_cannot_start_from_everywhere() -> None:
    slim = replace(MACHINE.winding, coil_width=2 * mm)
    pole = Pole(45 * deg)
    two = replace(MACHINE, stator_poles=4, rotor_poles=2, rotor_pole=pole, stator_pole=pole, winding=slim)
    assert ["two phases" in sentence for sentence in remarks(two)] == [True]
    leaning = replace(two, rotor_pole=Pole(45 * deg, taper=(0.0, 0.1)))
    assert remarks(leaning) == ()


def test_a_rig_of_one_phase_is_made_when_asked_for() -> None:
    rig = replace(MACHINE, stator_poles=2, rotor_poles=2, single_phase=True)
    assert outline_of(rig).stator.row.poles == 2
    assert rig.phases.count == 1
    with pytest.raises(GeometryRefused, match="switched in turn"):
        replace(rig, single_phase=False)


def test_turns_that_do_not_fit_are_refused_with_how_many_would() -> None:
    wire = replace(MACHINE.winding, wire_diameter=0.8 * mm)
    outline = outline_of(replace(MACHINE, winding=wire))
    # Coil sides of 6 mm by 13.6 mm; wires by their circles.
    expected = 100 * math.pi / 4 * 0.8**2 / (6 * 13.6)
    assert fill(replace(MACHINE, winding=wire), outline) == pytest.approx(expected)
    assert fill(MACHINE, outline) is None
    fat = replace(wire, wire_diameter=0.9 * mm)
    with pytest.raises(
        GeometryRefused, match=r"turns_per_pole is 100 \(filling 78% of a coil side\), allowed is 83 turns"
    ):
        outline_of(replace(MACHINE, winding=fat))
    outline_of(replace(MACHINE, winding=replace(fat, turns_per_pole=83)))
    with pytest.raises(GeometryRefused, match="hold its turns"):
        outline_of(replace(MACHINE, winding=replace(fat, turns_per_pole=42, strands=2)))


@pytest.mark.parametrize(
    ("pole", "in_place"),
    [
        (Pole(30 * deg), False),
        (Pole(30 * deg, taper=3 * deg), False),
        (Pole(32 * deg, taper=-3 * deg), True),
        (Pole(38 * deg, shoe=Shoe(2 * mm, 1 * mm, 1.5 * mm)), True),
        (Pole(38 * deg, shoe=Shoe((0.0, 2 * mm), 1 * mm, 1.5 * mm)), True),
        (Pole(32 * deg, shoe=Shoe(0.2 * mm, 1 * mm, 1.5 * mm)), False),
    ],
)
def test_a_coil_slides_over_what_is_narrower_than_its_inside(pole: Pole, in_place: bool) -> None:
    machine = replace(MACHINE, stator_pole=pole, rotor_pole=Pole(40 * deg))
    assert any("wound in place" in sentence for sentence in remarks(machine)) == in_place


@pytest.mark.parametrize(
    ("past", "liner", "refused"),
    [(0.28, 0.0, True), (0.01, 0.0, True), (-0.01, 0.0, False), (0.6, 0.0, False), (0.28, 0.05, False)],
)
def test_a_coil_lies_on_its_pole_or_leaves_room_for_a_film(past: float, liner: float, refused: bool) -> None:
    """The tip is rounded by 2 mm, and the coil begins so many mm past the end of the straight flank."""
    half = 30.4 * math.sin(15 * deg)
    # The rounding touches the flank and, from outside, the bore.
    flank_ends = math.sqrt(32.4**2 - (half - 2) ** 2)
    inset = flank_ends - 30.4 - past
    winding = replace(MACHINE.winding, face_inset=inset * mm, liner=liner * mm)
    machine = replace(MACHINE, stator_pole=Pole(30 * deg, tip_fillet=2 * mm), winding=winding)
    if not refused:
        outline_of(machine)
        return
    away = f"{math.hypot(2, past) - 2:.4g}"
    sentence = (
        rf"room for a film .* of its corner from the iron is {away} mm, allowed is 0 mm, or 0\.05 mm and more"
    )
    with pytest.raises(GeometryRefused, match=sentence):
        outline_of(machine)


@pytest.mark.parametrize(
    ("pole", "sentence"),
    [
        (Pole(32 * deg, holes=(Hole(1.4 * mm, 2 * mm),)), None),
        (
            Pole(32 * deg, holes=(Hole(1.3 * mm, 2 * mm),)),
            "thinner near x 29.* mm, y .*allowed is 0.35 mm or more",
        ),
        (Pole(32 * deg, holes=(Hole(1.3 * mm, 2 * mm),), web=0.25 * mm), None),
        (
            Pole(32 * deg, holes=(Hole(5 * mm, 2 * mm), Hole(7.3 * mm, 2 * mm))),
            "nowhere be thinner .*rotor iron",
        ),
        (
            Pole(32 * deg, holes=(Hole(5 * mm, 2 * mm), Hole(6.9 * mm, 2 * mm))),
            "holes and barriers must not meet",
        ),
        (Pole(32 * deg, holes=(Hole(0.5 * mm, 2 * mm),)), "holes and barriers must lie inside the iron"),
        (Pole(32 * deg, barriers=(Barrier(5 * mm, 6 * mm, 1 * mm, offset=7.6 * mm),)), "thinner near"),
        (Pole(32 * deg, notches=(Notch(14.9 * deg, 1 * mm, 1 * mm),)), "thinner near"),
        (
            Pole(32 * deg, notches=(Notch(14 * deg, 1 * mm, 9 * mm),), taper=-0.35),
            "edge of a part must not cross",
        ),
        (
            # A little through a shoe.
            Pole(
                36 * deg,
                shoe=Shoe(1.5 * mm, 1 * mm, 1 * mm),
                notches=(Notch(17 * deg, 1 * mm, 1.2 * mm, "v"),),
            ),
            "edge of a part must not cross",
        ),
        (Pole(32 * deg, notches=(Notch(0, 15.4 * mm, 2 * mm),)), None),
        (Pole(32 * deg, notches=(Notch(0, 16.0 * mm, 2 * mm),)), "thinner near"),
        (
            Pole(32 * deg, notches=(Notch(0, 16.0 * mm, 1 * mm),)),
            "notch.depth is 1 mm, allowed is above 1.086 mm",
        ),
    ],
)
def test_iron_thinner_than_its_web_is_refused_with_its_place(pole: Pole, sentence: str | None) -> None:
    machine = replace(MACHINE, rotor_pole=pole)
    if sentence is None:
        outline_of(machine)
        return
    with pytest.raises(GeometryRefused, match=sentence):
        outline_of(machine)


@pytest.mark.parametrize(("left", "refused"), [(1e-15, False), (5e-8, True), (2e-7, False), (1e-3, False)])
def test_an_edge_is_not_next_to_nothing(left: float, refused: bool) -> None:
    """Two chamfers that leave so much of a face, m: what is rounding is nothing at all."""
    pole = Pole(32 * deg, tip_chamfer=(MACHINE.rotor_outer_radius * 32 * deg - left) / 2)
    machine = replace(MACHINE, rotor_pole=pole)
    if not refused:
        outline_of(machine)
        return
    with pytest.raises(
        GeometryRefused, match=r"long enough to be cut: rotor iron, length of its edge near x 30 mm"
    ):
        outline_of(machine)


def test_a_winding_may_join_phases_and_turn_coils() -> None:
    wide = replace(
        MACHINE, stator_poles=12, rotor_poles=10, rotor_pole=Pole(15 * deg), stator_pole=Pole(12 * deg)
    )
    narrow = replace(wide.winding, coil_width=2 * mm)
    assert replace(wide, winding=narrow).phases.count == 6
    joined = replace(narrow, phase_of_pole=(0, 2, 2, 1, 1, 0, 0, 2, 2, 1, 1, 0))
    assert replace(wide, winding=joined).phases.count == 3
    turned = replace(MACHINE, winding=replace(MACHINE.winding, polarity=(1, -1, 1, -1, 1, -1)))
    assert turned.phases.polarity == (1, -1, 1, -1, 1, -1)
    with pytest.raises(GeometryRefused, match="each phase follows the one before it by the same angle"):
        replace(MACHINE, winding=replace(MACHINE.winding, phase_of_pole=(0, 1, 2, 0, 1, 2)))
    with pytest.raises(InvalidValue, match=r"a phase and a polarity: winding.polarity is \(1, -1\)"):
        replace(MACHINE, winding=replace(MACHINE.winding, polarity=(1, -1)))
    with pytest.raises(GeometryRefused, match=r"paths evenly: winding.parallel_paths is 3 for 2 poles"):
        replace(MACHINE, winding=replace(MACHINE.winding, parallel_paths=3))
