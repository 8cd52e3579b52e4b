"""The outline as a value: named regions of one repeating unit on each side of the gap."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from polefem.params import Member, Row
from polefem.shapes import Segment

__all__ = ["Label", "Material", "Member", "Outline", "Region", "Ring", "Side"]

Ring = tuple[Segment, ...]
Material = Literal["iron", "shaft", "coil", "air"]


@dataclass(frozen=True)
class Label:
    """What a part of an outline, of a mesh or of a field is. Its text is its name for people, who count poles from 1:
    "stator coil 1 minus".

    material: "iron", "shaft" (steel of its own, solid), "coil" or "air". member: rotor or stator, where that is not
    plain from what holds it. pole: of a coil side or of a pole without a yoke, counter-clockwise from 0, within what
    holds it (a repeating unit, a sector, the whole turn). side: of a coil: "plus" lies counter-clockwise of its pole.
    """

    material: Material
    member: Member | None = None
    pole: int | None = None
    side: Literal["minus", "plus"] | None = None

    def __str__(self) -> str:
        number = None if self.pole is None else self.pole + 1  # people count poles from 1
        words = (self.member, self.material, number, self.side)
        return " ".join(str(word) for word in words if word is not None)

    @property
    def mirrored(self) -> Label:
        """Of what lies there in the mirror image about the pole's axis."""
        other: dict[str | None, Literal["minus", "plus"]] = {"minus": "plus", "plus": "minus"}
        return replace(self, side=other.get(self.side))

    def further(self, poles: int) -> Label:
        """Of the same coil side so many poles on; of anything else, the same."""
        if self.side is None or self.pole is None:
            return self
        return replace(self, pole=self.pole + poles)


@dataclass(frozen=True, eq=False)
class Region:
    """One material inside one closed ring (walked counter-clockwise), less its holes (which hold air).

    label: what it is, unlike every other of its side; poles are numbered within the unit. Iron has a pole where it ends
    in a plane of symmetry, without a yoke.
    """

    label: Label
    ring: Ring
    holes: tuple[Ring, ...] = ()

    @property
    def material(self) -> Material:
        """Of its label."""
        return self.label.material


@dataclass(frozen=True, eq=False)
class Side:
    """One side of the gap, over its smallest repeating unit; air is whatever the regions leave free.

    row: the poles that it was laid out from. regions: of one unit, which holds the `unit_poles` poles of the row's
    pattern, the first with its axis on the x axis, and reaches from half a pitch before its first pole to half a pitch
    past its last. gap: radius (flat: x) of the circle in the air gap where this side's mesh ends; the row says where
    its other end is. corners: complex, shape (n,), m: where the field is singular near the gap and the mesh must be
    finest. feature: width of the pole face, m: the length that mesh sizes are multiples of. air_gap: the narrowest gap,
    m, up to twice the one said.
    """

    row: Row
    regions: tuple[Region, ...]
    gap: float
    corners: NDArray[np.complex128]
    feature: float
    air_gap: float

    @property
    def flat(self) -> bool:
        """Whether an unrolled section (x across the gap, y along the motion), not a round one about the origin."""
        return self.row.flat

    @property
    def unit_poles(self) -> int:
        """Poles of the unit."""
        return len(self.row.pattern)

    @property
    def pitch(self) -> float:
        """From pole to pole, rad (flat: m)."""
        return self.row.pitch * (self.row.radius or 1.0)

    def region(self, label: Label) -> Region:
        """The region of that label, which the side must have."""
        return next(region for region in self.regions if region.label == label)


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
        return self.rotor.row.mirror and self.stator.row.mirror
