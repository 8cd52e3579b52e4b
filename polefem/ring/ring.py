"""The outer ring of a machine, which the pull in the gap bends and a listener hears, as handbooks see it.

The stator of a machine whose rotor runs inside, the rotor where it runs outside: its yoke is the ring, its poles and
its copper hang on it as mass that does not stiffen it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from polefem.errors import spelled
from polefem.outline import Member
from polefem.params.checks import positive, within
from polefem.params.quantity import quantity

__all__ = ["LEFT_OUT", "Elastic", "Mount", "Ring"]

Mount = Literal["free", "clamped"]
"""How the ring is held: not at all, as in soft feet, or all round its outside, as cast or pressed into a stiff case."""

LEFT_OUT = (
    "feet, case and end shields, the stiffness of coils and varnish, the looseness of the stack, bending along the "
    "shaft"
)
"""What no estimate of this room has in it."""


@spelled
@dataclass(frozen=True)
class Elastic:
    """The stiffness of the sheet in its plane.

    modulus: Pa; 200 GPa of solid iron. A stack that is only clamped is softer by up to a third (common practice).
    poisson: the share of a strain that comes across it.
    """

    modulus: float = field(default=200e9, metadata=quantity())
    poisson: float = field(default=0.29, metadata=quantity())

    def __post_init__(self) -> None:
        positive("a sheet is stiff", "elastic.modulus", self.modulus, "Pa")
        within("a sheet keeps some of its volume", "elastic.poisson", self.poisson, 0.0, 0.5)


@dataclass(frozen=True)
class Ring:
    """A yoke with what hangs on it.

    member: whose it is; "rotor" turns with the shaft. inner, outer: radii of the yoke, m. length: of the stack, m.
    density: of the yoke, kg/m3, over the stack's length. modulus: Pa, over the same length. poisson: of the sheet.
    pole_mass, copper_mass: of all, kg.
    """

    member: Member
    inner: float
    outer: float
    length: float
    density: float
    modulus: float
    poisson: float
    pole_mass: float
    copper_mass: float

    @property
    def mean_radius(self) -> float:
        """Of the yoke, m."""
        return (self.inner + self.outer) / 2

    @property
    def thickness(self) -> float:
        """Of the yoke, m."""
        return self.outer - self.inner

    @property
    def yoke_mass(self) -> float:
        """kg."""
        return self.density * math.pi * (self.outer**2 - self.inner**2) * self.length

    @property
    def mass_ratio(self) -> float:
        """Of all that swings over the yoke alone."""
        return 1.0 + (self.pole_mass + self.copper_mass) / self.yoke_mass
