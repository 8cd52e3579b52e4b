"""What a winding costs: its copper, its resistance, and the losses in it."""

from __future__ import annotations

from dataclasses import dataclass, field

from polefem.copper.metal import COPPER_DENSITY, copper_resistivity
from polefem.copper.packing import Packing, packing
from polefem.copper.turn import CoilShape, coil_shape
from polefem.copper.wire import Wire
from polefem.errors import spelled
from polefem.outline import DrawnMachine, drawn
from polefem.params import Machine
from polefem.params.checks import within
from polefem.params.quantity import quantity

__all__ = ["Copper", "WoundPhase", "wound_phase"]


@spelled
@dataclass(frozen=True)
class Copper:
    """How coils are filled and how warm they run.

    fill_factor: bare copper over the area of a coil side; 0.4 to 0.5 for round wire wound by hand is common
    practice. temperature: of the copper, degC.
    """

    fill_factor: float = field(default=0.45, metadata=quantity())
    temperature: float = field(default=100.0, metadata=quantity("°C"))

    def __post_init__(self) -> None:
        within("a coil side is partly copper", "copper.fill_factor", self.fill_factor, 0.0, 1.0)
        within(
            "copper works at some temperature",
            "copper.temperature",
            self.temperature,
            -273.15,
            1000.0,
            "degC",
        )


@dataclass(frozen=True)
class WoundPhase:
    """One phase as wound.

    resistance: between its ends, ohm. conductor_area: bare copper of one turn, m2. parallel_paths: that share the
    current. coil: its shape. copper_mass: of all phases, kg. packing: how the winding's own wire lies; None where it
    names none.
    """

    resistance: float
    conductor_area: float
    parallel_paths: int
    coil: CoilShape
    copper_mass: float
    packing: Packing | None = None

    @property
    def coil_area(self) -> float:
        """Of one coil side, the smallest, m2."""
        return self.coil.area

    @property
    def mean_turn(self) -> float:
        """Length of one turn, m."""
        return self.coil.mean_turn

    def current_density(self, current: float) -> float:
        """In the conductor, A/m2, while the phase carries `current` (A)."""
        return current / self.parallel_paths / self.conductor_area

    def loss(self, rms_current: float) -> float:
        """Heat in the phase, W, at the root mean square of its current (A)."""
        return self.resistance * rms_current**2


def wound_phase(machine: Machine | DrawnMachine, copper: Copper) -> WoundPhase:
    """The winding of one of the machine's phases, from the coil sides in its outline (of an axial machine: that at
    the mean radius). The conductor is the winding's own wire where it names one, else what the fill factor gives.

    Raises GeometryRefused for a machine that cannot be built.
    """
    known = drawn(machine)
    machine, shape = known.machine, coil_shape(known)
    winding = machine.winding
    conductor_area = copper.fill_factor * shape.area / machine.section_turns
    packed = None
    if winding.wire_diameter is not None:
        wire = Wire.over_enamel(winding.wire_diameter)
        conductor_area = winding.strands * wire.area
        packed = packing(shape, wire, machine.section_turns, winding)
    turns = machine.section_turns * machine.halves
    coil = copper_resistivity(copper.temperature) * turns * shape.mean_turn / conductor_area
    coils = machine.stator_poles // machine.phases.count
    return WoundPhase(
        resistance=coil * coils / winding.parallel_paths**2,
        conductor_area=conductor_area,
        parallel_paths=winding.parallel_paths,
        coil=shape,
        copper_mass=COPPER_DENSITY * conductor_area * turns * shape.mean_turn * machine.stator_poles,
        packing=packed,
    )
