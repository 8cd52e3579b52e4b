"""Edges of poles against closed formulas: flat ones exactly, round ones by circles and triangles."""

from __future__ import annotations

import cmath
import math
import re
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from pole_areas import flat_pole_area, round_pole_area

from polefem.errors import GeometryRefused
from polefem.params import Barrier, FreeFace, Hole, Notch, Pole, RoundFace, Shoe, SlopedFace
from polefem.params.checks import both
from polefem.shapes import Arc, Edge, Line, Seat, area, points, pole_edge
from polefem.shapes.curves import heading, length
from polefem.shapes.openings import openings
from polefem.units import deg, mm

LOW = Seat(face=0.0, root=-15 * mm, half_pitch=30 * deg, flat=True, radius=50 * mm)
HIGH = Seat(face=1 * mm, root=16 * mm, half_pitch=30 * deg, flat=True, radius=50 * mm)
INNER = Seat(face=30 * mm, root=18 * mm, half_pitch=45 * deg)
OUTER = Seat(face=30.5 * mm, root=48 * mm, half_pitch=30 * deg)

POLES = {
    "plain": Pole(arc=0.4),
    "taper": Pole(arc=0.4, taper=0.1),
    "taper one side": Pole(arc=0.4, taper=(-0.05, 0.2)),
    "shoe": Pole(arc=0.4, shoe=Shoe(overhang=2 * mm, tip=1 * mm, neck=2.5 * mm)),
    "shoe one side": Pole(arc=0.4, taper=0.1, shoe=Shoe((0.0, 3 * mm), (1 * mm, 2 * mm), (1 * mm, 3 * mm))),
    "chamfer": Pole(arc=0.4, tip_chamfer=(0.5 * mm, 1 * mm), taper=0.15),
    "fillets": Pole(arc=0.4, tip_fillet=(0.5 * mm, 1 * mm), root_fillet=(2 * mm, 3 * mm), taper=(0.1, -0.1)),
    "notches": Pole(
        arc=0.4,
        notches=(
            Notch(-0.12, 2 * mm, 1 * mm),
            Notch(0.0, 2 * mm, 1.5 * mm, "v"),
            Notch(0.06, 1 * mm, 0.3 * mm, "round"),
            Notch(0.12, 1 * mm, 2 * mm, "round"),
        ),
    ),
    "slope": Pole(arc=0.4, face=SlopedFace(rise=(0.0, 0.6 * mm), start=0.05)),
    "slopes": Pole(arc=0.4, face=SlopedFace(rise=(0.3 * mm, 0.6 * mm), start=(0.1, -0.08))),
    "slopes and tapers": Pole(arc=0.4, taper=(0.1, -0.05), face=SlopedFace(rise=(0.3 * mm, 0.6 * mm))),
    "slope and fillet": Pole(arc=0.4, face=SlopedFace(rise=(0.0, 0.6 * mm)), tip_fillet=(1 * mm, 0.0)),
    "openings": Pole(
        arc=0.4,
        holes=(Hole(5 * mm, 2 * mm, -4 * mm),),
        barriers=(Barrier(6 * mm, 5 * mm, 1 * mm, 0.3, 3 * mm),),
    ),
}


def edge_area(edge: Edge) -> float:
    """Area (m2) inside the edge, closed by a line from foot to foot, less its openings."""
    ring = (*edge.path, Line(edge.path[-1].end, edge.path[0].start))
    return abs(area(ring)) - sum(map(area, edge.openings))


def joined_up(edge: Edge) -> bool:
    return all(abs(a.end - b.start) < 1e-12 for a, b in zip(edge.path[:-1], edge.path[1:], strict=True))


@pytest.mark.parametrize("seat", [LOW, HIGH], ids=["below the gap", "above the gap"])
@pytest.mark.parametrize("name", POLES)
def test_a_flat_pole_has_the_area_of_its_closed_formula(name: str, seat: Seat) -> None:
    edge = pole_edge(POLES[name], seat)
    expected = flat_pole_area(POLES[name], POLES[name].arc * seat.radius, 15 * mm)
    assert joined_up(edge)
    assert edge_area(edge) == pytest.approx(expected, rel=1e-9)


NARROW = [replace(seat, half_pitch=18 * deg) for seat in (LOW, HIGH)]
SCOOPED = {
    "both sides": Pole(arc=0.4, flank_length=4 * mm),
    "one side, tapered": Pole(arc=0.4, taper=(0.0, 0.1), flank_length=(0.0, 5 * mm)),
    "behind a shoe": Pole(arc=0.4, shoe=Shoe(2 * mm, 1 * mm, 2.5 * mm), flank_length=2 * mm),
}


@pytest.mark.parametrize(
    "seat", [*NARROW, replace(INNER, half_pitch=30 * deg), replace(OUTER, half_pitch=20 * deg)]
)
@pytest.mark.parametrize("name", SCOOPED)
def test_a_scooped_valley_is_one_arc_from_the_flank_to_its_middle(name: str, seat: Seat) -> None:
    pole = SCOOPED[name]
    edge = pole_edge(pole, seat)
    assert joined_up(edge)
    arc = edge.path[-1]
    assert isinstance(arc, Arc)
    assert abs(arc.end - seat.at(seat.root, seat.half_pitch)) < 1e-12
    assert abs(heading(arc, arc.start) - heading(edge.flanks[1], arc.start)) < 1e-9
    assert length(edge.flanks[1]) == pytest.approx(both(pole.flank_length)[1])

    def meets(pole: Pole) -> bool:
        if seat.flat:
            found, expected = edge_area(edge), flat_pole_area(pole, 20 * mm, 15 * mm, 18 * deg * seat.radius)
        else:
            root = Arc(edge.path[-1].end, edge.path[0].start, 0j, False)
            found = abs(area((*edge.path, root)))
            expected = round_pole_area(pole, seat.face, seat.root, seat.half_pitch)
        return abs(found / expected - 1) < 1e-9

    assert meets(pole)
    assert not meets(replace(pole, flank_length=0.0))


def test_the_closed_formula_tells_a_fillet_from_a_chamfer() -> None:
    edge = pole_edge(Pole(arc=0.4, tip_fillet=1 * mm), LOW)
    assert edge_area(edge) != pytest.approx(
        flat_pole_area(Pole(arc=0.4, tip_chamfer=1 * mm), 20 * mm, 15 * mm), rel=1e-4
    )


@pytest.mark.parametrize(("seat", "radius"), [(LOW, 40 * mm), (HIGH, -40 * mm)])
def test_a_flat_pole_with_a_round_face_is_a_piece_of_a_circle(seat: Seat, radius: float) -> None:
    pole = Pole(arc=0.4, taper=(0.1, 0.0), face=RoundFace(radius, at=0.05))
    edge = pole_edge(pole, seat)
    assert edge_area(edge) == pytest.approx(flat_pole_area(pole, 20 * mm, 15 * mm), rel=1e-9)
    assert edge.nearest == pytest.approx(seat.face, abs=1e-7)
    (arc,) = (s for s in edge.path if isinstance(s, Arc))
    assert arc.radius == pytest.approx(40 * mm)


@pytest.mark.parametrize("seat", [INNER, OUTER], ids=["inner", "outer"])
@pytest.mark.parametrize("name", [name for name in POLES if name != "slope and fillet"])
def test_a_round_pole_has_the_area_of_its_sectors_and_triangles(name: str, seat: Seat) -> None:
    edge = pole_edge(POLES[name], seat)
    root = Arc(edge.path[-1].end, edge.path[0].start, 0j, False)
    found = abs(area((*edge.path, root))) - sum(map(area, edge.openings))
    assert found == pytest.approx(round_pole_area(POLES[name], seat.face, seat.root), rel=1e-6)


@pytest.mark.parametrize("name", POLES)
def test_a_very_large_round_machine_has_flat_poles(name: str) -> None:
    pole, radius = POLES[name], 50.0
    part = 20 * mm / radius / pole.arc  # all angles shrunk until the face is 20 mm wide

    def shrunk(value: float | tuple[float, float]) -> float | tuple[float, float]:
        return tuple(part * x for x in value) if isinstance(value, tuple) else part * value  # type: ignore[return-value]

    face = pole.face
    if isinstance(face, SlopedFace):
        face = SlopedFace(face.rise, shrunk(face.start))
    notches = tuple(Notch(n.at * part, n.width, n.depth, n.form) for n in pole.notches)
    small = Pole(
        pole.arc * part, pole.taper, pole.shoe, notches, pole.holes, pole.barriers, face,
        pole.tip_chamfer, pole.tip_fillet, pole.root_fillet,
    )  # fmt: skip
    for out in (1, -1):
        seat = Seat(radius, radius - out * 15 * mm, half_pitch=30 * deg * part)
        edge = pole_edge(small, seat)
        assert joined_up(edge)
        assert edge_area(edge) == pytest.approx(flat_pole_area(pole, 20 * mm, 15 * mm), rel=3e-3)


@pytest.mark.parametrize("seat", [LOW, HIGH, INNER, OUTER])
@pytest.mark.parametrize("name", POLES)
def test_a_mirrored_pole_is_the_mirror_image(name: str, seat: Seat) -> None:
    pole = POLES[name]

    def swapped(value: float | tuple[float, float]) -> float | tuple[float, float]:
        return value[::-1] if isinstance(value, tuple) else value

    shoe, face = pole.shoe, pole.face
    if shoe is not None:
        shoe = Shoe(swapped(shoe.overhang), swapped(shoe.tip), swapped(shoe.neck))
    if isinstance(face, SlopedFace):
        face = SlopedFace(swapped(face.rise), swapped(face.start))
    mirrored = Pole(
        pole.arc,
        swapped(pole.taper),
        shoe,
        tuple(Notch(-n.at, n.width, n.depth, n.form) for n in pole.notches),
        tuple(Hole(h.depth, h.diameter, -h.offset) for h in pole.holes),
        tuple(Barrier(b.depth, b.length, b.width, -b.tilt, -b.offset) for b in pole.barriers),
        face,
        swapped(pole.tip_chamfer),
        swapped(pole.tip_fillet),
        swapped(pole.root_fillet),
    )
    one, two = points(pole_edge(pole, seat).path), points(pole_edge(mirrored, seat).path)
    assert np.abs(one - two[::-1].conj()).max() < 1e-12
    assert pole.symmetric == (np.abs(one - one[::-1].conj()).max() < 1e-12 and not pole.holes)


def test_corners_are_where_the_iron_turns_outwards_near_the_gap() -> None:
    notch = Notch(0.0, 2 * mm, 1 * mm)
    edge = pole_edge(Pole(arc=0.4, notches=(notch,), tip_fillet=(0.0, 1 * mm)), LOW)
    expected = [-10j * mm, -1j * mm, 1j * mm, 9j * mm, -1 * mm + 10j * mm]
    assert sorted(edge.corners, key=lambda z: z.imag - z.real) == pytest.approx(expected)


def test_a_slope_is_linear_in_the_angle() -> None:
    edge = pole_edge(Pole(arc=0.5, face=SlopedFace(rise=(0.0, 0.5 * mm), start=0.05)), INNER)
    z = points(edge.path, 1e-9)
    face = z[(np.abs(z) > 29 * mm) & (np.abs(np.angle(z)) < 0.25 - 1e-9)]
    expected = 30 * mm - 0.5 * mm * np.clip((np.angle(face) - 0.05) / 0.2, 0, None)
    assert np.abs(np.abs(face) - expected).max() < 1e-4 * 0.5 * mm
    assert all(isinstance(s, Arc) for s in edge.path[1:-1])


def test_a_free_face_passes_its_points_and_never_narrows_the_gap() -> None:
    face = FreeFace(stations=(-1, -0.5, 0.2, 1), rises=(0.4 * mm, 0.0, 0.0, 0.7 * mm))
    edge = pole_edge(Pole(arc=0.5, face=face), OUTER)
    z = points(edge.path, 1e-9)
    for station, rise in zip(face.stations, face.rises, strict=True):
        point = cmath.rect(30.5 * mm + rise, 0.25 * station)
        assert np.abs(z - point).min() < 1e-12
    assert np.abs(z).min() > 30.5 * mm - 1e-7


def test_slopes_that_meet_leave_nothing_between_them() -> None:
    """Two halves of a face, each of which rises from the middle on."""
    edge = pole_edge(Pole(arc=0.4, face=SlopedFace(1 * mm, start=0.0)), LOW)
    assert min(abs(piece.end - piece.start) for piece in edge.path) > 0.1 * mm


def test_thin_iron_over_an_opening_is_a_corner_and_thick_iron_is_none() -> None:
    """Thin is less than a tenth of the pole's width, 20 mm here."""
    plain = len(pole_edge(Pole(arc=0.4), LOW).corners)
    for depth, thin in ((1.6, True), (6.0, False)):
        holed = pole_edge(Pole(arc=0.4, holes=(Hole(depth * mm, 1.5 * mm),)), LOW)
        assert (len(holed.corners) > plain) == thin


@pytest.mark.parametrize(
    ("pole", "seat", "sentence"),
    [
        (
            Pole(arc=0.4, taper=-0.7),
            LOW,
            "a pole must have a body between its flanks: pole width of the body",
        ),
        (Pole(arc=0.4, shoe=Shoe(10 * mm, 1 * mm, 1 * mm)), LOW, "a body between its flanks"),
        (Pole(arc=0.4, shoe=Shoe(30 * mm, 1 * mm, 1 * mm)), LOW, "a body between its flanks"),
        (
            Pole(arc=0.4, shoe=Shoe(1 * mm, 0.2 * mm, 1 * mm)),
            LOW,
            "must be as thick as a web: pole.shoe.tip is 0.2 mm, allowed is from .* 0.35 mm",
        ),
        (
            Pole(arc=0.4, shoe=Shoe(1 * mm, 1 * mm, 16 * mm)),
            LOW,
            "must be thinner than its pole: pole.shoe.neck is 16 mm, .* below the pole's 15 mm",
        ),
        (Pole(arc=0.5, taper=0.78), LOW, "poles must not touch at their roots: pole foot is 31.3"),
        (
            Pole(arc=2.9),
            INNER,
            "the flanks of a pole must meet its yoke: pole from axis to flank is 29.78 mm",
        ),
        (
            Pole(arc=0.4, root_fillet=17 * mm),
            LOW,
            "a fillet must fit between flank and yoke: pole.root_fillet is 17 mm",
        ),
        (
            Pole(arc=0.4, tip_fillet=16 * mm),
            LOW,
            "a tip's corner must fit on face and flank: pole.tip_fillet is 16 mm",
        ),
        (
            Pole(arc=0.4, tip_chamfer=16 * mm),
            LOW,
            "a tip's corner must fit on face and flank: pole.tip_chamfer is 16",
        ),
        (
            Pole(arc=0.4, notches=(Notch(0.19, 2 * mm, 1 * mm),)),
            LOW,
            "within its pole face: pole.notch.at is 10.89 deg",
        ),
        (
            Pole(arc=0.4, notches=(Notch(0.0, 2 * mm, 15 * mm),)),
            LOW,
            "not go through the pole: pole.notch.depth is 15",
        ),
        (
            Pole(arc=0.4, notches=(Notch(0.0, 2 * mm, 1 * mm), Notch(0.03, 2 * mm, 1 * mm))),
            LOW,
            "notches must not meet: pole.notch.at is 1.719 deg",
        ),
        (
            Pole(arc=0.4, face=RoundFace(12 * mm), notches=(Notch(0.0, 8 * mm, 0.2 * mm),)),
            LOW,
            "than the face falls away across it: pole.notch.depth is 0.2 mm, allowed is above 0.6863 mm",
        ),
        (
            Pole(arc=0.4, face=RoundFace(-40 * mm)),
            LOW,
            r"nearest to the gap .*face.radius is -40 mm at 0 deg",
        ),
        (
            Pole(arc=0.5, face=RoundFace(40 * mm)),
            INNER,
            "face.radius is 40 mm at 0 deg, allowed is above 0 mm and up to 30 mm",
        ),
        (Pole(arc=0.5, face=RoundFace(20 * mm)), OUTER, "allowed is below 0 mm, or 30.5 mm and above"),
        (
            Pole(arc=0.4, face=RoundFace(9 * mm)),
            LOW,
            "must reach both edges of the pole: pole.face.radius is 9 mm",
        ),
        (
            Pole(arc=0.4, face=SlopedFace(1 * mm, start=-0.1)),
            LOW,
            "a slope must begin on the face: pole.face.start",
        ),
    ],
)
def test_what_no_mill_could_cut_is_refused_in_a_sentence(pole: Pole, seat: Seat, sentence: str) -> None:
    with pytest.raises(GeometryRefused, match=sentence):
        pole_edge(pole, seat)


@pytest.mark.parametrize(
    ("made", "refused", "step", "unit"),
    [
        (lambda size: Pole(arc=0.4, root_fillet=size), 17 * mm, 2e-6, mm),
        (lambda size: Pole(arc=0.4, tip_fillet=size), 16 * mm, 2e-6, mm),
        (lambda size: Pole(arc=0.4, tip_chamfer=size), 16 * mm, 2e-6, mm),
        (lambda size: Pole(arc=0.4, tip_fillet=(size, size / 2)), 16 * mm, 2e-6, mm),
        (lambda angle: Pole(arc=0.4, notches=(Notch(angle, 2 * mm, 1 * mm),)), 0.19, 0.02 * deg, deg),
        (lambda angle: Pole(arc=0.4, notches=(Notch(angle, 2 * mm, 1 * mm),)), -0.3, -0.02 * deg, -deg),
        (lambda radius: Pole(arc=0.4, face=RoundFace(radius)), 9 * mm, -2e-6, mm),
    ],
)
def test_what_a_refusal_allows_is_allowed_and_no_more(
    made: Callable[[float], Pole], refused: float, step: float, unit: float
) -> None:
    with pytest.raises(GeometryRefused, match="allowed is") as said:
        pole_edge(made(refused), LOW)
    allowed = float(re.search(r"allowed is (\S+) (mm|deg)", str(said.value))[1]) * unit  # type: ignore[index]
    pole_edge(made(allowed), LOW)
    with pytest.raises(GeometryRefused, match="allowed is"):
        pole_edge(made(allowed + step), LOW)


def test_one_tip_may_be_chamfered_and_the_other_rounded() -> None:
    def edge_area(pole: Pole) -> float:
        path = pole_edge(pole, LOW).path
        return abs(area((*path, Line(path[-1].end, path[0].start))))

    sharp, mixed = Pole(arc=0.4), Pole(arc=0.4, tip_chamfer=(1 * mm, 0.0), tip_fillet=(0.0, 2 * mm))
    lost = 1 / 2 + (1 - math.pi / 4) * 4  # mm2
    assert edge_area(sharp) - edge_area(mixed) == pytest.approx(lost * mm**2)
    mirrored = replace(mixed, tip_chamfer=(0.0, 1 * mm), tip_fillet=(2 * mm, 0.0))
    assert edge_area(mirrored) == pytest.approx(edge_area(mixed))
    arcs = [next(s for s in pole_edge(pole, LOW).path if isinstance(s, Arc)) for pole in (mixed, mirrored)]
    assert arcs[0].centre.imag > 0 > arcs[1].centre.imag  # the plus side is rounded, then the minus side


def test_a_straight_flank_may_be_as_long_as_a_refusal_says() -> None:
    with pytest.raises(
        GeometryRefused, match=r"middle of the valley .* is 14\.9 mm, allowed is 12\.431 mm or less"
    ):
        pole_edge(Pole(arc=0.6, flank_length=14.9 * mm), OUTER)
    pole_edge(Pole(arc=0.6, flank_length=12.431 * mm), OUTER)
    with pytest.raises(GeometryRefused, match="middle of the valley"):
        pole_edge(Pole(arc=0.6, flank_length=12.433 * mm), OUTER)


@pytest.mark.parametrize("seat", [LOW, HIGH, INNER, OUTER], ids=["low", "high", "inner", "outer"])
def test_openings_lie_so_far_below_the_face(seat: Seat) -> None:
    hole, barrier = openings(POLES["openings"], seat)
    middle = np.mean([segment.start for segment in hole])
    assert middle == pytest.approx(complex(seat.face - seat.out * 5 * mm, -4 * mm), abs=1e-12)
    assert max(abs(segment.start - middle) for segment in hole) == pytest.approx(1 * mm)
    assert area(hole) == pytest.approx(math.pi * (1 * mm) ** 2)
    middle = (min(s.start.real for s in barrier) + max(s.start.real for s in barrier)) / 2
    assert abs(middle - (seat.face - seat.out * 6 * mm)) < 0.3 * mm
