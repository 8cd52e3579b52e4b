"""Whether turns fit: round wire laid in a coil side, each wire straight above another, and what hands can do.

In rows one above another a rectangle of width w and height h takes floor(w / d) * floor(h / d) wires of diameter d over
the enamel: pi / 4 of its area at the most. Wires in each other's grooves would take up to 15 % more, but that needs a
winding machine. Hand-laid wire crosses over and leaves a part of even the rows empty: it fills about 0.65 of the area
with wire and enamel (common practice; `Winding.most_fill`). A coil fits where it keeps to both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from polefem.copper.turn import CoilShape
from polefem.copper.wire import Wire, preferred_diameters
from polefem.errors import GeometryRefused, refusal
from polefem.params import Machine, Winding

__all__ = ["Packing", "largest_wire", "packing"]

#: Between these bare diameters wire is looked for, m: thinner breaks in the hand, thicker does not bend round a pole.
HANDLED = (0.1e-3, 3.0e-3)


@dataclass(frozen=True)
class Packing:
    """Wires of one size in one coil side.

    layers: of wires side by side across its width. per_layer: wires along its height. more: the same of each further
    block of a coil with steps. wires: that its turns and
    strands need. fill: part of its area under wire and enamel. copper_fill: under copper. most_fill: what hands reach.
    """

    layers: int
    per_layer: int
    wires: int
    fill: float
    copper_fill: float
    most_fill: float
    more: tuple[tuple[int, int], ...] = ()

    @property
    def places(self) -> int:
        """Wires it takes in rows."""
        return sum(layers * per_layer for layers, per_layer in ((self.layers, self.per_layer), *self.more))

    @property
    def fits(self) -> bool:
        """Whether the wires have places, and fill no more than hands can."""
        return self.wires <= self.places and self.fill <= self.most_fill

    def __str__(self) -> str:
        verdict = "fits" if self.fits else "does not fit"
        blocks = ((self.layers, self.per_layer), *self.more)
        rows = ", then ".join(f"{layers} layers of {per_layer}" for layers, per_layer in blocks)
        return (
            f"{self.wires} wires on {self.places} places ({rows}), filling "
            f"{self.fill:.0%} of the coil side of at most {self.most_fill:.0%}, {self.copper_fill:.0%} with copper: "
            f"{verdict}"
        )


def packing(shape: CoilShape, wire: Wire, turns: float, winding: Winding) -> Packing:
    """How a coil of so many turns, each of the winding's strands of a wire, lies in its coil side."""
    wires = math.ceil(turns * winding.strands)
    blocks = shape.blocks or ((shape.width, shape.height),)
    (layers, per_layer), *more = (
        (math.floor(width / wire.overall * (1 + 1e-9)), math.floor(height / wire.overall * (1 + 1e-9)))
        for width, height in blocks
    )
    fill = wires * math.pi / 4 * wire.overall**2 / shape.area
    copper_fill = wires * wire.area / shape.area
    return Packing(layers, per_layer, wires, fill, copper_fill, winding.most_fill, tuple(more))


def largest_wire(shape: CoilShape, machine: Machine, grade: int = 2) -> Wire:
    """The thickest metric wire with which the machine's turns and strands fit their coil side.

    Raises GeometryRefused where not even the thinnest does.
    """
    for bare in reversed(preferred_diameters(*HANDLED)):
        wire = Wire.metric(bare, grade)
        if packing(shape, wire, machine.section_turns, machine.winding).fits:
            return wire
    found = f"{machine.winding.turns_per_pole} of {machine.winding.strands} strands"
    rule = "a coil side must hold its turns"
    raise GeometryRefused(refusal(rule, "winding.turns_per_pole", found, "fewer, or a larger coil side"))
