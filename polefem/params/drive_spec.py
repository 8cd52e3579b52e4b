"""How the phases are switched, as a builder would say it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from polefem.errors import InvalidValue, refusal
from polefem.params.checks import within

__all__ = ["SquareDrive"]


@dataclass(frozen=True)
class SquareDrive:
    """The ideal square current: each phase conducts one constant current from `turn_on` to `turn_off`.

    Both angles in rad, of the rotor, from the aligned angle of the phase's own poles; the rotor turns in the
    positive direction, so that its pole approaches at angles below 0. `SquareDrive(-30 * deg, 0.0)` drives a
    6/4 machine as a motor for one stroke of each phase.

    Raises InvalidValue where turn-off does not follow turn-on.
    """

    turn_on: float
    turn_off: float

    def __post_init__(self) -> None:
        within(
            "a turn-on angle lies within a turn", "turn_on", self.turn_on, -2 * math.pi, 2 * math.pi, "rad"
        )
        within(
            "a turn-off angle lies within a turn", "turn_off", self.turn_off, -2 * math.pi, 2 * math.pi, "rad"
        )
        if not self.turn_off > self.turn_on:
            found, least = (
                f"{math.degrees(self.turn_off):.6g} deg",
                f"above {math.degrees(self.turn_on):.6g} deg",
            )
            raise InvalidValue(refusal("turn-off must follow turn-on", "turn_off", found, least))

    @property
    def dwell(self) -> float:
        """Angle over which a phase conducts, rad."""
        return self.turn_off - self.turn_on
