"""How the outer ring of a machine answers the pull in its gap: natural frequencies, speeds to avoid, a relative level.

All of it is an estimate of a ring by itself; `LEFT_OUT` says what is missing. What asks for fields or meshes is loaded
when it is asked for itself: it loads a mesher.
"""

from typing import TYPE_CHECKING

from polefem.later import front
from polefem.ring.crossings import Crossing, RingWaves, crossing_sentence, cycles
from polefem.ring.handbook import ring_frequencies, thick_ring_frequency
from polefem.ring.hearing import DAMPING, Hearing
from polefem.ring.level import relative_level, surface_velocity
from polefem.ring.ring import LEFT_OUT, Elastic, Mount, Ring

if TYPE_CHECKING:
    from polefem.ring.listening import Heard, OuterRing, heard, ring_waves
    from polefem.ring.modal import RingModes, natural_frequencies, plane_modes, ring_modes
    from polefem.ring.outer import outer_ring

__all__ = [
    "DAMPING",
    "LEFT_OUT",
    "Crossing",
    "Elastic",
    "Heard",
    "Hearing",
    "Mount",
    "OuterRing",
    "Ring",
    "RingModes",
    "RingWaves",
    "crossing_sentence",
    "cycles",
    "heard",
    "natural_frequencies",
    "outer_ring",
    "plane_modes",
    "relative_level",
    "ring_frequencies",
    "ring_modes",
    "ring_waves",
    "surface_velocity",
    "thick_ring_frequency",
]

__getattr__, __dir__ = front(
    __name__,
    __all__,
    {
        ".listening": "Heard OuterRing heard ring_waves",
        ".modal": "RingModes natural_frequencies plane_modes ring_modes",
        ".outer": "outer_ring",
    },
)
