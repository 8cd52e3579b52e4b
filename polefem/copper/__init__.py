"""The copper of a machine: its wire, whether the turns fit, what they weigh and resist, and how warm they get.

The files read from the metal outwards: `metal`, `wire`, `turn`, `packing`, `winding`; then the machine's `envelope` and
its `warming`.
"""

from polefem.copper.envelope import Envelope, envelope
from polefem.copper.metal import COPPER_DENSITY, copper_resistivity
from polefem.copper.packing import Packing, largest_wire, packing
from polefem.copper.turn import CoilShape, coil_shape
from polefem.copper.warming import INSULATION_CLASSES, THERMAL_CAUTION, Warming, warming
from polefem.copper.winding import Copper, WoundPhase, wound_phase
from polefem.copper.wire import Wire, preferred_diameters

__all__ = [
    "COPPER_DENSITY",
    "INSULATION_CLASSES",
    "THERMAL_CAUTION",
    "CoilShape",
    "Copper",
    "Envelope",
    "Packing",
    "Warming",
    "Wire",
    "WoundPhase",
    "coil_shape",
    "copper_resistivity",
    "envelope",
    "largest_wire",
    "packing",
    "preferred_diameters",
    "warming",
    "wound_phase",
]
