"""The outline as a value: named regions of one repeating unit on each side of the gap."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from polefem.shapes import Segment

__all__ = ["Outline", "Region", "Ring", "Side"]

Ring = tuple[Segment, ...]


@dataclass(frozen=True, eq=False)
class Region:
    """One material inside one closed ring (walked counter-clockwise), less its holes (which hold air).

    name: unique within its side, such as "iron", "coil 0 minus", "coil 0 plus" (pole number within the unit;
    the plus side lies counter-clockwise of the pole), or "iron 0" for a pole without a yoke, which ends in a
    plane of symmetry. material: "iron", "shaft" (steel of its own, solid), "coil" or "air".
    """

    name: str
    material: Literal["iron", "shaft", "coil", "air"]
    ring: Ring
    holes: tuple[Ring, ...] = ()


@dataclass(frozen=True, eq=False)
class Side:
    """One side of the gap, over its smallest repeating unit; air is whatever the regions leave free.

    name: "rotor" or "stator". flat: an unrolled section (x across the gap, y along the motion) and not a
    round one (about the origin). regions: of one unit, which holds `unit_poles` poles, the first with its
    axis on the x axis, and reaches from half a pitch before its first pole to half a pitch past its last.
    pitch: from pole to pole, rad (flat: m). poles: in the whole turn (flat: period). mirror: the unit is
    symmetric about the x axis (only where unit_poles is 1). gap: radius (flat: x) of the circle in the air
    gap where this side's mesh ends. far: radius (flat: x) of its other end; 0 where it reaches the centre.
    far_fixed: A = 0 there (no flux leaves); else free. corners: complex, shape (n,), m: where the field is
    singular near the gap and the mesh must be finest. feature: width of the pole face, m: the length that
    mesh sizes are multiples of. air_gap: the narrowest gap, m, up to twice the one said.
    """

    name: Literal["rotor", "stator"]
    flat: bool
    regions: tuple[Region, ...]
    unit_poles: int
    pitch: float
    poles: int
    mirror: bool
    gap: float
    far: float
    far_fixed: bool
    corners: NDArray[np.complex128]
    feature: float
    air_gap: float


@dataclass(frozen=True, eq=False)
class Outline:
    """Both sides of one cross section and the length along which it acts.

    length: stack length, m (flat: radial length of the cut, m; twice that where the section is half of a
    double-sided machine). radius: of the cylinder a flat section was
    cut by, m: one radian of rotor angle is this many metres of y; 1 for a round section.
    """

    rotor: Side
    stator: Side
    length: float
    radius: float = 1.0

    @property
    def mirror(self) -> bool:
        """Whether both sides are symmetric, so that torque is odd and flux linkage even in the angle."""
        return self.rotor.mirror and self.stator.mirror
