"""What a cylinder cuts out of the poles and coils of an axial machine."""

from __future__ import annotations

import math
from dataclasses import replace

from polefem.errors import GeometryRefused, refusal
from polefem.params.checks import both
from polefem.params.face import RoundFace, SlopedFace
from polefem.params.pole import Pole
from polefem.params.winding import Winding

__all__ = ["cut_pole", "cut_winding", "half_angle"]


def half_angle(flanks: str, arc: float, mean_radius: float, radius: float, beyond: float = 0.0) -> float:
    """Angle about the shaft from the pole axis to its flank, or to a surface `beyond` (m) outside it, along a cut.

    Raises GeometryRefused where the cut does not meet that surface.
    """
    if flanks == "radial":
        return arc / 2 + beyond / radius
    if flanks == "parallel":
        reach = (mean_radius * math.sin(arc / 2) + beyond) / radius
        if reach < 1:
            return math.asin(reach)
    else:
        core = 2 * mean_radius * math.sin(arc / 4) + beyond
        reach = (radius**2 + mean_radius**2 - core**2) / (2 * radius * mean_radius)
        if -1 < reach < 1:
            return math.acos(reach)
    found = f"{(arc * mean_radius / 2 + beyond) * 1e3:.4g} mm from axis to flank"
    rule = "a pole and its coil must leave room round the shaft"
    raise GeometryRefused(
        refusal(rule, f"{flanks} pole", found, f"less at the radius of {radius * 1e3:.4g} mm")
    )


def cut_pole(pole: Pole, flanks: str, mean_radius: float, radius: float) -> Pole:
    """The pole that a cut shows: its own arc there; what lies on its face keeps its place in parts of the arc."""
    arc = 2 * half_angle(flanks, pole.arc, mean_radius, radius)
    part = arc / pole.arc
    face = pole.face
    if isinstance(face, SlopedFace):
        minus, plus = both(face.start)
        face = replace(face, start=(minus * part, plus * part))
    elif isinstance(face, RoundFace):
        face = replace(face, at=face.at * part)
    notches = tuple(replace(notch, at=notch.at * part) for notch in pole.notches)
    return replace(pole, arc=arc, face=face, notches=notches)


def cut_winding(winding: Winding, pole: Pole, flanks: str, mean_radius: float, radius: float) -> Winding:
    """The winding that a cut shows: liner and coil are met aslant where the flank is not radial."""
    widths = (winding.coil_width, *(step.width for step in winding.steps))
    flank, near, far, *others = (
        radius * half_angle(flanks, pole.arc, mean_radius, radius, beyond)
        for beyond in (0.0, winding.liner, *(winding.liner + width for width in widths))
    )
    steps = tuple(replace(step, width=to - near) for step, to in zip(winding.steps, others, strict=True))
    return replace(winding, liner=near - flank, coil_width=far - near, steps=steps)
