"""How a design is listened to: what a plan says of it."""

from __future__ import annotations

from dataclasses import dataclass, field

from polefem.errors import spelled
from polefem.params.checks import positive
from polefem.params.checks import whole as whole_number
from polefem.params.quantity import quantity
from polefem.ring.ring import Elastic, Mount

__all__ = ["DAMPING", "Hearing"]

DAMPING = 0.02
"""Of the critical: an assumption. Laminated stators with varnished coils have 0.01 to 0.04 (common practice)."""


@spelled
@dataclass(frozen=True)
class Hearing:
    """How a design is listened to.

    angles: fields over a rotor pitch; harmonics up to half of them are told apart, and a ring that is high above them
    is not reached. order: whose swing is `wave_swing`; None for that of a phase's poles, which squeezes the ring most.
    damping: of the ring, of the critical, an assumption. mount: how the ring is held. elastic: of the
    sheet. offset: of the rotor from its axis, m, at which the pull to one side is asked for too, in fields of the whole
    turn; None for no such pull. Axial machines have none.
    """

    angles: int = 48
    order: int | None = None
    damping: float = field(default=DAMPING, metadata=quantity("%", digits=2))
    mount: Mount = "free"
    elastic: Elastic = field(default_factory=Elastic)
    offset: float | None = field(default=None, metadata=quantity("mm"))

    def __post_init__(self) -> None:
        whole_number("a pitch is looked at in steps", "hearing.angles", self.angles, 8)
        if self.order is not None:
            whole_number("a wave goes so often round the turn", "hearing.order", self.order, 0)
        positive("a ring that rings comes to rest", "hearing.damping", self.damping)
        if self.offset is not None:
            positive("a rotor that is off its axis is off by a length", "hearing.offset", self.offset, "m")
