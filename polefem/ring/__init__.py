"""How the outer ring of a machine answers the pull in its gap: natural frequencies, speeds to avoid, a relative level.

All of it is an estimate of a ring by itself; `LEFT_OUT` says what is missing.
"""

from polefem.ring.crossings import Crossing, crossing_sentence, crossings, cycles
from polefem.ring.handbook import ring_frequencies, thick_ring_frequency
from polefem.ring.level import DAMPING, relative_level, surface_velocity
from polefem.ring.modal import RingModes, natural_frequencies, plane_modes, ring_modes
from polefem.ring.ring import LEFT_OUT, Elastic, Mount, Ring, outer_ring

__all__ = [
    "DAMPING",
    "LEFT_OUT",
    "Crossing",
    "Elastic",
    "Mount",
    "Ring",
    "RingModes",
    "crossing_sentence",
    "crossings",
    "cycles",
    "natural_frequencies",
    "outer_ring",
    "plane_modes",
    "relative_level",
    "ring_frequencies",
    "ring_modes",
    "surface_velocity",
    "thick_ring_frequency",
]
