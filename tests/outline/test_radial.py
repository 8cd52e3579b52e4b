"""The outline of a radial machine with plain poles: areas by hand, coils where they belong, refusals."""

import math
from dataclasses import replace

import numpy as np
import pytest

from polefem.errors import GeometryRefused
from polefem.materials import Steel
from polefem.outline import Outline, Region, outline_of
from polefem.outline.member import STRIP
from polefem.params import FreeFace, Pole, RadialMachine, Winding
from polefem.shapes import Line, area
from polefem.units import deg, mm

MACHINE = RadialMachine(
    stator_poles=6,
    rotor_poles=4,
    stator_outer_radius=64 * mm,
    rotor_outer_radius=32 * mm,
    air_gap=0.45 * mm,
    stator_yoke_thickness=12 * mm,
    rotor_yoke_radius=20 * mm,
    shaft_radius=9 * mm,
    stack_length=50 * mm,
    stator_pole=Pole(arc=31 * deg),
    rotor_pole=Pole(arc=33 * deg),
    winding=Winding(turns_per_pole=90, coil_width=6 * mm, face_inset=2 * mm, yoke_clearance=3 * mm),
    steel=Steel.linear(1000),
)


def regions(outline: Outline) -> dict[str, Region]:
    return {f"{side.row.name} {r.label}": r for side in (outline.rotor, outline.stator) for r in side.regions}


def parallel_pole(face: float, root: float, arc: float) -> float:
    """Area of a parallel-sided pole between two circles about the shaft, by hand: the strip |y| < w / 2."""
    half = face * math.sin(arc / 2)

    def strip(radius: float) -> float:  # under the circle x = sqrt(radius^2 - y^2)
        return half * math.sqrt(radius**2 - half**2) + radius**2 * math.asin(half / radius)

    return abs(strip(face) - strip(root))


def iron_by_hand(machine: RadialMachine) -> tuple[float, float]:
    """Area of one pole's share of the rotor iron and of the stator iron, m2."""
    rotor = math.pi * (machine.rotor_yoke_radius**2 - machine.shaft_radius**2) / machine.rotor_poles
    stator = math.pi * (machine.stator_outer_radius**2 - machine.slot_radius**2) / machine.stator_poles
    rotor += parallel_pole(machine.rotor_outer_radius, machine.rotor_yoke_radius, machine.rotor_pole.arc)
    stator += parallel_pole(machine.stator_bore_radius, machine.slot_radius, machine.stator_pole.arc)
    return rotor, stator


def test_iron_has_the_area_that_a_hand_calculation_gives() -> None:
    parts = regions(outline_of(MACHINE))
    rotor, stator = iron_by_hand(MACHINE)
    assert area(parts["rotor iron"].ring) == pytest.approx(rotor, rel=1e-12)
    assert area(parts["stator iron"].ring) == pytest.approx(stator, rel=1e-12)
    # The twin: a face taken for its chord is off by far more than rounding.
    assert area(parts["rotor iron"].ring) != pytest.approx(rotor - 1e-8, rel=1e-12)


def test_coil_sides_are_rectangles_beside_the_flank() -> None:
    parts = regions(outline_of(MACHINE))
    inner = MACHINE.stator_bore_radius * math.sin(MACHINE.stator_pole.arc / 2) + MACHINE.winding.liner
    box = (MACHINE.stator_bore_radius + 2 * mm, MACHINE.slot_radius - 3 * mm, inner, inner + 6 * mm)
    for side, sign in (("minus", -1), ("plus", 1)):
        ring = parts[f"stator coil 1 {side}"].ring
        z = np.array([segment.start for segment in ring])
        found = (z.real.min(), z.real.max(), (sign * z.imag).min(), (sign * z.imag).max())
        assert found == pytest.approx(box, rel=1e-12)
        assert area(ring) == pytest.approx((box[1] - box[0]) * 6 * mm, rel=1e-12)


def test_faces_and_levels_are_those_of_the_machine() -> None:
    outline = outline_of(MACHINE)
    assert outline.rotor.gap == pytest.approx((32 + 0.45 * STRIP) * mm)
    assert outline.stator.gap == pytest.approx((32.45 - 0.45 * STRIP) * mm)
    assert (outline.rotor.row.far, outline.rotor.row.far_fixed) == (0.0, False)
    assert (outline.stator.row.far, outline.stator.row.far_fixed) == (64 * mm, True)
    assert np.abs(outline.rotor.corners) == pytest.approx([32 * mm] * 2)
    assert np.angle(outline.stator.corners) == pytest.approx([-15.5 * deg, 15.5 * deg])
    assert outline.length == 50 * mm
    for side in (outline.rotor, outline.stator):
        assert side.row.mirror and side.unit_poles == 1 and not side.flat
        for region in side.regions:
            ends = [segment.end for segment in region.ring]
            assert [segment.start for segment in region.ring[1:]] + [region.ring[0].start] == pytest.approx(
                ends
            )
            assert area(region.ring) > 0


@pytest.mark.parametrize(("back", "wide"), [(0.2, 0.65), (0.6, 0.9)])
def test_the_meshed_strips_grow_with_a_face_that_is_set_back(back: float, wide: float) -> None:
    """A face so many mm behind the bore everywhere widens the gap of 0.45 mm, which counts up to twofold. The stator's
    strip lies in front of the bore all the same: coils may reach that far."""
    pole = Pole(31 * deg, face=FreeFace((-1.0, 1.0), (back * mm, back * mm)))
    outline = outline_of(replace(MACHINE, stator_pole=pole))
    assert outline.rotor.air_gap == outline.stator.air_gap == pytest.approx(wide * mm)
    assert outline.rotor.gap == pytest.approx((32 + wide * STRIP) * mm)
    assert outline.stator.gap == pytest.approx((32.45 - 0.45 * STRIP) * mm)


def test_the_cuts_of_the_unit_lie_half_a_pitch_from_its_pole() -> None:
    outline = outline_of(MACHINE)
    for side in (outline.rotor, outline.stator):
        cuts = [
            s
            for s in side.regions[0].ring
            if isinstance(s, Line) and abs(np.angle(s.start)) > 0.9 * side.pitch / 2
        ]
        assert [abs(np.angle(z)) for s in cuts for z in (s.start, s.end)] == pytest.approx(
            [side.pitch / 2] * 4
        )


def wound(**changes: float) -> RadialMachine:
    return replace(MACHINE, winding=replace(MACHINE.winding, **changes))


@pytest.mark.parametrize(
    ("machine", "sentence"),
    [
        (
            replace(MACHINE, stator_pole=Pole(arc=60 * deg)),
            r"^pole faces must not touch at the gap: stator_pole.arc is 60 deg, allowed is below the pole",
        ),
        (
            replace(MACHINE, rotor_pole=Pole(arc=95 * deg)),
            "^pole faces must not touch at the gap: rotor_pole.arc is 95",
        ),
        (
            replace(MACHINE, rotor_yoke_radius=9.05 * mm),
            "^the flanks of a pole must meet its yoke: rotor_pole from axis to flank is 9.0",
        ),
        (replace(MACHINE, rotor_yoke_radius=10 * mm), "^poles must not touch at their roots: rotor_pole"),
        (wound(yoke_clearance=0.0), "^a coil must not cut the yoke: winding, minus side of stator pole 1"),
        (
            wound(coil_width=11 * mm, yoke_clearance=6 * mm),
            "^a coil must not cut its neighbour: winding, minus side of stator pole 1",
        ),
        (
            replace(MACHINE, stator_pole=Pole(arc=31 * deg, root_fillet=6 * mm)),
            "^a coil must not cut iron or coils: stator, iron and coil 1 minus, overlap is .* mm2, allowed is none",
        ),
        (wound(face_inset=30 * mm), "^a coil side must have a length along its pole"),
    ],
)
def test_what_cannot_be_built_is_refused_in_a_sentence(machine: RadialMachine, sentence: str) -> None:
    with pytest.raises(GeometryRefused, match=sentence):
        outline_of(machine)
