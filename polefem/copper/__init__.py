"""The copper of a machine: its wire, whether the turns fit, what they weigh and resist, and how warm they get.

The files read from the metal outwards: `metal`, `wire`, `turn`, `packing`, `laying`, `winding`; what a winder is given,
`winding_order` and `joining_plan`; then the machine's `envelope` and its `warming`.
"""

from polefem.copper.envelope import Envelope, envelope
from polefem.copper.joining_plan import JoinedCoil, JoiningPlan, joining_plan
from polefem.copper.laying import laid_wires
from polefem.copper.metal import COPPER_DENSITY, copper_resistivity
from polefem.copper.packing import Packing, largest_wire, packing
from polefem.copper.turn import CoilShape, coil_shape, coils_per_pole
from polefem.copper.warming import INSULATION_CLASSES, THERMAL_CAUTION, Warming, warming
from polefem.copper.winding import Copper, WoundPhase, wound_phase
from polefem.copper.winding_order import NextSize, WindingOrder, winding_order
from polefem.copper.wire import Wire, preferred_diameters

__all__ = [
    "COPPER_DENSITY",
    "INSULATION_CLASSES",
    "THERMAL_CAUTION",
    "CoilShape",
    "Copper",
    "Envelope",
    "JoinedCoil",
    "JoiningPlan",
    "NextSize",
    "Packing",
    "Warming",
    "WindingOrder",
    "Wire",
    "WoundPhase",
    "coil_shape",
    "coils_per_pole",
    "copper_resistivity",
    "envelope",
    "joining_plan",
    "laid_wires",
    "largest_wire",
    "packing",
    "preferred_diameters",
    "warming",
    "winding_order",
    "wound_phase",
]
