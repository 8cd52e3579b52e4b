"""The edge of a pole, from its foot on the yoke over its face to its other foot, in the pole's own frame."""

from __future__ import annotations

import cmath
import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from polefem.errors import GeometryRefused, refusal
from polefem.params.checks import both
from polefem.params.pole import Pole
from polefem.shapes.curves import SAME, chamfered, crossing, heading, joined, length, rounded, tangent_arc
from polefem.shapes.face import face_path
from polefem.shapes.limits import length_at_most
from polefem.shapes.notches import notched
from polefem.shapes.openings import openings
from polefem.shapes.seat import Seat
from polefem.shapes.segments import Arc, Line, Segment, moved, points

__all__ = ["Edge", "pole_edge"]

#: A joint of a path that turns by more than this is a corner, rad.
KINK = 0.1
#: Iron between the face and an opening that is thinner than this part of the face's width is a bridge.
BRIDGE = 0.1

Path = tuple[Segment, ...]
_Tip = tuple[Path, Path]


@dataclass(frozen=True, eq=False)
class Edge:
    """The edge of one pole.

    path: from the foot on the minus side (clockwise of the axis) over the face to the foot on the plus side.
    openings: closed rings inside it. flanks: the straight flanks of the pole's body, minus and plus side, each from
    its top to its foot (before any fillet, or where the arc of a scooped valley begins). shelter: x of the level
    behind which a coil may lie on the minus and on the plus side: the face, or the deepest point of a shoe's
    underside, m. corners: where the field is singular near the gap, complex, shape (n,), m. width: of the face,
    from edge to edge, m. nearest: level of the point of the face nearest to the gap, m.
    """

    path: Path
    openings: tuple[Path, ...]
    flanks: tuple[Line, Line]
    shelter: tuple[float, float]
    corners: NDArray[np.complex128]
    width: float
    nearest: float


def pole_edge(pole: Pole, seat: Seat, name: str = "pole") -> Edge:
    """The edge of `pole` where it stands on `seat`; `name` is what a refusal calls the pole.

    Raises GeometryRefused where the words of the pole make no edge.
    """
    whole = face_path(pole, seat, name)
    plus = _side(pole, 1, whole, seat, name)
    minus = _side(pole, 0, moved(whole, mirror=True), seat, name)
    flanks = (Line(minus.flank.start.conjugate(), minus.flank.end.conjugate()), plus.flank)
    for minus_flank, plus_flank in ((flanks[0].start, flanks[1].start), (flanks[0].end, flanks[1].end)):
        _refuse_thin_body(plus_flank.imag - minus_flank.imag, pole.web, name)
    face, (blend_minus, up), (blend_plus, down) = _tipped(whole, minus.down, plus.down, pole, name)
    face = notched(face, pole.notches, seat, name)
    path = (*moved((*blend_minus, *up), mirror=True), *face, *blend_plus, *down)
    rims = openings(pole, seat)
    width = abs(whole[-1].end - whole[0].start)
    blends = (*moved(blend_minus, mirror=True), *blend_plus)
    return Edge(
        path=path,
        openings=rims,
        flanks=flanks,
        shelter=(minus.shelter, plus.shelter),
        corners=np.array(
            [
                *_kinks(path, seat.out),
                *(z for segment in blends for z in (segment.start, segment.end)),
                *_bridges(rims, seat, BRIDGE * width),
            ]
        ),
        width=width,
        nearest=seat.out * max(seat.out * seat.level(z) for z in points(whole, 1e-7))
        if pole.face
        else seat.face,
    )


@dataclass(frozen=True)
class _Side:
    """One side of a pole mirrored to positive y: from the face's edge down to the yoke, tip still sharp."""

    down: Path
    flank: Line
    shelter: float


def _side(pole: Pole, which: int, face: Path, seat: Seat, name: str) -> _Side:
    corners = [face[-1].end, *_underside(pole, which, face, seat, name)]
    inward = -seat.out
    direction = inward * cmath.rect(1.0, inward * both(pole.taper)[which])
    foot = seat.foot(corners[-1], direction)
    if foot is None:
        found, most = f"{corners[-1].imag * 1e3:.4g} mm", f"below the yoke level, {seat.root * 1e3:.4g} mm"
        raise GeometryRefused(
            refusal("the flanks of a pole must meet its yoke", f"{name} from axis to flank", found, most)
        )
    if not abs(seat.angle(foot)) < seat.half_pitch:
        found = f"{math.degrees(seat.angle(foot)):.4g} deg from its axis"
        most = f"below half a pole pitch, {math.degrees(seat.half_pitch):.4g} deg"
        raise GeometryRefused(refusal("poles must not touch at their roots", f"{name} foot", found, most))
    down: Path = joined([*corners, foot])
    flank = Line(corners[-1], foot)
    shelter = inward * max([inward * seat.face, *(inward * z.real for z in corners[1:])])
    radius, straight = both(pole.root_fillet)[which], both(pole.flank_length)[which]
    if straight:
        down = (*down[:-1], *_scooped(flank, straight, seat, name))
        return _Side(down, Line(flank.start, down[-1].start), shelter)
    return _Side(_footed(down, radius, seat, name) if radius else down, flank, shelter)


def _underside(pole: Pole, which: int, face: Path, seat: Seat, name: str) -> list[complex]:
    """Corners of a shoe behind the edge of its face: the back of its tip and the neck; none without a shoe."""
    if pole.shoe is None or not both(pole.shoe.overhang)[which]:
        return []
    overhang, tip, neck = (both(size)[which] for size in (pole.shoe.overhang, pole.shoe.tip, pole.shoe.neck))
    height = abs(seat.face - seat.root)
    for part, size in (("tip", tip), ("neck", neck)):
        if not pole.web <= size < height:
            found = f"{size * 1e3:.4g} mm"
            most = (
                f"from the thinnest web, {pole.web * 1e3:.4g} mm, to below the pole's {height * 1e3:.4g} mm"
            )
            rule = f"a shoe must be {'as thick as a web' if size < pole.web else 'thinner than its pole'}"
            raise GeometryRefused(refusal(rule, f"{name}.shoe.{part}", found, most))
    edge = face[-1].end
    above = crossing(face, edge - 1j * overhang, 1.0 + 0j)
    if above is None:
        raise _thin_body(2 * (edge.imag - overhang), pole.web, name)
    return [edge - seat.out * tip, above[1] - seat.out * neck]


def _refuse_thin_body(width: float, web: float, name: str) -> None:
    if width < web:
        raise _thin_body(width, web, name)


def _thin_body(width: float, web: float, name: str) -> GeometryRefused:
    found, least = f"{width * 1e3:.4g} mm", f"{web * 1e3:.4g} mm or more"
    return GeometryRefused(
        refusal("a pole must have a body between its flanks", f"{name} width of the body", found, least)
    )


def _footed(down: Path, radius: float, seat: Seat, name: str) -> Path:
    """The way down with the corner between flank and yoke filled to an arc."""
    yoke = seat.between(seat.root, [down[-1].end, seat.at(seat.root, seat.half_pitch)])[0]
    fitted = rounded(down[-1], yoke, radius)
    if fitted is None:
        most = length_at_most(lambda size: rounded(down[-1], yoke, size) is not None, radius)
        rule = "a fillet must fit between flank and yoke"
        raise GeometryRefused(refusal(rule, f"{name}.root_fillet", f"{radius * 1e3:.4g} mm", most))
    return (*down[:-1], fitted[0], fitted[1])


def _scooped(flank: Line, straight: float, seat: Seat, name: str) -> Path:
    """The flank, straight over a length, and the arc tangent to it that ends on the yoke midway to the next pole."""
    if straight > length(flank) - SAME:
        found, most = (
            f"{straight * 1e3:.4g} mm",
            f"below {length(flank) * 1e3:.4g} mm, where it meets the yoke",
        )
        rule = "a flank must turn off before it meets the yoke"
        raise GeometryRefused(refusal(rule, f"{name}.flank_length", found, most))
    arc = _scoop(flank, straight, seat)
    if arc is None:
        rule = "one arc must reach the middle of the valley from the end of a straight flank"
        most = length_at_most(lambda shorter: _scoop(flank, shorter, seat) is not None, straight)
        raise GeometryRefused(refusal(rule, f"{name}.flank_length", f"{straight * 1e3:.4g} mm", most))
    return Line(flank.start, arc.start), arc


def _scoop(flank: Line, straight: float, seat: Seat) -> Arc | None:
    """The arc from so far down a flank; None where none meets the yoke midway between the poles."""
    way = heading(flank, flank.start)
    start = flank.start + straight * way
    middle = seat.at(seat.root, seat.half_pitch)
    arc = tangent_arc(start, way, middle)
    ahead = ((middle - start) * way.conjugate()).real > 0
    return arc if isinstance(arc, Arc) and ahead and _within_half(arc, seat) else None


def _within_half(arc: Arc, seat: Seat) -> bool:
    """Whether an arc that ends midway between the poles does not cross the line there before."""
    along = arc.centre.real if seat.flat else (arc.centre * cmath.rect(1.0, -seat.half_pitch)).real
    return seat.out * (along - seat.root) >= 0


def _tipped(face: Path, up: Path, down: Path, pole: Pole, name: str) -> tuple[Path, _Tip, _Tip]:
    """The face between its tips; of the minus side, mirrored, and of the plus side: what replaces the edge, and the way
    down from there."""
    chamfers = both(pole.tip_chamfer)
    sizes = [chamfer or fillet for chamfer, fillet in zip(chamfers, both(pole.tip_fillet), strict=True)]
    larger = max(sizes)

    def tips(size: float) -> tuple[Path, _Tip, _Tip] | None:
        minus, plus = (own * size / larger if larger else 0.0 for own in sizes)
        right = _blended(face, down, plus, chamfers[1] > 0)
        left = right and _blended(moved(right[0], mirror=True), up, minus, chamfers[0] > 0)
        return (moved(left[0], mirror=True), left[1], right[1]) if right and left else None

    found = tips(larger)
    if found is None:
        most = length_at_most(lambda size: tips(size) is not None, larger)
        most += " on that side, and as much less on the other" if sizes[0] != sizes[1] else ""
        part = "tip_chamfer" if larger in chamfers else "tip_fillet"
        rule = "a tip's corner must fit on face and flank"
        raise GeometryRefused(refusal(rule, f"{name}.{part}", f"{larger * 1e3:.4g} mm", most))
    return found


def _blended(face: Path, down: Path, size: float, chamfer: bool) -> tuple[Path, _Tip] | None:
    """The face cut to where its plus side's tip begins, and that tip; None where it does not fit."""
    if not size:
        return face, ((), down)
    lost = 0.0
    # A face of several arcs may lose the last of them to the blend.
    for last in range(len(face) - 1, -1, -1):
        tip = face[last]
        fitted = chamfered(tip, down[0], size - lost, size) if chamfer else rounded(tip, down[0], size)
        if fitted is not None:
            return (*face[:last], fitted[0]), ((fitted[1],), (fitted[2], *down[1:]))
        lost += length(tip)
    return None


def _bridges(rims: tuple[Path, ...], seat: Seat, depth: float) -> list[complex]:
    """Corners of openings (of a hole: points of its rim) less than `depth` behind the face: iron saturates there."""
    rim = [segment.start for ring in rims for segment in ring]
    return [z for z in rim if seat.out * (seat.face - seat.level(z)) < depth]


def _kinks(path: Path, out: float) -> list[complex]:
    """Where the iron has an outward corner."""
    return [
        a.end for a, b in pairwise(path) if out * cmath.phase(heading(b, b.start) / heading(a, a.end)) > KINK
    ]
