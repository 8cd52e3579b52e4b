"""One side of the gap, rotor or stator, as a machine tells of it: poles, levels, coils, and where its section ends."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from polefem.params.pole import Pole
from polefem.params.quantity import quantity
from polefem.params.winding import Winding

__all__ = ["Member", "Row"]

Member = Literal["rotor", "stator"]


@dataclass(frozen=True)
class Row:
    """A row of poles that faces another across the gap: what a kind of machine says of itself, once.

    pattern: the poles of one repeating unit. poles: in the whole turn (flat: period). face, root, back: levels of pole
    faces, of the yoke towards the poles, and of its back (the same as root without a yoke), m: radii in a round
    section, x in a flat one. far: level where the section ends behind it; 0 where it reaches the centre. far_fixed:
    A = 0 there (no flux leaves); else free. windings: of the pattern's poles; none on the rotor. radius: of the cut,
    in a flat section. shaft: whether what lies behind its back is a shaft that carries flux.
    """

    name: Member
    poles: int
    pattern: tuple[Pole, ...]
    face: float = field(metadata=quantity("mm"))
    root: float = field(metadata=quantity("mm"))
    back: float = field(metadata=quantity("mm"))
    far: float = field(metadata=quantity("mm"))
    far_fixed: bool
    windings: tuple[Winding, ...] = ()
    radius: float | None = field(default=None, metadata=quantity("mm"))
    shaft: bool = False

    @property
    def flat(self) -> bool:
        """Whether its section is an unrolled one."""
        return self.radius is not None

    @property
    def pitch(self) -> float:
        """Angle from pole to pole, rad."""
        return 2 * math.pi / self.poles

    @property
    def mirror(self) -> bool:
        """Whether its one pole is symmetric."""
        return len(self.pattern) == 1 and self.pattern[0].symmetric
