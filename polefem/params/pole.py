"""The shape of one pole, as a builder would say it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from polefem.params.checks import positive, within

__all__ = ["Notch", "Pole", "Shoe"]


@dataclass(frozen=True)
class Shoe:
    """A pole shoe: the face reaches beyond the flanks of the pole's body.

    overhang: how far each tip reaches past the flank, m. tip: thickness at the tip, m. neck: thickness where
    the shoe meets the body, m (at least `tip`).
    """

    overhang: float
    tip: float
    neck: float

    def __post_init__(self) -> None:
        positive("a pole shoe must reach out", "shoe.overhang", self.overhang, "m")
        positive("a pole shoe must have a tip of some thickness", "shoe.tip", self.tip, "m")
        positive("a pole shoe must have a neck of some thickness", "shoe.neck", self.neck, "m")


@dataclass(frozen=True)
class Notch:
    """A notch cut into the pole face: `at` rad from the pole axis, `width` along the face, `depth`, m."""

    at: float
    width: float
    depth: float

    def __post_init__(self) -> None:
        positive("a notch must have a width", "notch.width", self.width, "m")
        positive("a notch must have a depth", "notch.depth", self.depth, "m")


@dataclass(frozen=True)
class Pole:
    """One pole, of the stator or of the rotor.

    arc: angle of the face about the shaft, at the pole's own gap radius, rad. taper: angle of each flank to
    the pole axis, rad; positive widens the pole towards its root. `Pole(arc)` alone is parallel-sided, its
    width the chord 2 r sin(arc / 2) of its face.
    """

    arc: float
    taper: float = 0.0
    shoe: Shoe | None = None
    notches: tuple[Notch, ...] = ()

    def __post_init__(self) -> None:
        within("a pole face must be narrower than half a turn", "pole.arc", self.arc, 0.0, math.pi, "rad")
        within("a flank must run along the pole", "pole.taper", self.taper, -math.pi / 4, math.pi / 4, "rad")
