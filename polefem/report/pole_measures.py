"""What is measured on the drawing of a pole: every length and angle that its words say, where it can be seen.

Points are those of the pole's own frame turned by a quarter: the pole axis points up, the plus side lies at left.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Iterator

from polefem.params import FreeFace, Pole, RoundFace, SlopedFace
from polefem.params.checks import both
from polefem.report.dimensions import AngularDimension, Dimension, Leader, LinearDimension, millimetres
from polefem.shapes import Edge, Line, Seat
from polefem.shapes.face import face_path
from polefem.units import deg, mm

__all__ = ["UP", "pole_dimensions"]

#: A quarter turn: from the pole's frame to the drawing.
UP = 1j


def pole_dimensions(pole: Pole, seat: Seat, edge: Edge, beside: float) -> tuple[Dimension, ...]:
    """The dimensions of a pole on its seat. beside: how far from the axis the height is shown, m."""
    low, high = sorted((seat.face, seat.root))
    face = face_path(pole, seat, "pole")
    tips = face[0].start, face[-1].end
    minus, plus = (tip * UP for tip in tips)
    feet = [flank.end * UP for flank in edge.flanks]
    # Lines stand apart enough for words on a low pole as on a tall one, and clear of the bulge of a wide face.
    apart = max(0.15 * (high - low), 0.1 * edge.width)
    bulge = abs(seat.face - (tips[0] + tips[1]).real / 2)
    near, far = (bulge + apart, 2.2 * apart) if seat.out > 0 else (apart, bulge + 2.2 * apart)
    inside = min(each.real for each in (minus, feet[0]))  # where lines that lead the height out begin
    found: list[Dimension] = [
        LinearDimension("face width", plus, minus, seat.out * near),
        LinearDimension("width at the yoke", feet[1], feet[0], -seat.out * 0.18 * (high - low)),
        LinearDimension("height", inside + low * UP, inside + high * UP, inside - beside),
    ]
    if seat.flat:
        said = f"arc {pole.arc / deg:.4g}° at {millimetres(seat.radius)} from the shaft"
        found.append(Leader("arc", said, 0.6 * minus + 0.4 * plus, pole.arc))
    else:
        radius = max(seat.face + seat.out * far, 0.2 * seat.face)
        found.append(
            AngularDimension("arc", math.pi / 2 - pole.arc / 2, math.pi / 2 + pole.arc / 2, radius, seat.face)
        )
    return (*found, *_face(pole, seat), *_inside(pole, seat), *_flanks(pole, edge, tips, seat.out))


def _behind(seat: Seat, depth: float, offset: float) -> complex:
    """The point `depth` behind the face level and `offset` off the axis."""
    return complex(seat.face - seat.out * depth, offset) * UP


def _inside(pole: Pole, seat: Seat) -> Iterator[Leader]:
    """Notches, holes and barriers."""
    for notch in pole.notches:
        said = f"{notch.form} notch {millimetres(notch.width, notch.depth)}\nat {notch.at / deg:.4g}°"
        bottom = seat.at(seat.face, notch.at)
        outward = 1.0 if seat.flat else cmath.rect(1.0, notch.at)
        yield Leader("notch", said, (bottom - seat.out * notch.depth * outward) * UP, notch.width)
    for hole in pole.holes:
        said = f"hole Ø {millimetres(hole.diameter)}, {millimetres(hole.depth)} deep{_off(hole.offset)}"
        yield Leader("hole", said, _behind(seat, hole.depth, hole.offset), hole.diameter)
    for barrier in pole.barriers:
        said = f"barrier {millimetres(barrier.length, barrier.width)}, {millimetres(barrier.depth)} deep"
        tilt = f"\ntilted by {barrier.tilt / deg:.4g}°" if barrier.tilt else ""
        yield Leader(
            "barrier", said + _off(barrier.offset) + tilt, _behind(seat, barrier.depth, barrier.offset)
        )


def _off(offset: float) -> str:
    if not offset:
        return ""
    return f",\n{millimetres(abs(offset))} to the {'plus' if offset > 0 else 'minus'} side"


def _face(pole: Pole, seat: Seat) -> Iterator[Leader]:
    """How the gap varies along the face."""
    face, half = pole.face, pole.arc / 2
    if isinstance(face, RoundFace):
        said = f"face R {millimetres(face.radius)}, narrowest at {face.at / deg:.4g}°"
        yield Leader("face", said, seat.at(seat.face, face.at) * UP, face.radius)
    elif isinstance(face, FreeFace):
        at = max(range(len(face.rises)), key=face.rises.__getitem__)
        point = seat.at(seat.face - seat.out * face.rises[at], half * face.stations[at])
        yield Leader(
            "face", f"free face, up to {millimetres(face.rises[at])} back", point * UP, face.rises[at]
        )
    elif isinstance(face, SlopedFace):
        for sign, rise, start in zip((-1, 1), both(face.rise), both(face.start), strict=True):
            if rise:
                said = f"face {millimetres(rise)} back at the edge,\nfrom {start / deg:.4g}° on"
                yield Leader("face", said, seat.at(seat.face - seat.out * rise, sign * half) * UP, rise)


def _flanks(pole: Pole, edge: Edge, tips: tuple[complex, complex], out: float) -> list[Leader]:
    """What shapes flanks and corners; said on the minus side alone where it is the same on both."""
    minus, plus = (_flank(pole, at, edge.flanks[at], tips[at], out) for at in (0, 1))
    said = {each.text for each in minus}
    return [*minus, *(each for each in plus if each.text not in said)]


def _flank(pole: Pole, at: int, flank: Line, tip: complex, out: float) -> list[Leader]:
    found = []
    if pole.shoe is not None and both(pole.shoe.overhang)[at]:
        overhang, thick, neck = (
            both(size)[at] for size in (pole.shoe.overhang, pole.shoe.tip, pole.shoe.neck)
        )
        said = f"shoe {millimetres(overhang)} over,\ntip {millimetres(thick)}, neck {millimetres(neck)}"
        found.append(Leader("shoe", said, (tip - out * thick / 2) * UP, overhang))
    for name, words, unit, spot in (
        ("taper", "taper {:.4g}°", deg, (flank.start + flank.end) / 2),
        ("tip_chamfer", "tip chamfer {:.4g}", mm, tip),
        ("tip_fillet", "tip fillet R {:.4g}", mm, tip),
        ("root_fillet", "root fillet R {:.4g}", mm, flank.end),
        ("flank_length", "straight flank {:.4g}", mm, flank.end),
    ):
        size = both(getattr(pole, name))[at]
        if size:
            found.append(Leader(name, words.format(size / unit), spot * UP, size))
    return found
