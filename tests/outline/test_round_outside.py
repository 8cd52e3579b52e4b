"""What machines may have beside plain poles: stepped coils, scooped valleys, a shaft of steel, air outside."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from polefem.copper import Wire, coil_shape, packing
from polefem.errors import GeometryRefused, InvalidValue
from polefem.materials import Steel
from polefem.outline import Label, Outline, Region, outline_of, parts_of
from polefem.params import AxialMachine, CoilStep, Pole, RadialMachine
from polefem.params.content import content_key
from polefem.params.toml import machine_from_text, machine_text
from polefem.shapes import Seat, area, pole_edge
from polefem.units import deg, mm
from tests.outline.test_builds import AXIAL, OUTER
from tests.outline.test_radial import MACHINE, parallel_pole, regions

SHAFT = Steel.linear(200)
STEPS = (CoilStep(4 * mm, 3 * mm), CoilStep(5 * mm, 4.5 * mm))
STEPPED = replace(MACHINE, winding=replace(MACHINE.winding, steps=STEPS))
ALL = replace(
    STEPPED, shaft_steel=SHAFT, surrounding_air=20 * mm, rotor_pole=Pole(arc=33 * deg, flank_length=1 * mm)
)


def steps_of(ring: Region, machine: RadialMachine) -> bool:
    """Whether a coil side is as wide as its steps say where they say it."""
    z = np.array([piece.start for piece in ring.ring])
    inside = np.abs(z.imag).min()
    begins = machine.stator_bore_radius + machine.winding.face_inset
    ends = machine.slot_radius - machine.winding.yoke_clearance
    expected = [(begins, 3), (begins + 4 * mm, 3), (begins + 4 * mm, 4.5), (begins + 9 * mm, 4.5)]
    expected += [(begins + 9 * mm, 6), (ends, 6), (begins, 0), (ends, 0)]
    found = sorted((x, abs(y) - inside) for x, y in zip(z.real, z.imag, strict=True))
    wanted = sorted((x, width * mm) for x, width in expected)
    return len(found) == len(wanted) and bool(np.allclose(found, wanted, atol=1e-12))


@pytest.mark.parametrize("taper", [0.0, 8 * deg])
def test_a_coil_beside_leaning_flanks_keeps_its_distances_and_no_more(taper: float) -> None:
    """Along the pole's axis, by the corners that reach furthest."""
    outline = outline_of(replace(MACHINE, stator_pole=Pole(arc=30 * deg, taper=taper)))
    for side in ("minus", "plus"):
        ring = outline.stator.region(Label("coil", pole=0, side=side)).ring
        levels = [segment.start.real for segment in ring]
        begins = MACHINE.stator_bore_radius + MACHINE.winding.face_inset
        ends = MACHINE.slot_radius - MACHINE.winding.yoke_clearance
        assert (min(levels), max(levels)) == pytest.approx((begins, ends), abs=1e-9)


def test_a_stepped_coil_is_as_wide_as_its_steps_say() -> None:
    parts = regions(outline_of(STEPPED))
    height = STEPPED.slot_radius - 3 * mm - STEPPED.stator_bore_radius - 2 * mm
    for side in ("minus", "plus"):
        ring = parts[f"stator coil 1 {side}"]
        assert steps_of(ring, STEPPED)
        assert area(ring.ring) == pytest.approx((4 * 3 + 5 * 4.5 + (height / mm - 9) * 6) * mm**2)
    assert not steps_of(regions(outline_of(MACHINE))["stator coil 1 plus"], MACHINE)


def test_a_step_of_the_coils_own_width_is_no_corner() -> None:
    same = replace(MACHINE, winding=replace(MACHINE.winding, steps=(CoilStep(3 * mm, 6 * mm),)))
    assert len(regions(outline_of(same))["stator coil 1 plus"].ring) == 4


def test_the_mean_turn_of_a_stepped_coil_runs_through_the_middle_of_its_area() -> None:
    shape = coil_shape(STEPPED)
    height = shape.height / mm
    assert height == pytest.approx((STEPPED.slot_radius - STEPPED.stator_bore_radius) / mm - 5)
    blocks = [(3, 4), (4.5, 5), (6, height - 9)]
    whole = sum(w * h for w, h in blocks)
    middle = sum(w * h * w / 2 for w, h in blocks) / whole
    flank = STEPPED.stator_bore_radius * math.sin(15.5 * deg) + STEPPED.winding.liner
    assert shape.across == pytest.approx(2 * (flank + middle * mm))
    assert shape.width * shape.height == pytest.approx(whole * mm**2) == shape.area
    assert shape.blocks == pytest.approx(np.array(blocks) * mm)


def test_wires_lie_in_each_block_by_itself() -> None:
    shape = coil_shape(STEPPED)
    found = packing(shape, Wire(0.9 * mm, 1.0 * mm), 50, STEPPED.winding)
    last = math.floor(shape.height / mm - 9)
    assert found.places == 3 * 4 + 4 * 5 + 6 * last
    assert f"({3} layers of {4}, then 4 layers of 5, then 6 layers of {last})" in str(found)
    one = packing(replace(shape, blocks=()), Wire(0.9 * mm, 1.0 * mm), 50, STEPPED.winding)
    assert one.places != found.places


def test_steps_longer_than_the_coil_are_refused() -> None:
    long = replace(MACHINE, winding=replace(MACHINE.winding, steps=(CoilStep(30 * mm, 3 * mm),)))
    with pytest.raises(
        GeometryRefused, match=r"leave some of it to its own width: winding.steps, together, is 30"
    ):
        outline_of(long)
    with pytest.raises(
        InvalidValue, match=r"must have a width: winding.step.width is 0 mm, allowed is above 0 mm"
    ):
        CoilStep(1 * mm, 0.0)


def test_a_step_that_reaches_its_neighbour_is_refused() -> None:
    wide = replace(MACHINE, winding=replace(MACHINE.winding, steps=(CoilStep(4 * mm, 11 * mm),)))
    with pytest.raises(GeometryRefused, match="a coil must not cut its neighbour"):
        outline_of(wide)


def places_across(machine: AxialMachine) -> list[float]:
    """Distances of a coil side's corners from the pole axis along the cut at the mean radius, m."""
    ring = outline_of(machine).stator.region(Label("coil", pole=0, side="plus")).ring
    return sorted({round(piece.start.imag, 9) for piece in ring})


@pytest.mark.parametrize("flanks", ["radial", "parallel", "round"])
def test_an_axial_cut_shows_a_step_as_wide_as_a_coil_of_its_width(flanks: str) -> None:
    wide = replace(AXIAL.winding, coil_width=4 * mm)
    narrow, stepped = replace(wide, coil_width=2 * mm), replace(wide, steps=(CoilStep(3 * mm, 2 * mm),))
    one, two, both = (
        places_across(replace(AXIAL, stator_flanks=flanks, winding=winding))  # type: ignore[arg-type]
        for winding in (wide, narrow, stepped)
    )
    assert both == sorted({*one, *two}) and len(both) == 3


def shafts(outline: Outline) -> list[Region]:
    return [r for side in (outline.rotor, outline.stator) for r in side.regions if r.material == "shaft"]


@pytest.mark.parametrize("machine", [MACHINE, OUTER], ids=["inside", "outside"])
def test_a_shaft_of_steel_fills_its_hole(machine: RadialMachine) -> None:
    assert shafts(outline_of(machine)) == []
    outline = outline_of(replace(machine, shaft_steel=SHAFT))
    (shaft,) = shafts(outline)
    side = outline.rotor if machine is MACHINE else outline.stator
    share = side.unit_poles / side.row.poles
    assert area(shaft.ring) == pytest.approx(math.pi * machine.shaft_radius**2 * share, rel=1e-12)
    assert area(shaft.ring) != pytest.approx(math.pi * machine.shaft_radius**2, rel=1e-3)
    (part,) = (part for part in parts_of(replace(machine, shaft_steel=SHAFT)) if part.material == "shaft")
    assert part.area == pytest.approx(math.pi * machine.shaft_radius**2, rel=1e-12)


def test_air_outside_moves_the_end_of_the_field_and_nothing_else() -> None:
    near, far = outline_of(MACHINE), outline_of(replace(MACHINE, surrounding_air=20 * mm))
    assert far.stator.row.far == pytest.approx(84 * mm) and near.stator.row.far == 64 * mm
    assert [area(r.ring) for r in far.stator.regions] == [area(r.ring) for r in near.stator.regions]
    outer = outline_of(replace(OUTER, surrounding_air=5 * mm)).rotor
    assert outer.row.far == pytest.approx(OUTER.rotor_outer_radius + 5 * mm)
    with pytest.raises(InvalidValue, match=r"a size that can be built: surrounding_air is -1 mm"):
        replace(MACHINE, surrounding_air=-1 * mm)


def test_scooped_valleys_meet_midway_between_poles() -> None:
    """By hand for one pole: as much as straight flanks, and what lies between flank, arc and yoke besides."""
    plain = replace(MACHINE, rotor_pole=Pole(arc=20 * deg), rotor_poles=6, must_start=False, stator_poles=8)
    plain = replace(plain, stator_pole=Pole(arc=20 * deg), winding=replace(plain.winding, coil_width=3 * mm))
    scooped = replace(plain, rotor_pole=Pole(arc=20 * deg, flank_length=2 * mm))
    straight, round_ = (regions(outline_of(m))["rotor iron"] for m in (plain, scooped))
    half = 32 * mm * math.sin(10 * deg)
    turn = complex(32 * mm * math.cos(10 * deg) - 2 * mm, half)
    foot = complex(math.sqrt((20 * mm) ** 2 - half**2), half)
    middle = 20 * mm * complex(math.cos(30 * deg), math.sin(30 * deg))
    dx, dy = (turn - middle).real, (middle - turn).imag
    radius = (dx**2 + dy**2) / (2 * dy)
    arc = 2 * math.atan2(dy, dx)
    root = 30 * deg - math.asin(half / (20 * mm))
    triangle = abs(((foot - turn).conjugate() * (middle - turn)).imag) / 2
    more = triangle - radius**2 * (arc - math.sin(arc)) / 2 - (20 * mm) ** 2 * (root - math.sin(root)) / 2
    assert area(round_.ring) - area(straight.ring) == pytest.approx(2 * more, rel=1e-9)
    assert 2 * more > 0.02 * parallel_pole(32 * mm, 20 * mm, 20 * deg)


def test_valleys_that_no_arc_makes_are_refused() -> None:
    long = replace(MACHINE, rotor_pole=Pole(0.5, flank_length=14 * mm), must_start=False)
    with pytest.raises(
        GeometryRefused, match=r"turn off before it meets the yoke: rotor_pole.flank_length is 14 mm"
    ):
        outline_of(long)
    # Two stator poles: the middle between them lies behind where the flank turns off.
    seat = Seat(face=30 * mm, root=48 * mm, half_pitch=90 * deg)
    with pytest.raises(
        GeometryRefused, match=r"one arc must reach the middle of the valley .*flank_length is 5 mm"
    ):
        pole_edge(Pole(0.5, flank_length=5 * mm), seat)


def test_a_root_is_filled_or_scooped() -> None:
    with pytest.raises(InvalidValue, match=r"a root is filled or scooped out: pole.root_fillet is 0.001"):
        Pole(0.5, root_fillet=1 * mm, flank_length=(0.0, 2 * mm))
    assert not Pole(0.5, flank_length=(0.0, 2 * mm)).symmetric


def test_all_of_it_is_written_and_read_and_has_a_key() -> None:
    machine = replace(ALL, shaft_steel=SHAFT)
    text = machine_text(machine)
    for key in ("[[winding.step]]", "[shaft_steel]", "surrounding_air_mm = 20", "flank_length_mm = 1"):
        assert key in text
    assert machine_text(machine_from_text(text)) == text
    for change in (
        {"shaft_steel": None},
        {"surrounding_air": 0.0},
        {"winding": replace(machine.winding, steps=STEPS[:1])},
        {"rotor_pole": Pole(arc=33 * deg)},
    ):
        assert content_key(replace(machine, **change)) != content_key(machine)  # type: ignore[arg-type]
