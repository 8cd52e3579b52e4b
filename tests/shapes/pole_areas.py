"""Areas of flat poles by closed formulas, written from the builder's words alone: no paths, no segments."""

from __future__ import annotations

import math

from polefem.params import FreeFace, Notch, Pole, RoundFace, SlopedFace
from polefem.params.checks import both

__all__ = ["flat_pole_area", "notch_area", "opening_area"]


def flat_pole_area(pole: Pole, width: float, height: float) -> float:
    """Area (m2) between a flat face of this width, the flanks and the yoke, less what is cut out of it."""
    total = sum(_half(pole, side, width / 2, height) for side in (0, 1))
    return total - sum(map(notch_area, pole.notches)) - opening_area(pole)


def _half(pole: Pole, side: int, half: float, height: float) -> float:
    taper = both(pole.taper)[side]
    overhang, tip, neck = (0.0, 0.0, 0.0)
    if pole.shoe is not None and both(pole.shoe.overhang)[side]:
        overhang, tip, neck = (both(x)[side] for x in (pole.shoe.overhang, pole.shoe.tip, pole.shoe.neck))
    body, depth = half - overhang, height - neck
    total = body * height + overhang * (tip + neck) / 2 + depth**2 * math.tan(taper) / 2
    total -= _face_loss(pole, side, half)
    # The flank, or the tip of a shoe, meets the face at a right angle less the taper.
    edge = math.pi / 2 + (0.0 if overhang else taper)
    chamfer, fillet = both(pole.tip_chamfer)[side], both(pole.tip_fillet)[side]
    total -= chamfer**2 * math.sin(edge) / 2 + _corner(fillet, edge)
    return total + _corner(both(pole.root_fillet)[side], math.pi / 2 + taper)


def _corner(radius: float, angle: float) -> float:
    """Between a corner of this angle and the arc that rounds it: two right triangles less a sector."""
    return radius**2 * (1 / math.tan(angle / 2) - (math.pi - angle) / 2)


def _face_loss(pole: Pole, side: int, half: float) -> float:
    face, scale = pole.face, 2 * half / pole.arc
    if face is None:
        return 0.0
    if isinstance(face, SlopedFace):
        rise, start = both(face.rise)[side], both(face.start)[side] * scale
        return rise * (half - start) / 2
    if isinstance(face, RoundFace):
        # Under a circle from its top to the edge on this side.
        reach, radius = half - (1 if side else -1) * face.at * scale, abs(face.radius)
        under = (reach * math.sqrt(radius**2 - reach**2) + radius**2 * math.asin(reach / radius)) / 2
        return radius * reach - under
    assert isinstance(face, FreeFace)
    raise NotImplementedError("a free face has no closed area")


def notch_area(notch: Notch) -> float:
    """Area cut out of a flat face, m2."""
    width, depth = notch.width, notch.depth
    if notch.form == "rectangular":
        return width * depth
    if notch.form == "v":
        return width * depth / 2
    if depth > width / 2:
        return width * (depth - width / 2) + math.pi * width**2 / 8
    radius = (width**2 / 4 + depth**2) / (2 * depth)
    sweep = 2 * math.asin(width / 2 / radius)
    return radius**2 * (sweep - math.sin(sweep)) / 2


def opening_area(pole: Pole) -> float:
    """Area of a pole's holes and barriers, m2."""
    return sum(math.pi / 4 * hole.diameter**2 for hole in pole.holes) + sum(
        barrier.length * barrier.width for barrier in pole.barriers
    )
