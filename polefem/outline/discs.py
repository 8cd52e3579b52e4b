"""The discs of an axial machine as seen along its shaft: faces of the poles, and the plate that carries them."""

from __future__ import annotations

import cmath
import math
from itertools import pairwise
from typing import Literal

from polefem.outline.values import Ring
from polefem.params import AxialMachine, Pole
from polefem.params.cuts import half_angle
from polefem.shapes import Arc, Line, moved, turned_back

__all__ = ["disc_rings"]


def disc_rings(
    machine: AxialMachine, side: Literal["rotor", "stator"]
) -> tuple[tuple[Ring, ...], tuple[Ring, ...]]:
    """Edges (m) of the pole faces of a disc, and of its plate: none where it has no yoke.

    Sectors and poles of parallel flanks end on circles about the shaft; a round core is a circle. The plate reaches as
    far as the poles' radii, as it is computed.
    """
    pattern, poles = getattr(machine, f"{side}_pattern"), getattr(machine, f"{side}_poles")
    faces = tuple(
        moved(_face(machine, pattern[at % len(pattern)], getattr(machine, f"{side}_flanks")), turn=turn)
        for at, turn in enumerate(cmath.exp(2j * math.pi * at / poles) for at in range(poles))
    )
    if not getattr(machine, f"{side}_yoke_thickness"):
        return faces, ()
    outside = _circle(0j, machine.outer_radius)
    return faces, (outside, turned_back(_circle(0j, machine.inner_radius)))


def _circle(centre: complex, radius: float) -> tuple[Arc, ...]:
    stops = [centre + radius * turn for turn in (1, 1j, -1, -1j, 1)]
    return tuple(Arc(a, b, centre, True) for a, b in pairwise(stops))


def _face(machine: AxialMachine, pole: Pole, flanks: str) -> Ring:
    """The face of the pole on the x axis, counter-clockwise."""
    mean = machine.mean_radius
    if flanks == "round":
        return _circle(complex(mean), machine.core_diameter(pole) / 2)
    near, far = (
        cmath.rect(radius, half_angle(flanks, pole.arc, mean, radius))
        for radius in (machine.inner_radius, machine.outer_radius)
    )
    return (
        Line(near.conjugate(), far.conjugate()),
        Arc(far.conjugate(), far, 0j, True),
        Line(far, near),
        Arc(near, near.conjugate(), 0j, False),
    )
