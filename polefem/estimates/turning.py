"""At which speed, and under which currents, a machine is asked for its iron loss."""

from __future__ import annotations

from dataclasses import dataclass, field

from polefem.errors import spelled
from polefem.params.checks import positive, whole
from polefem.params.quantity import quantity

__all__ = ["Turning"]


@spelled
@dataclass(frozen=True)
class Turning:
    """A speed (rad/s) at which a machine is asked for its iron loss, under nearly square currents.

    ramp: angle over which a current rises from turn-on and falls from turn-off, rad; on a supply of V volts it falls in
    about speed * flux linkage at turn-off / V. samples: fields over a rotor pitch. 24 give 4 % less than 48, and these
    4 % less than 96 (a 6/4 machine, ramps of 5 degrees).
    """

    speed: float = field(metadata=quantity("rpm"))
    ramp: float = field(metadata=quantity("deg"))
    samples: int = 24

    def __post_init__(self) -> None:
        positive("a machine loses in turning", "speed", self.speed, "rad/s")
        positive("a current takes its time to rise", "ramp", self.ramp, "rad")
        whole("a waveform needs samples", "samples", self.samples, 8)
