"""Areas of poles by closed formulas, written from the builder's words alone: no paths, no segments."""

from __future__ import annotations

import cmath
import math
from itertools import pairwise

from polefem.params import Notch, Pole, RoundFace, SlopedFace
from polefem.params.checks import both

__all__ = ["flat_pole_area", "opening_area", "round_pole_area"]


def flat_pole_area(pole: Pole, width: float, height: float, reach: float = 0.0) -> float:
    """Area (m2) between a flat face of this width, the flanks and the yoke, less what is cut out of it.

    reach: from the axis to the middle between two poles, m, where valleys are scooped out.
    """
    total = sum(_flat_half(pole, side, width / 2, height, reach) for side in (0, 1))
    return total - sum(_notch(notch, 0.0, 0.0) for notch in pole.notches) - opening_area(pole)


def _flat_half(pole: Pole, side: int, half: float, height: float, reach: float) -> float:
    taper = both(pole.taper)[side]
    overhang, tip, neck = _shoe(pole, side)
    body, depth = half - overhang, height - (neck if overhang else _flat_drop(pole, side, half))
    total = body * height + overhang * (tip + neck) / 2 + depth**2 * math.tan(taper) / 2
    total -= _flat_face_loss(pole, side, half)
    # The flank, or the tip of a shoe, meets the face at a right angle and the taper.
    edge = math.pi / 2 + (0.0 if overhang else taper)
    chamfer, fillet = both(pole.tip_chamfer)[side], both(pole.tip_fillet)[side]
    total -= chamfer**2 * math.sin(edge) / 2 + _corner(fillet, edge)
    straight = both(pole.flank_length)[side]
    if straight:
        turn = complex(depth - straight * math.cos(taper), body + straight * math.sin(taper))
        total += _scoop(turn, complex(0.0, body + depth * math.tan(taper)), 1j * reach)
    return total + _corner(both(pole.root_fillet)[side], math.pi / 2 + taper)


def _scoop(turn: complex, foot: complex, middle: complex) -> float:
    """Between a flank from where it turns off to its foot, the straight way to the middle between two poles, and the
    arc back, tangent to the flank: a triangle less a segment of the arc."""
    chord = middle - turn
    half = abs(cmath.phase(chord / (foot - turn)))
    triangle = abs((chord.conjugate() * (foot - turn)).imag) / 2
    return triangle - _segment(abs(chord) / (2 * math.sin(half)), 2 * half)


def _shoe(pole: Pole, side: int) -> tuple[float, float, float]:
    if pole.shoe is None or not both(pole.shoe.overhang)[side]:
        return 0.0, 0.0, 0.0
    overhang, tip, neck = (both(x)[side] for x in (pole.shoe.overhang, pole.shoe.tip, pole.shoe.neck))
    return overhang, tip, neck


def _corner(radius: float, angle: float) -> float:
    """Between a corner of this angle and the arc that rounds it: two right triangles less a sector."""
    return radius**2 * (1 / math.tan(angle / 2) - (math.pi - angle) / 2)


def _flat_face_loss(pole: Pole, side: int, half: float) -> float:
    face, scale = pole.face, 2 * half / pole.arc
    if face is None:
        return 0.0
    if isinstance(face, SlopedFace):
        rise, start = both(face.rise)[side], both(face.start)[side] * scale
        return rise * (half - start) / 2
    if isinstance(face, RoundFace):
        # Under a circle from its top to the edge on this side.
        reach, radius = half - (1 if side else -1) * face.at * scale, abs(face.radius)
        return radius * reach - _under(radius, reach)
    raise NotImplementedError("a free face has no closed area")


def _flat_drop(pole: Pole, side: int, half: float) -> float:
    """How far the edge of the face lies behind its top."""
    face = pole.face
    if isinstance(face, SlopedFace):
        return both(face.rise)[side]
    if isinstance(face, RoundFace):
        reach, radius = half - (1 if side else -1) * face.at * 2 * half / pole.arc, abs(face.radius)
        return radius - math.sqrt(radius**2 - reach**2)
    return 0.0


def _under(radius: float, reach: float) -> float:
    """Area under the circle about the origin, from its top to `reach` along the base."""
    return (reach * math.sqrt(radius**2 - reach**2) + radius**2 * math.asin(reach / radius)) / 2


def _segment(radius: float, sweep: float) -> float:
    """Between an arc and its chord."""
    return radius**2 * (sweep - math.sin(sweep)) / 2


def _notch(notch: Notch, radius: float, out: float) -> float:
    """Area cut out of a face, of `radius` about the shaft on the iron's side (out 1) or not (-1); 0 if flat, m2."""
    width, depth = notch.width, notch.depth
    dip = between = 0.0  # of the face's edge points below its top; area between the face and its chord
    if out:
        dip = out * (radius - math.sqrt(radius**2 - width**2 / 4))
        between = out * _segment(radius, 2 * math.asin(width / 2 / radius))
    chord = depth - dip  # from the chord of the mouth to the bottom
    if notch.form == "rectangular":
        return width * chord + between
    if notch.form == "v":
        return width * chord / 2 + between
    if chord > width / 2:
        return width * (chord - width / 2) + math.pi * width**2 / 8 + between
    curve = (width**2 / 4 + chord**2) / (2 * chord)
    sweep = 2 * math.asin(width / 2 / curve)
    return _segment(curve, sweep if chord < curve else 2 * math.pi - sweep) + between


def opening_area(pole: Pole) -> float:
    """Area of a pole's holes and barriers, m2."""
    return sum(math.pi / 4 * hole.diameter**2 for hole in pole.holes) + sum(
        barrier.length * barrier.width for barrier in pole.barriers
    )


def round_pole_area(pole: Pole, face: float, root: float, half_pitch: float = 0.0) -> float:
    """Area (m2) between a face about the shaft, the flanks and the yoke's circle, less what is cut out of it.

    Sectors and triangles about the shaft. Faces may be sloped, but then their edges are sharp. half_pitch: from the
    axis to the middle between two poles, rad, where valleys are scooped out.
    """
    out = 1.0 if face > root else -1.0
    total = sum(_round_half(pole, side, face, root, out, half_pitch) for side in (0, 1))
    return total - sum(_notch(notch, face, out) for notch in pole.notches) - opening_area(pole)


def _round_half(pole: Pole, side: int, face: float, root: float, out: float, half_pitch: float) -> float:
    half, taper = pole.arc / 2, both(pole.taper)[side]
    overhang, tip, neck = _shoe(pole, side)
    rise, extent = 0.0, 0.0
    if isinstance(pole.face, SlopedFace):
        rise = both(pole.face.rise)[side]
        extent = half - both(pole.face.start)[side] if rise else 0.0
    elif pole.face is not None:
        raise NotImplementedError("only plain and sloped round faces have a closed area here")
    edge = cmath.rect(face - out * rise, half)
    corners = [edge]
    if overhang:
        inside = edge.imag - overhang
        corners += [edge - out * tip, complex(math.sqrt(face**2 - inside**2) - out * neck, inside)]
    way = -out * cmath.rect(1.0, -out * taper)
    corners.append(_meets(corners[-1], way, root, out))
    # Twice the area swept about the shaft: along the face, down the flank, back along the yoke.
    swept = face**2 * half - out * face * rise * extent + rise**2 * extent / 3
    swept += sum((a.conjugate() * b).imag for a, b in pairwise(corners))
    swept -= root**2 * cmath.phase(corners[-1])
    total = out * swept / 2
    chamfer, fillet = both(pole.tip_chamfer)[side], both(pole.tip_fillet)[side]
    first = (corners[1] - edge) / abs(corners[1] - edge)
    if chamfer:
        on_face = cmath.rect(face, half - chamfer / face)
        triangle = abs(((edge - on_face).conjugate() * (edge + chamfer * first - on_face)).imag) / 2
        total -= triangle + out * _segment(face, chamfer / face)
    if fillet:
        total -= _blend(edge, first, face, -out * fillet, fillet, out)
    if both(pole.root_fillet)[side]:
        total += _blend(
            corners[-1], way, root, out * both(pole.root_fillet)[side], both(pole.root_fillet)[side], out
        )
    straight = both(pole.flank_length)[side]
    if straight:
        top, foot = corners[-2:]
        total += _scoop(top + straight * way, foot, cmath.rect(root, half_pitch))
        total -= out * _segment(root, half_pitch - cmath.phase(foot))
    return total


def _meets(start: complex, way: complex, radius: float, out: float) -> complex:
    """Where a flank meets a circle about the shaft, by the foot of the perpendicular from the shaft on it."""
    foot = start - way * (start * way.conjugate()).real
    half_chord = math.sqrt(radius**2 - abs(foot) ** 2)
    # From inside the circle the far crossing lies ahead, from outside the near one.
    return foot + (-half_chord if out > 0 else half_chord) * way


def _blend(corner: complex, way: complex, circle: float, shift: float, radius: float, out: float) -> float:
    """Between a corner of a flank along `way` with a circle about the shaft, and the arc that rounds it.

    The arc's centre lies on the circle moved by `shift`, and `radius` from the flank: inside the pole at its tip,
    outside at its root.
    """
    tip = out * shift < 0
    aside = way * (1j if (way * 1j).imag < 0 else -1j)  # towards the pole axis
    offset = radius if tip else -radius
    line = corner + offset * aside
    foot = line - way * (line * way.conjugate()).real
    reach = math.sqrt((circle + shift) ** 2 - abs(foot) ** 2)
    centre = min((foot + s * reach * way for s in (1, -1)), key=lambda z: abs(z - corner))
    on_flank, on_circle = centre - offset * aside, centre / abs(centre) * circle
    kite = abs(((corner - centre).conjugate() * (on_flank - centre)).imag) / 2
    kite += abs(((corner - centre).conjugate() * (on_circle - centre)).imag) / 2
    angle = abs(cmath.phase((on_flank - centre) / (on_circle - centre)))
    # The circle's own bulge is lost with a tip inside it, gained with a tip outside it, and so on.
    bulge = _segment(circle, abs(cmath.phase(on_circle / corner)))
    return kite - radius**2 * angle / 2 + (bulge if shift < 0 else -bulge)
