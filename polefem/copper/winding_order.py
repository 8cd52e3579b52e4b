"""What a winder is given: the wire as it is bought, turns, layers, lengths, masses and resistances of coil and phase.

Where a machine names its wire, that is it. Where it leaves that open, its conductor is what a fill factor leaves of a
coil side; the standard size nearest to that is ordered, if it fits its places, else the nearest that does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from polefem.copper.laying import laid_wires
from polefem.copper.metal import COPPER_DENSITY
from polefem.copper.packing import HANDLED, Packing, packing
from polefem.copper.turn import CoilShape, coils_per_pole
from polefem.copper.winding import Copper, wound_phase
from polefem.copper.wire import Wire, preferred_diameters
from polefem.outline import DrawnMachine, drawn
from polefem.params import Machine

__all__ = ["NextSize", "WindingOrder", "winding_order"]


@dataclass(frozen=True)
class NextSize:
    """A standard size beside the one that is ordered. resistance: of a phase, warm, ohm."""

    wire: Wire
    packing: Packing
    resistance: float


@dataclass(frozen=True)
class WindingOrder:
    """The coils of a machine.

    wire: one strand. named: whether the machine names it. strands: side by side in a turn. turns: of a coil. coil: its
    shape. packing: of one coil side as the section shows it. coils: in all. coils_per_phase. paths: in parallel, of a
    phase. temperature: warm, degC. counted: the phase's resistance, warm, that figures are computed with, ohm. smaller,
    larger: the next standard sizes; None past those that hands can wind.
    """

    wire: Wire
    named: bool
    strands: int
    turns: int
    coil: CoilShape
    packing: Packing
    coils: int
    coils_per_phase: int
    paths: int
    temperature: float
    counted: float
    smaller: NextSize | None
    larger: NextSize | None

    @property
    def layers(self) -> int:
        """That the wires of a coil side take, out of those that have room."""
        places = laid_wires(self.coil, self.wire, self.packing.wires)
        return len(set(np.round(places.real / self.wire.overall, 3).tolist()))

    @property
    def coil_length(self) -> float:
        """Wire in one coil, all strands, without leads, m."""
        return self.turns * self.strands * self.coil.mean_turn

    @property
    def length(self) -> float:
        """Wire in all coils, m."""
        return self.coils * self.coil_length

    @property
    def coil_mass(self) -> float:
        """Copper of one coil, kg."""
        return COPPER_DENSITY * self.wire.area * self.coil_length

    @property
    def mass(self) -> float:
        """Copper of all coils, kg."""
        return self.coils * self.coil_mass

    def coil_resistance(self, temperature: float = 20.0) -> float:
        """Of one coil at a temperature in degC, ohm."""
        return self.wire.resistance(temperature) * self.turns * self.coil.mean_turn / self.strands

    def phase_resistance(self, temperature: float = 20.0) -> float:
        """Between the ends of a phase at a temperature in degC, ohm."""
        return self.coil_resistance(temperature) * self.coils_per_phase / self.paths**2


def winding_order(machine: Machine | DrawnMachine, copper: Copper | None = None) -> WindingOrder:
    """What is ordered and wound for a machine; copper: how coils are filled and how warm they run, as usual if None.

    Raises GeometryRefused for a machine that cannot be built.
    """
    known = drawn(machine)
    machine, copper = known.machine, copper or Copper()
    phase = wound_phase(known, copper)
    winding, shape = machine.winding, phase.coil
    strands = winding.strands
    if winding.wire_diameter is not None:
        wire = Wire.over_enamel(winding.wire_diameter)
    else:
        wire = _nearest(math.sqrt(4 / math.pi * phase.conductor_area / strands), shape, machine)
    each = machine.stator_poles // machine.phases.count * coils_per_pole(machine)

    def lying(size: Wire) -> Packing:
        return packing(shape, size, machine.section_turns, winding)

    def beside(sizes: list[float], at: int) -> NextSize | None:
        if not sizes:
            return None
        size = Wire.metric(sizes[at])
        turn = size.resistance(copper.temperature) * shape.mean_turn / strands
        ohms = turn * winding.turns_per_pole * each / winding.parallel_paths**2
        return NextSize(size, lying(size), ohms)

    sizes = preferred_diameters(*HANDLED)
    return WindingOrder(
        wire=wire,
        named=winding.wire_diameter is not None,
        strands=strands,
        turns=winding.turns_per_pole,
        coil=shape,
        packing=lying(wire),
        coils=each * machine.phases.count,
        coils_per_phase=each,
        paths=winding.parallel_paths,
        temperature=copper.temperature,
        counted=phase.resistance,
        smaller=beside([size for size in sizes if size < wire.bare * (1 - 1e-3)], -1),
        larger=beside([size for size in sizes if size > wire.bare * (1 + 1e-3)], 0),
    )


def _nearest(bare: float, shape: CoilShape, machine: Machine) -> Wire:
    """The metric wire nearest to a diameter of copper (m) that fits; the nearest of all where none does."""
    sizes = sorted(preferred_diameters(*HANDLED), key=lambda size: abs(math.log(size / bare)))
    wires = [Wire.metric(size) for size in sizes]
    fitting = (w for w in wires if packing(shape, w, machine.section_turns, machine.winding).fits)
    return next(fitting, wires[0])
